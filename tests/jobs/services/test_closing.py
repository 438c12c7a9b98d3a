"""A period is closed step by step, survives the loss of a worker, and states what jobs had cost."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import AccountingPeriod, Actor, Company
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.periods import ask_to_reopen
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.models import Job, PeriodClosing, PeriodJobCost
from jobs.queries.cost_sheet import make_cost_sheet
from jobs.queries.period_closings import find_state
from jobs.services import closing as closings
from jobs.services.closing import LEASE, MOST_ATTEMPTS, ask_to_close, take_closing, work_closing
from tests.factories.inventory import World, at, each
from tests.factories.jobs import make_job
from tests.factories.kits import make_small_day

pytestmark = pytest.mark.django_db
FIRST, SECOND = date(2026, 3, 2), date(2026, 3, 3)
NOW = at(72)


@pytest.fixture(autouse=True)
def _small_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(closings, "_hint", lambda: None)
    monkeypatch.setattr(closings, "JOBS_AT_ONCE", 2)


@pytest.fixture
def world() -> World:
    """Six jobs; pieces of 3.00 are charged to some of them on two days."""
    world = make_small_day().world
    world.loose(world.projectile, each(20), cost=60)
    for number in range(2, 7):
        make_job(f"J-{number}")
    charge(world, 1, "J-1")
    charge(world, 2, "J-2")
    charge(world, 3, "J-2", hours=26)
    charge(world, 4, "J-5", hours=26)
    return world


def charge(world: World, pieces: int, job: str, hours: float = 2) -> None:
    place = Job.objects.select_related("place").get(reference=job).place
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(place))
    draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def ask(world: World, last_date: date = FIRST, **fields: Any) -> PeriodClosing:
    also = {"id": uuid4(), "by": world.actor, "occurred_at": NOW, "remark": "Rained off.", **fields}
    return ask_to_close(last_date=last_date, **also)


def work(now: Any = NOW) -> PeriodClosing:
    taken = take_closing(now=now)
    assert taken is not None
    return work_closing(closing=taken, now=now)


def costs(last_date: date) -> dict[str, tuple[int, int]]:
    rows = PeriodJobCost.objects.filter(period__last_date=last_date, period__reopened_at=None)
    return {row.job.reference: (row.change, row.cost) for row in rows.select_related("job")}


def test_a_closing_states_what_came_to_each_job_in_the_period_and_in_all(world: World) -> None:
    ask(world)
    done = work()
    assert (find_state(done, now=NOW), done.job_count, done.jobs_done) == ("closed", 6, 6)
    assert costs(FIRST) == {"J-1": (3_000_000, 3_000_000), "J-2": (6_000_000, 6_000_000)}
    ask(world, SECOND)
    work()
    assert costs(SECOND) == {
        "J-1": (0, 3_000_000),
        "J-2": (9_000_000, 15_000_000),
        "J-5": (12_000_000, 12_000_000),
    }
    for reference, (_change, cost) in costs(SECOND).items():
        assert cost == make_cost_sheet(Job.objects.get(reference=reference)).statement.cost
    assert list(verify_ledger()) == []


def test_what_a_period_states_is_not_changed_by_what_is_booked_after_the_lock(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(world)
    whole = closings._state_some
    monkeypatch.setattr(closings, "_state_some", lambda closing, *, now: True)
    locked = work()
    assert Company.objects.get().books_closed_until == FIRST
    assert (find_state(locked, now=NOW), locked.is_stock_stated) == ("working", False)
    charge(world, 5, "J-1")
    monkeypatch.setattr(closings, "_state_some", whole)
    work(NOW + LEASE + timedelta(seconds=1))
    assert costs(FIRST)["J-1"] == (3_000_000, 3_000_000)


def test_a_worker_that_was_lost_is_followed_by_another_from_where_it_stood(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(world)
    whole, turns = closings._state_some, iter(range(99))

    def fail_at_third(closing: PeriodClosing, *, now: Any) -> bool:
        if next(turns) == 2:
            raise RuntimeError("the worker is gone")
        return whole(closing, now=now)

    monkeypatch.setattr(closings, "_state_some", fail_at_third)
    with pytest.raises(RuntimeError):
        work()
    standing = PeriodClosing.objects.get()
    assert (standing.jobs_done, standing.finished_at) == (2, None)
    assert take_closing(now=NOW) is None
    done = work(NOW + LEASE + timedelta(seconds=1))
    assert (done.jobs_done, done.attempts, AccountingPeriod.objects.count()) == (6, 2, 1)
    assert costs(FIRST) == {"J-1": (3_000_000, 3_000_000), "J-2": (6_000_000, 6_000_000)}


def test_a_closing_that_nobody_can_carry_out_is_left_alone_and_says_so(world: World) -> None:
    ask(world)
    PeriodClosing.objects.update(attempts=MOST_ATTEMPTS)
    assert take_closing(now=NOW) is None
    assert find_state(PeriodClosing.objects.get(), now=NOW) == "failed"


def test_a_period_that_was_reopened_meanwhile_is_not_stated(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(world)
    whole = closings._state_some
    monkeypatch.setattr(closings, "_state_some", lambda closing, *, now: True)
    work()
    asked = ask_to_reopen(id=uuid4(), by=world.actor, asked_at=NOW, last_date=FIRST, reason="A bill.")
    other = Actor.objects.create(code="second", name="Second", kind="person")
    give_second_word(id=asked.uuid, by=other, decided_at=NOW, is_granted=True)
    monkeypatch.setattr(closings, "_state_some", whole)
    done = work(NOW + LEASE + timedelta(seconds=1))
    assert (done.refusal_code, PeriodJobCost.objects.count()) == ("period_reopened", 0)


def test_the_check_list_is_looked_at_again_when_it_is_its_turn(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as nothing_open:
        nothing_open.setattr(closings, "list_closing_points", lambda until: [])
        ask(world, remark="")
    done = work()
    assert (done.refusal_code, done.period) == ("points_are_open", None)
    assert Company.objects.get().books_closed_until is None
