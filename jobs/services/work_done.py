"""Saying that work is done: steps, the spans and runs they were about, and the day once nothing waits."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import NamedTuple

from django.db import transaction

from inventory.errors import NotFound
from inventory.models import Actor
from inventory.services.posting.rows import Statement, one_of, run_statements
from jobs.models import CrewDay, CrewDayStep, Run, Span
from jobs.services.day_life import lock_crew_day, settle_if_done
from jobs.services.needs import write_needs

Kind = CrewDayStep.Kind
_FIELDS = {Kind.CLEAN.value: "cleaned_at", Kind.BLOW.value: "blown_at"}


@transaction.atomic
def complete_step(
    *, crew_code: str, date: date, position: int, by: Actor, occurred_at: datetime
) -> CrewDayStep:
    """Mark one step of a crew's day done at a moment; a step that is done stays as it is.

    The day is settled with its last step; until then what it still needs is told to inventory anew.
    """
    day = lock_crew_day(crew_code=crew_code, date=date)
    step = day.steps.filter(position=position).first()
    if step is None:
        raise NotFound(f"Crew {crew_code} has no step {position} on {date}.")
    if step.done_at is None:
        mark_done([step], at=occurred_at)
        if not settle_if_done(day, by=by, occurred_at=occurred_at):
            write_needs([day])
    return step


@transaction.atomic
def settle_day(*, crew_code: str, date: date, by: Actor, occurred_at: datetime) -> CrewDay:
    """Mark every step of a crew's day done at a moment and the day settled; again, it changes nothing.

    What materials the work took is not told here but by entries. What the day would have needed is
    forgotten, so that restocking does not count it twice.
    """
    day = lock_crew_day(crew_code=crew_code, date=date)
    mark_done(day.steps.filter(done_at__isnull=True), at=occurred_at)
    settle_if_done(day, by=by, occurred_at=occurred_at)
    return day


class WaitingStep(NamedTuple):
    """What there is to know of a step to mark it done."""

    pk: int
    crew_day_id: int
    kind: str
    span_id: int | None
    run_id: int | None


def mark_done(steps: Iterable[CrewDayStep], *, at: datetime) -> None:
    """Mark steps done, and with them their spans and runs; within the caller's transaction.

    A span or run that was done before keeps the moment at which it was.
    """
    found = list(steps)
    run_statements(*mark_done_statements(found, at=at))
    for step in found:
        step.done_at = at


def mark_done_statements(steps: Sequence[CrewDayStep | WaitingStep], *, at: datetime) -> list[Statement]:
    """The same as statements, for whoever writes more in one message."""
    if not steps:
        return []
    spans = [step.span_id for step in steps if step.span_id is not None]
    statements = [_mark(Span, "extracted_at", spans, at)] if spans else []
    for kind, field in _FIELDS.items():
        runs = [step.run_id for step in steps if step.kind == kind and step.run_id is not None]
        statements += [_mark(Run, field, runs, at)] if runs else []
    keys = [step.pk for step in steps]
    sql = f"UPDATE {CrewDayStep._meta.db_table} SET done_at = %s WHERE id IN {one_of(keys)}"
    return [*statements, Statement(sql, [at, *keys])]


def _mark(model: type[Span] | type[Run], field: str, keys: list[int], at: datetime) -> Statement:
    before_start = f"was_{field.removesuffix('_at')}_before_start"
    return Statement(
        f"UPDATE {model._meta.db_table} SET {field} = %s"
        f" WHERE id IN {one_of(keys)} AND {field} IS NULL AND NOT {before_start}",
        [at, *keys],
    )
