"""A job's life, and what it does to what is needed."""

import threading
import time
from datetime import UTC, date, datetime

import pytest
from django.db import connection, transaction

from inventory.errors import BadInput, NotFound
from inventory.models import DomainEvent, Requirement
from jobs.models import CrewDay, CrewDayStep, Job
from jobs.services.day_life import lock_crew_day
from jobs.services.job_life import (
    NEXT_STATES,
    JobChange,
    JobOpening,
    StateMayNotFollow,
    change_state,
    list_next_states,
    open_job,
)
from jobs.services.needs import write_needs
from tests.factories.jobs import DAY, add_step, make_job, make_run, make_span
from tests.factories.kits import SmallDay, make_small_day

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
State = Job.State

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    write_needs([small.crew_day])
    return small


def _change(day: SmallDay, state: str) -> Job:
    return _bring(day, state).job


def _bring(day: SmallDay, state: str) -> JobChange:
    return change_state(reference="J-1", state=state, by=day.world.actor, occurred_at=NOON)


def test_change_state_goes_the_way_of_a_job(day: SmallDay) -> None:
    for state in (State.APPROVED, State.UNDER_WAY, State.FINISHED, State.CLOSED):
        assert _change(day, state).state == state
    assert DomainEvent.objects.filter(kind="job_state_changed").count() == 4


def test_change_state_refuses_what_may_not_follow(day: SmallDay) -> None:
    with pytest.raises(StateMayNotFollow, match="approved, on hold, cancelled may follow, not finished"):
        _change(day, State.FINISHED)
    with pytest.raises(BadInput, match="none of"):
        _change(day, "lost")
    assert Job.objects.get().state == State.PLANNED


def test_change_state_leads_out_of_every_state_but_the_last() -> None:
    assert set(NEXT_STATES) == set(State.values)
    assert [state for state, following in NEXT_STATES.items() if not following] == [State.CLOSED]


def test_change_state_takes_a_held_job_up_where_it_was(day: SmallDay) -> None:
    _change(day, State.APPROVED)
    held = _change(day, State.ON_HOLD)
    assert list_next_states(held) == [State.APPROVED, State.CANCELLED]
    with pytest.raises(StateMayNotFollow):
        _change(day, State.UNDER_WAY)
    taken_up = _change(day, State.APPROVED)
    assert (taken_up.state, taken_up.held_from) == (State.APPROVED, "")


@pytest.mark.parametrize("state", [State.ON_HOLD, State.CANCELLED])
def test_change_state_drops_the_dates_of_a_job_that_does_not_go_on(day: SmallDay, state: str) -> None:
    assert Requirement.objects.exists()
    dropped = _bring(day, state).dropped
    titles = ["Extract span S1", "Extract span S2", "Clean run R1", "Blow run R1"]
    assert [(step.crew, step.date, step.title) for step in dropped] == [("north", DAY, t) for t in titles]
    assert not Requirement.objects.exists()
    # A day on which nothing is left to do and nothing was loaded is off the plan.
    assert not CrewDay.objects.exists()
    body = DomainEvent.objects.get().body
    assert [row["step"] for row in body["dropped"]] == titles


def test_change_state_of_a_job_taken_up_again_leaves_its_days_to_be_planned_anew(day: SmallDay) -> None:
    _change(day, State.ON_HOLD)
    assert _bring(day, State.PLANNED) == JobChange(Job.objects.get())
    assert not Requirement.objects.exists()


def test_change_state_leaves_what_is_done_out_or_of_other_jobs_on_its_day(day: SmallDay) -> None:
    day.crew_day.steps.filter(position=1).update(done_at=NOON)
    other = make_job("J-2")
    run = make_run(other, "R9", size=day.run.cable_size)
    span = make_span(run, "S9", "P1", "P2", feet=100, sequence=1)
    add_step(day.crew_day, CrewDayStep.Kind.EXTRACT, span=span)
    out = CrewDay.objects.create(
        crew=day.crew_day.crew, date=date(2026, 3, 3), vehicle=day.world.vehicle,
        warehouse=day.world.warehouse, state="out",
    )  # fmt: skip
    day.crew_day.steps.filter(position=4).update(crew_day=out, position=1)
    assert [step.title for step in _bring(day, State.ON_HOLD).dropped] == ["Extract span S2", "Clean run R1"]
    left = CrewDayStep.objects.order_by("crew_day__date", "position")
    assert [(str(step.span or step.run), step.crew_day_id) for step in left] == [
        ("S1", day.crew_day.pk),
        ("S9", day.crew_day.pk),
        ("R1", out.pk),
    ]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_change_state_waits_for_a_day_that_is_sent_out_meanwhile() -> None:
    """A crew's day is held by whoever sends it out; its steps are not taken from under the crew."""
    small = make_small_day()
    is_held = threading.Event()

    def send_out() -> None:
        try:
            with transaction.atomic():
                locked = lock_crew_day(crew_code="north", date=DAY)
                is_held.set()
                _wait_until_somebody_waits()
                CrewDay.objects.filter(pk=locked.pk).update(state=CrewDay.State.OUT)
        finally:
            connection.close()

    sender = threading.Thread(target=send_out)
    sender.start()
    try:
        assert is_held.wait(30)
        assert _bring(small, State.ON_HOLD).dropped == []
    finally:
        sender.join()
    assert CrewDay.objects.get().state == CrewDay.State.OUT
    assert CrewDayStep.objects.count() == 4


def _wait_until_somebody_waits() -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND wait_event_type = 'Lock'"
            )
            if cursor.fetchone()[0]:
                return
        time.sleep(0.02)
    raise AssertionError("nobody waited for the day")


def test_change_state_again_is_harmless(day: SmallDay) -> None:
    _change(day, State.APPROVED)
    _change(day, State.APPROVED)
    assert DomainEvent.objects.count() == 1


def test_change_state_refuses_a_job_that_is_not_there(day: SmallDay) -> None:
    with pytest.raises(NotFound):
        change_state(reference="J-9", state=State.APPROVED, by=day.world.actor, occurred_at=NOON)


def test_open_job_takes_codes_and_makes_its_place(day: SmallDay) -> None:
    opening = JobOpening(
        name="Elm Street", customer_code="network", fibre_code="fibre-48", fibre_owner_code="own"
    )
    job = open_job(reference="J-2", opening=opening)
    assert (job.customer, job.fibre, job.fibre_owner) == (
        day.world.customer,
        day.world.fibre,
        day.world.company,
    )
    assert (job.place.code, job.place.kind) == ("job:J-2", "job")


@pytest.mark.parametrize(
    ("reference", "opening"),
    [
        ("", JobOpening()),
        ("A:B", JobOpening()),
        ("X" * 41, JobOpening()),
        ("J-1", JobOpening()),
        ("J-2", JobOpening(customer_code="nobody")),
        ("J-2", JobOpening(fibre_code="fluid")),
    ],
)
def test_open_job_refuses(day: SmallDay, reference: str, opening: JobOpening) -> None:
    with pytest.raises(BadInput):
        open_job(reference=reference, opening=opening)
    assert Job.objects.count() == 1
