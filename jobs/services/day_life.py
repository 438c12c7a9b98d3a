"""The life of a crew-day's kit: planned, agreed, loaded, out, settled."""

import uuid
from datetime import date, datetime

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Actor
from inventory.services.posting.rows import Statement, run_statements
from inventory.services.sealing import event_statements
from inventory.units import format_millionths
from jobs.errors import WorkRefused
from jobs.models import CrewDay
from jobs.queries.day_work import load_day_work
from jobs.queries.kit_reels import find_longest_reel
from jobs.services.needs import compute_needs, drop_needs_statements, write_needs

State = CrewDay.State

# What may follow what. A kit that was loaded is put back before its day is planned anew.
NEXT_STATES: dict[str, frozenset[str]] = {
    State.PLANNED: frozenset({State.AGREED, State.SETTLED}),
    State.AGREED: frozenset({State.PLANNED, State.LOADED, State.SETTLED}),
    State.LOADED: frozenset({State.AGREED, State.OUT, State.SETTLED}),
    State.OUT: frozenset({State.SETTLED}),
    State.SETTLED: frozenset(),
}


class DayStateMayNotFollow(WorkRefused):
    """The day's state does not lead to the one asked for."""

    code = "day_state_may_not_follow"


class StepsAreWaiting(WorkRefused):
    """A day is settled when all of its steps are done, or taken off it."""

    code = "steps_are_waiting"


class RunLongerThanAnyReel(WorkRefused):
    """A run takes its fibre in one piece, and no reel has as much."""

    code = "run_longer_than_any_reel"


def lock_crew_day(*, crew_code: str, date: date) -> CrewDay:
    """Take a crew's day for this transaction."""
    days = CrewDay.objects.select_for_update(of=("self",)).select_related("crew")
    found = days.filter(crew__code=crew_code, date=date).first()
    if found is None:
        raise NotFound(f"Crew {crew_code} has nothing planned on {date}.")
    return found


@transaction.atomic
def change_day_state(*, crew_code: str, date: date, state: str, by: Actor, occurred_at: datetime) -> CrewDay:
    """Bring a crew-day to another state, where that may follow; to the one it is in already is harmless."""
    day = lock_crew_day(crew_code=crew_code, date=date)
    if state not in State.values:
        raise BadInput.of([Fault("state", state, f"is none of: {', '.join(State.values)}")])
    if day.state != state:
        if (day.state, state) == (State.PLANNED, State.AGREED):
            _refuse_run_longer_than_any_reel(day)
        move_day(day, state, by=by, occurred_at=occurred_at)
        write_needs([day])
    return day


def _refuse_run_longer_than_any_reel(day: CrewDay) -> None:
    """Nobody agrees what no goods in the house can serve. Where there is no reel at all, one is awaited."""
    for needs in compute_needs(load_day_work([day])):
        for need in needs.needs if needs is not None else ():
            longest = find_longest_reel(need) if need.section == "fibre" else None
            if longest is None or longest.quantity >= need.quantity:
                continue
            raise RunLongerThanAnyReel(
                f"Run {need.run} takes {format_millionths(need.quantity, need.unit)} of {need.title} in one "
                f"piece; the longest reel, {longest.container} in {longest.place}, has "
                f"{format_millionths(longest.quantity, need.unit)}. Bring a longer reel in, divide the run, "
                "or take the blowing off the day."
            )


def move_day(day: CrewDay, state: str, *, by: Actor, occurred_at: datetime) -> None:
    """Change the state of a day that is locked; what it needs is left to the caller."""
    if state not in NEXT_STATES[day.state]:
        shown = ", ".join(State(name).label for name in State.values if name in NEXT_STATES[day.state])
        raise DayStateMayNotFollow(
            f"The day {day.date} of crew {day.crew} is {day.get_state_display()}; "
            f"{shown or 'nothing'} may follow, not {State(state).label}."
        )
    waiting = day.steps.filter(done_at__isnull=True).count() if state == State.SETTLED else 0
    if waiting:
        raise StepsAreWaiting(
            f"The day {day.date} of crew {day.crew} has {waiting} steps that are not done; "
            "mark them done or move them to another day first."
        )
    run_statements(*_move_statements(day, state, steps=day.steps.count(), by=by, occurred_at=occurred_at))


def _move_statements(
    day: CrewDay, state: str, *, steps: int, by: Actor, occurred_at: datetime
) -> list[Statement]:
    """Note the day's new state, and tell others of it; `steps` is how many the day has."""
    before, day.state = day.state, state
    return [
        Statement("UPDATE jobs_crewday SET state = %s WHERE id = %s", [str(state), day.pk]),
        *event_statements(
            id=uuid.uuid4(),
            kind="crew_day_settled" if state == State.SETTLED else "crew_day_state_changed",
            occurred_at=occurred_at,
            body={
                "crew": day.crew.code,
                "date": day.date.isoformat(),
                "steps": steps,
                "from": str(before),
                "to": str(state),
                "by": by.code,
            },
        ),
    ]


def settle_if_done(day: CrewDay, *, by: Actor, occurred_at: datetime) -> bool:
    """Settle a locked day once nothing on it waits, and forget what it would have needed."""
    if day.state == State.SETTLED or day.steps.filter(done_at__isnull=True).exists():
        return False
    steps = day.steps.count()
    run_statements(*settle_day_statements(day, steps=steps, by=by, occurred_at=occurred_at))
    return True


def settle_day_statements(day: CrewDay, *, steps: int, by: Actor, occurred_at: datetime) -> list[Statement]:
    """Settle a locked day on which nothing waits any more, as statements for one message with others."""
    return [
        *_move_statements(day, State.SETTLED, steps=steps, by=by, occurred_at=occurred_at),
        *drop_needs_statements([day.requirement_reference]),
    ]
