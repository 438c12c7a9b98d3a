"""A job's life, and what it does to what is needed."""

from datetime import UTC, datetime

import pytest

from inventory.errors import BadInput, NotFound
from inventory.models import DomainEvent, Requirement
from jobs.models import Job
from jobs.services.job_life import (
    NEXT_STATES,
    JobOpening,
    StateMayNotFollow,
    change_state,
    list_next_states,
    open_job,
)
from jobs.services.needs import write_needs
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


def test_change_state_drops_and_brings_back_what_is_needed(day: SmallDay) -> None:
    before = list(Requirement.objects.order_by("material").values_list("material", "mean"))
    assert before
    _change(day, State.ON_HOLD)
    assert not Requirement.objects.exists()
    _change(day, State.PLANNED)
    assert list(Requirement.objects.order_by("material").values_list("material", "mean")) == before


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
