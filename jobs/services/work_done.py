"""Saying that a crew-day's work is done: its steps, and the spans and runs they were about."""

import uuid
from datetime import date, datetime

from django.db import transaction

from inventory.errors import NotFound
from inventory.models import Actor
from inventory.services.sealing import record_event
from jobs.models import CrewDay, CrewDayStep, Run, Span
from jobs.services.needs import drop_needs

Kind = CrewDayStep.Kind
_FIELDS = {Kind.CLEAN.value: "cleaned_at", Kind.BLOW.value: "blown_at"}


@transaction.atomic
def settle_day(*, crew_code: str, date: date, by: Actor, occurred_at: datetime) -> CrewDay:
    """Mark every step of a crew's day done at a moment and the day settled; again, it changes nothing.

    What materials the work took is not told here but by entries. What the day would have needed is
    forgotten, so that restocking does not count it twice.
    """
    days = CrewDay.objects.select_for_update(of=("self",)).select_related("crew")
    day = days.filter(crew__code=crew_code, date=date).first()
    if day is None:
        raise NotFound(f"Crew {crew_code} has nothing planned on {date}.")
    if day.state == CrewDay.State.SETTLED:
        return day
    steps = list(day.steps.filter(done_at__isnull=True))
    spans = [step.span_id for step in steps if step.span_id is not None]
    Span.objects.filter(pk__in=spans, extracted_at__isnull=True).update(extracted_at=occurred_at)
    for kind, field in _FIELDS.items():
        runs = [step.run_id for step in steps if step.kind == kind and step.run_id is not None]
        Run.objects.filter(pk__in=runs, **{f"{field}__isnull": True}).update(**{field: occurred_at})
    day.steps.filter(done_at__isnull=True).update(done_at=occurred_at)
    day.state = CrewDay.State.SETTLED
    day.save(update_fields=["state"])
    drop_needs([day.requirement_reference])
    record_event(
        id=uuid.uuid4(),
        kind="crew_day_settled",
        occurred_at=occurred_at,
        body={"crew": crew_code, "date": date.isoformat(), "steps": len(steps), "by": by.code},
    )
    return day
