"""Moving one step to another day or crew."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Actor
from inventory.services.sealing import record_event
from jobs.errors import WorkRefused
from jobs.models import Crew, CrewDay, CrewDayStep
from jobs.queries.plan_warnings import add_shared_trucks, find_run_warnings
from jobs.queries.sheet_steps import step_title
from jobs.services.day_life import lock_crew_day
from jobs.services.dropping_dates import tell_or_take_off

# Positions are unique within a day at any moment, so room is made by way of numbers nobody uses.
FAR_POSITION = 1_000_000


class DayIsOver(WorkRefused):
    """What was done on a settled day stays as it was; a day that is loaded or out can still be replanned."""

    code = "day_is_over"


class StepIsDone(WorkRefused):
    """What was done stays where it was done."""

    code = "step_is_done"


@dataclass(frozen=True)
class MovedStep:
    """A step where it stands now, by name, and what about the plan somebody should look at because of it."""

    step: CrewDayStep
    title: str
    warnings: tuple[str, ...]


@transaction.atomic
def move_step(
    *,
    crew_code: str,
    date: date,
    position: int,
    to_date: date,
    to_crew_code: str = "",
    to_position: int | None = None,
    by: Actor,
    occurred_at: datetime,
) -> MovedStep:
    """Move a step to a day of the same or another crew, at a position or behind the last one.

    The day it goes to is made where there is none. What both days need is told to inventory anew; a day left
    without steps is taken off the plan.
    """
    source = _lock_day(crew_code, date)
    step = source.steps.filter(position=position).first()
    if step is None:
        raise NotFound(f"Crew {crew_code} has no step {position} on {date}.")
    if step.done_at is not None:
        raise StepIsDone(f"Step {position} of crew {crew_code} on {date} is done and stays there.")
    target = source
    if (to_crew_code or crew_code, to_date) != (crew_code, date):
        target = _find_or_make_day(to_crew_code or crew_code, to_date)
    step.position = 2 * FAR_POSITION
    step.save(update_fields=["position"])
    step.crew_day, step.position = target, _make_room(target, to_position)
    step.save(update_fields=["crew_day", "position"])
    tell_or_take_off({source.pk: source, target.pk: target}.values())
    record_event(
        id=uuid.uuid4(),
        kind="step_moved",
        occurred_at=occurred_at,
        body={
            "by": by.code,
            "step": step.kind,
            "from": {"crew": crew_code, "date": date.isoformat(), "position": position},
            "to": {"crew": target.crew.code, "date": to_date.isoformat(), "position": step.position},
        },
    )
    return MovedStep(step, step_title(step), _warn(step, target))


def _warn(step: CrewDayStep, target: CrewDay) -> tuple[str, ...]:
    """Work that is out of order now, and a truck that two crews would drive; nothing of it is refused."""
    run_key = step.span.run_id if step.span is not None else step.run_id
    found = find_run_warnings([run_key] if run_key is not None else [])
    add_shared_trucks([target], found)
    return tuple(found.sentences)


def _lock_day(crew_code: str, day: date) -> CrewDay:
    found = lock_crew_day(crew_code=crew_code, date=day)
    if found.state == CrewDay.State.SETTLED:
        raise DayIsOver(
            f"The day {day} of crew {crew_code} is {found.get_state_display()} and stays as it is."
        )
    return found


def _find_or_make_day(crew_code: str, day: date) -> CrewDay:
    crew = Crew.objects.select_related("vehicle", "warehouse").filter(code=crew_code).first()
    if crew is None:
        raise NotFound(f"There is no crew {crew_code!r}.")
    if CrewDay.objects.filter(crew=crew, date=day).exists():
        return _lock_day(crew_code, day)
    if crew.vehicle is None or crew.warehouse is None:
        message = f"has no vehicle or no home warehouse; set them, or import the day {day} with both"
        raise BadInput.of([Fault("crew", crew_code, message)])
    return CrewDay.objects.create(crew=crew, date=day, vehicle=crew.vehicle, warehouse=crew.warehouse)


def _make_room(day: CrewDay, position: int | None) -> int:
    """Return a free position; those at and behind the one asked for move up by one."""
    steps = CrewDayStep.objects.filter(crew_day=day, position__lt=FAR_POSITION)
    last = steps.order_by("-position").values_list("position", flat=True).first() or 0
    done = (
        steps.filter(done_at__isnull=False).order_by("-position").values_list("position", flat=True).first()
        or 0
    )
    if position is None or position > last:
        return last + 1
    if position <= done:
        message = f"is before what is done already; the first free position is {done + 1}"
        raise BadInput.of([Fault("position", str(position), message)])
    steps.filter(position__gte=position).update(position=F("position") + FAR_POSITION)
    shifted = CrewDayStep.objects.filter(
        crew_day=day, position__gte=FAR_POSITION, position__lt=2 * FAR_POSITION
    )
    shifted.update(position=F("position") - FAR_POSITION + 1)
    return position
