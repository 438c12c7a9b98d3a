"""The service: a list of crew-days becomes the plan of the days it names, or nothing changes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from inventory.models import Actor
from inventory.queries.company import get_company
from inventory.services.references import set_reference
from inventory.services.sealing import record_event
from jobs.errors import WorkRefused
from jobs.models import CrewDay, CrewDayStep, Job
from jobs.queries.day_needs import DayNeeds
from jobs.queries.day_work import load_spans_of_runs, make_day_work
from jobs.queries.plan_warnings import load_plan_warnings
from jobs.services.crews import give_vehicle_a_home
from jobs.services.day_life import settle_if_done
from jobs.services.kits.promises import refresh_promises
from jobs.services.needs import compute_needs, store_needs
from jobs.services.schedule.listed import Clock, read_schedule_list
from jobs.services.schedule.resolving import PlannedDay, Resolver, find_stored_days, find_stored_steps
from jobs.services.work_done import mark_done


class PlansChangedMeanwhile(WorkRefused):
    """Somebody else changed the days, or the jobs on them, between reading and storing."""

    code = "plans_changed_meanwhile"


@dataclass(frozen=True)
class ScheduleImport:
    """What was taken: how many days and steps, how many of them done, from when to when, and new crews."""

    days: int
    steps: int
    done_steps: int
    first_date: date
    last_date: date
    new_crews: tuple[str, ...]
    ignored_headers: tuple[str, ...]
    # Work that is out of order in the plan as it stands now, and trucks that two crews would drive.
    warnings: tuple[str, ...] = ()


def import_schedule(
    *,
    path: str | Path,
    by: Actor,
    occurred_at: datetime,
    may_create_crews: bool = False,
    id: UUID | None = None,
) -> ScheduleImport:
    """Take a list of crew-days. It is the whole plan of each crew and day it names; others stay as they are.

    Every fault is named in one go, and nothing is stored unless all is well. What the days need is worked
    out before the write transaction begins, since simulating many days takes longer than storing them.
    `id` becomes that of the event which tells of it.
    """
    clock = Clock(ZoneInfo(get_company().time_zone), occurred_at)
    listed, faults, ignored = read_schedule_list(path, clock=clock)
    resolver = Resolver(listed, may_create_crews=may_create_crews)
    days = resolver.resolve()
    faults.extend(resolver.faults)
    faults.raise_if_any(Path(path).name)
    store = PlanStore(days, resolver)
    store.store(by=by, occurred_at=occurred_at, id=id or uuid4())
    dates = sorted(day.date for day in days)
    return ScheduleImport(
        days=len(days),
        steps=len(listed),
        done_steps=sum(step.done_at is not None for step in listed),
        first_date=dates[0],
        last_date=dates[-1],
        new_crews=tuple(resolver.new_crews),
        ignored_headers=ignored,
        warnings=tuple(load_plan_warnings(store.stored).sentences),
    )


class PlanStore:
    """The days of a list on their way into the database, with what they need worked out beforehand."""

    def __init__(self, days: list[PlannedDay], resolver: Resolver) -> None:
        self.days = days
        self.stored: list[CrewDay] = []
        self._resolver = resolver
        # Before steps are marked done, which are rows of what stands.
        self._before = _describe(resolver.stored_days, resolver.stored_steps, resolver.jobs, self._keys())
        self._steps = [_make_steps(day) for day in days]
        self._needs = self._compute_needs()

    @transaction.atomic
    def store(self, *, by: Actor, occurred_at: datetime, id: UUID) -> None:
        """Replace what is not done on these days; all of it goes first, so steps may change days."""
        self._refuse_changed_meanwhile()
        for crew in self._resolver.new_crews.values():
            crew.save(force_insert=True)
            give_vehicle_a_home(crew)
        stored = [_store_day(day) for day in self.days]
        for crew_day, day in zip(stored, self.days, strict=True):
            for system, identifier in day.references.items():
                set_reference(system=system, identifier=identifier, record=crew_day)
        self._replace_steps(stored)
        self._mark_done()
        self.stored = stored
        store_needs(zip(stored, self._needs, strict=True))
        refresh_promises(stored)
        for crew_day in stored:
            settle_if_done(crew_day, by=by, occurred_at=occurred_at)
        record_event(
            id=id,
            kind="schedule_taken",
            occurred_at=occurred_at,
            body={
                "by": by.code,
                "days": [{"crew": day.crew.code, "date": day.date.isoformat()} for day in self.days],
            },
        )

    def _compute_needs(self) -> list[DayNeeds | None]:
        """What each day will need once stored; None where nothing is ahead of it."""
        waiting = [[step for step in steps if step.done_at is None] for steps in self._steps]
        spans = load_spans_of_runs(
            {step.run_id for steps in waiting for step in steps if step.run_id is not None}
        )
        works = [
            make_day_work(day.stored or CrewDay(crew=day.crew, date=day.date), steps, spans)
            for day, steps in zip(self.days, waiting, strict=True)
        ]
        return compute_needs(works)

    def _refuse_changed_meanwhile(self) -> None:
        days = find_stored_days({day.date for day in self.days}, is_locking=True)
        steps = find_stored_steps(days.values())
        jobs = {job.reference: job for job in Job.objects.filter(reference__in=list(self._resolver.jobs))}
        if _describe(days, steps, jobs, self._keys()) != self._before:
            raise PlansChangedMeanwhile(
                "The days or jobs of this list were changed by somebody else while it was read. "
                "Nothing was stored; run the import again."
            )

    def _keys(self) -> set[tuple[str, date]]:
        return {(day.crew.code, day.date) for day in self.days}

    def _replace_steps(self, stored: list[CrewDay]) -> None:
        staying = [step.pk for steps in self._steps for step in steps if step.pk]
        replaced = [crew_day for crew_day, day in zip(stored, self.days, strict=True) if day.is_open]
        waiting = CrewDayStep.objects.filter(crew_day__in=replaced, done_at__isnull=True)
        waiting.exclude(pk__in=staying).delete()
        last = CrewDay.objects.filter(pk__in=[day.pk for day in stored]).annotate(last=Max("steps__position"))
        positions = {day.pk: day.last or 0 for day in last}
        new: list[CrewDayStep] = []
        for crew_day, steps in zip(stored, self._steps, strict=True):
            for step in steps:
                if step.pk is None:
                    positions[crew_day.pk] += 1
                    step.crew_day, step.position = crew_day, positions[crew_day.pk]
                    new.append(step)
        CrewDayStep.objects.bulk_create(new)

    def _mark_done(self) -> None:
        by_moment: dict[datetime, list[CrewDayStep]] = {}
        for steps in self._steps:
            for step in steps:
                if step.done_at is not None:
                    by_moment.setdefault(step.done_at, []).append(step)
        for moment, steps in by_moment.items():
            mark_done(steps, at=moment)


def _make_steps(day: PlannedDay) -> list[CrewDayStep]:
    """The steps of a day in order: those that are done stay where they stand, all others are made anew."""
    steps = []
    for position, planned in enumerate(day.steps, start=1):
        listed = planned.listed
        if planned.standing is not None and listed.done_at is not None:
            step = planned.standing
            step.done_at = listed.done_at
        else:
            step = CrewDayStep(
                kind=listed.kind,
                position=position,
                span=planned.span,
                run=planned.run,
                done_at=listed.done_at,
            )
        steps.append(step)
    return steps


def _store_day(day: PlannedDay) -> CrewDay:
    stored = day.stored
    if stored is None:
        vehicle, warehouse = day.vehicle or day.crew.vehicle, day.warehouse or day.crew.warehouse
        # A day without either has been refused.
        assert vehicle is not None
        assert warehouse is not None
        return CrewDay.objects.create(crew=day.crew, date=day.date, vehicle=vehicle, warehouse=warehouse)
    if day.vehicle is not None or day.warehouse is not None:
        stored.vehicle = day.vehicle or stored.vehicle
        stored.warehouse = day.warehouse or stored.warehouse
        stored.save(update_fields=["vehicle", "warehouse"])
    return stored


def _describe(
    days: Mapping[tuple[str, date], CrewDay],
    steps: Mapping[tuple[int, str, int], CrewDayStep],
    jobs: Mapping[str, Job],
    keys: set[tuple[str, date]],
) -> tuple[object, ...]:
    """What a plan was made from, in values that can be compared: the named days, their steps, the jobs."""
    named = {day.pk: day.state for key, day in days.items() if key in keys}
    return (
        named,
        {(step.pk, step.done_at) for step in steps.values() if step.crew_day_id in named},
        {(job.pk, job.state, job.span_revision) for job in jobs.values()},
    )
