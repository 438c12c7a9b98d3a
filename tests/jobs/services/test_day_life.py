"""The states of a crew-day's kit and what may follow what."""

from datetime import UTC, datetime, timedelta

import pytest

from inventory.errors import BadInput, NotFound
from inventory.models import DomainEvent, Requirement
from inventory.queries.restock import list_restock
from jobs.models import CrewDay
from jobs.services.day_life import DayStateMayNotFollow, StepsAreWaiting, change_day_state
from jobs.services.job_life import change_state
from jobs.services.needs import write_needs
from tests.factories.jobs import DAY
from tests.factories.kits import SmallDay, make_small_day

NOON = datetime(2026, 3, 2, 18, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    write_needs([small.crew_day])
    return small


def _change(day: SmallDay, state: str) -> CrewDay:
    return change_day_state(crew_code="north", date=DAY, state=state, by=day.world.actor, occurred_at=NOON)


def test_change_day_state_goes_forward_and_a_loaded_kit_can_be_put_back(day: SmallDay) -> None:
    for state in ("agreed", "loaded", "agreed", "planned", "agreed", "loaded", "out"):
        assert _change(day, state).state == state
    assert DomainEvent.objects.filter(kind="crew_day_state_changed").count() == 7


def test_change_day_state_needs_its_goods_until_the_work_is_done(day: SmallDay) -> None:
    for state in ("agreed", "loaded", "out"):
        _change(day, state)
        assert Requirement.objects.exists()
    day.crew_day.steps.update(done_at=NOON)
    _change(day, "settled")
    assert not Requirement.objects.exists()


def test_restocking_needs_the_goods_of_a_day_gone_by_until_it_is_settled(day: SmallDay) -> None:
    later = DAY + timedelta(days=3)
    due = {line.material.code for line in list_restock(as_of=DAY).lines if line.owner.is_company}
    assert due
    assert {line.material.code for line in list_restock(as_of=later).lines if line.owner.is_company} == due
    day.crew_day.steps.update(done_at=NOON)
    _change(day, "settled")
    assert list_restock(as_of=later).lines == ()


@pytest.mark.parametrize("state", ["on_hold", "cancelled"])
def test_restocking_needs_nothing_of_a_day_gone_by_whose_job_is_called_off(day: SmallDay, state: str) -> None:
    later = DAY + timedelta(days=3)
    assert list_restock(as_of=later).lines
    change_state(reference=day.job.reference, state=state, by=day.world.actor, occurred_at=NOON)
    assert list_restock(as_of=later).lines == ()


def test_change_day_state_refuses_what_may_not_follow(day: SmallDay) -> None:
    with pytest.raises(DayStateMayNotFollow, match="is planned; agreed, settled may follow, not out"):
        _change(day, "out")
    with pytest.raises(BadInput, match="is none of"):
        _change(day, "painted")
    assert not DomainEvent.objects.exists()


def test_change_day_state_settles_only_what_is_done(day: SmallDay) -> None:
    with pytest.raises(StepsAreWaiting, match="4 steps"):
        _change(day, "settled")
    day.crew_day.steps.update(done_at=NOON)
    _change(day, "settled")
    with pytest.raises(DayStateMayNotFollow, match="nothing may follow"):
        _change(day, "planned")


def test_change_day_state_to_the_same_is_harmless(day: SmallDay) -> None:
    _change(day, "planned")
    assert not DomainEvent.objects.exists()


def test_change_day_state_refuses_a_day_that_is_not_there(day: SmallDay) -> None:
    with pytest.raises(NotFound):
        change_day_state(crew_code="south", date=DAY, state="agreed", by=day.world.actor, occurred_at=NOON)
