"""Closing books, late events, opening them again."""

from datetime import date
from uuid import uuid4

import pytest

from inventory.errors import NotFound
from inventory.models import AccountingPeriod, Company, Entry, SecondWord
from inventory.queries.open_points import OpenPoint
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.periods import (
    AlreadyClosed,
    ClosedAnew,
    PeriodNotOver,
    PointsAreOpen,
    ask_to_reopen,
    close_period,
)
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.second_word import DecidedOtherwise, OwnRequest, RequestExpired
from tests.factories.inventory import World, at, gal, make_world

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


@pytest.fixture
def world() -> World:
    world = make_world()
    world.drum("D-1", 55, cost=110)
    return world


def draw_from_drum(world: World, hours: float) -> Entry:
    drum = world.warehouse.containers.get(label="D-1")
    return draw(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(hours),
        lines=[Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))],
    )


def close(world: World, **also: object) -> AccountingPeriod:
    return close_period(**{"last_date": TODAY, "by": world.actor, "occurred_at": at(48), **also})


def test_close_period_states_what_the_stock_was_worth(world: World) -> None:
    draw_from_drum(world, 2)
    period = close(world)
    [row] = [row for row in period.roll_forward if row["material"] == "fluid"]
    assert row["opening"] == [0, 0]
    assert row["received"] == [55_000_000, 110_000_000]
    assert row["used"] == [-5_000_000, -10_000_000]
    assert row["closing"] == [50_000_000, 100_000_000]
    assert period.first_date is None


def test_a_late_event_is_booked_into_the_open_period_with_its_true_moment(world: World) -> None:
    close(world)
    late = draw_from_drum(world, 3)
    assert late.booked_date == date(2026, 3, 3)
    assert late.occurred_at == at(3)
    assert list(verify_ledger()) == []


def test_the_next_period_opens_with_what_the_last_one_closed_with(world: World) -> None:
    first = close(world)
    draw_from_drum(world, 3)
    second = close(world, last_date=date(2026, 3, 3), occurred_at=at(72))
    assert second.first_date == date(2026, 3, 3)
    assert second.roll_forward[0]["opening"] == first.roll_forward[0]["closing"]
    assert second.roll_forward[0]["used"] == [-5_000_000, -10_000_000]


def test_close_period_again_gives_the_same_period(world: World) -> None:
    assert close(world) == close(world)
    with pytest.raises(AlreadyClosed, match="2026-03-02"):
        close(world, last_date=date(2026, 3, 1))
    assert AccountingPeriod.objects.count() == 1


def test_close_period_refuses_a_day_that_is_not_over_and_changes_nothing(world: World) -> None:
    with pytest.raises(PeriodNotOver, match="last_date"):
        close(world, occurred_at=at(1))
    assert Company.objects.get().books_closed_until is None


def test_close_period_wants_a_word_about_open_points(world: World) -> None:
    points = [OpenPoint("crew_day", "north 2026-03-02", "Crew north has not reported 2026-03-02.")]
    with pytest.raises(PointsAreOpen, match="has not reported"):
        close(world, open_points=points)
    period = close(world, open_points=points, remark="They were sent home.")
    assert period.open_points == [["crew_day", "north 2026-03-02", "Crew north has not reported 2026-03-02."]]


def test_reopening_takes_a_second_person(world: World) -> None:
    close(world)
    asked = ask_to_reopen(
        id=uuid4(), by=world.actor, asked_at=at(49), last_date=TODAY, reason="An invoice was booked twice."
    )
    with pytest.raises(OwnRequest):
        give_second_word(id=asked.uuid, by=world.actor, decided_at=at(50), is_granted=True)
    assert Company.objects.get().books_closed_until == TODAY
    for _again in range(2):
        give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(50), is_granted=True)
    assert Company.objects.get().books_closed_until is None
    again = ask_to_reopen(
        id=asked.uuid, by=world.actor, asked_at=at(50), last_date=TODAY, reason="An invoice was booked twice."
    )
    assert again.pk == asked.pk
    with pytest.raises(DecidedOtherwise):
        give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(51), is_granted=False)
    assert draw_from_drum(world, 3).booked_date == TODAY
    assert close(world).pk != AccountingPeriod.objects.order_by("pk").first().pk
    assert SecondWord.objects.count() == 1


def ask(world: World, hours: float = 49) -> SecondWord:
    return ask_to_reopen(id=uuid4(), by=world.actor, asked_at=at(hours), last_date=TODAY, reason="A bill.")


def grant(world: World, asked: SecondWord, hours: float = 50) -> None:
    give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(hours), is_granted=True)


def test_an_old_request_does_not_open_a_period_that_was_closed_anew(world: World) -> None:
    close(world)
    asked, forgotten = ask(world), ask(world)
    grant(world, asked)
    close(world, occurred_at=at(51))
    with pytest.raises(ClosedAnew, match="opened and closed again"):
        grant(world, forgotten)
    assert Company.objects.get().books_closed_until == TODAY
    assert SecondWord.objects.get(pk=forgotten.pk).is_granted is None


def test_a_reopening_is_not_granted_after_a_later_closing_or_a_month(world: World) -> None:
    close(world)
    asked = ask(world)
    with pytest.raises(RequestExpired):
        grant(world, asked, hours=49 + 24 * 30 + 1)
    close(world, last_date=date(2026, 3, 3), occurred_at=at(72))
    with pytest.raises(NotFound, match="the last one ends on 2026-03-03"):
        grant(world, asked)
    assert Company.objects.get().books_closed_until == date(2026, 3, 3)
