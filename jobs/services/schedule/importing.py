"""The service: a list of crew-days becomes the plan of the days it names, or nothing changes."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from django.db import transaction
from django.db.models import Max

from inventory.errors import BadInput
from inventory.models import Actor
from inventory.services.sealing import record_event
from jobs.models import CrewDay, CrewDayStep
from jobs.services.needs import write_needs
from jobs.services.schedule.listed import read_schedule_list
from jobs.services.schedule.resolving import PlannedDay, Resolver


@dataclass(frozen=True)
class ScheduleImport:
    """What was taken: how many days and steps, from when to when."""

    days: int
    steps: int
    first_date: date
    last_date: date
    ignored_headers: tuple[str, ...]


@transaction.atomic
def _store(days: list[PlannedDay], *, by: Actor, occurred_at: datetime) -> None:
    """Replace what is not done on these days. All of it goes first, so steps may change days among them."""
    stored = [_store_day(day) for day in days]
    CrewDayStep.objects.filter(crew_day__in=stored, done_at__isnull=True).delete()
    last = CrewDay.objects.filter(pk__in=[day.pk for day in stored]).annotate(last=Max("steps__position"))
    positions = {day.pk: day.last or 0 for day in last}
    CrewDayStep.objects.bulk_create(
        CrewDayStep(crew_day=crew_day, position=position, kind=listed.kind, span=span, run=run)
        for day, crew_day in zip(days, stored, strict=True)
        for position, (listed, span, run) in enumerate(day.steps, start=positions[crew_day.pk] + 1)
    )
    write_needs(stored)
    record_event(
        id=uuid.uuid4(),
        kind="schedule_taken",
        occurred_at=occurred_at,
        body={
            "by": by.code,
            "days": [{"crew": day.crew.code, "date": day.date.isoformat()} for day in days],
        },
    )


def import_schedule(*, path: str | Path, by: Actor, occurred_at: datetime) -> ScheduleImport:
    """Take a list of crew-days. It is the whole plan of each crew and day it names; others stay as they are.

    Every fault is named in one go, and nothing is stored unless all is well.
    """
    listed, ignored = read_schedule_list(path)
    resolver = Resolver(listed)
    days = resolver.resolve()
    if resolver.faults:
        raise BadInput.of(sorted(resolver.faults, key=lambda fault: fault.line or 0))
    _store(days, by=by, occurred_at=occurred_at)
    dates = sorted(day.date for day in days)
    return ScheduleImport(len(days), len(listed), dates[0], dates[-1], ignored)


def _store_day(day: PlannedDay) -> CrewDay:
    vehicle, warehouse = day.vehicle or day.crew.vehicle, day.warehouse or day.crew.warehouse
    # A day without either has been refused.
    assert vehicle is not None
    assert warehouse is not None
    stored, is_new = CrewDay.objects.get_or_create(
        crew=day.crew, date=day.date, defaults={"vehicle": vehicle, "warehouse": warehouse}
    )
    if not is_new and (day.vehicle is not None or day.warehouse is not None):
        stored.vehicle = day.vehicle or stored.vehicle
        stored.warehouse = day.warehouse or stored.warehouse
        stored.save(update_fields=["vehicle", "warehouse"])
    return stored
