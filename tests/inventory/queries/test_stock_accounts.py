"""Stock on any day, how it came there, how old it is."""

from datetime import date
from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import CostPool, Entry, Place
from inventory.queries.stock_accounts import list_stock_ages, list_stock_at, roll_forward
from inventory.services.accounting.periods import close_period
from inventory.services.corrections import reverse
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import World, at, each, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = make_world(cost_formula="fifo")
    world.loose(world.projectile, each(10), cost=10)
    world.loose(world.projectile, each(10), cost=20, hours=24)
    return world


def use(world: World, pieces: int, hours: float):  # type: ignore[no-untyped-def]
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(world.span))
    return draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def test_roll_forward_closes_with_what_the_book_holds(world: World) -> None:
    use(world, 12, 30)
    [row] = roll_forward(first_date=date(2026, 3, 3), last_date=date(2026, 3, 3))
    assert (row.opening.quantity, row.opening.value) == (10_000_000, 10_000_000)
    assert (row.changes["used"].quantity, row.changes["used"].value) == (-12_000_000, -14_000_000)
    pools = CostPool.objects.filter(place__kind__in=Place.STOCK_KINDS)
    assert row.closing.value == sum(pool.value for pool in pools)
    assert row.closing.quantity == 8_000_000


def test_roll_forward_takes_back_what_was_reversed(world: World) -> None:
    entry = use(world, 3, 2)
    reverse(id=uuid4(), by=world.actor, entry=entry, reason="typed twice")
    [row] = roll_forward(first_date=None, last_date=date(2026, 3, 2))
    assert row.changes["used"].quantity == 0


def test_roll_forward_of_one_place_tells_what_moved(world: World) -> None:
    line = Line(world.projectile, each(4), End(world.warehouse), End(world.vehicle))
    transfer(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[line])
    days = {"first_date": None, "last_date": date(2026, 3, 2)}
    [yard] = roll_forward(**days, places=[world.warehouse.pk])
    [whole] = roll_forward(**days)
    assert yard.changes["moved"].quantity == -4_000_000
    assert whole.changes["moved"].quantity == 0


def test_roll_forward_refuses_days_the_wrong_way_round() -> None:
    with pytest.raises(BadInput, match="lies before"):
        roll_forward(first_date=date(2026, 3, 2), last_date=date(2026, 3, 1))


def test_list_stock_at_tells_lots_and_their_age(world: World) -> None:
    use(world, 12, 30)
    evening = list_stock_at(day=date(2026, 3, 2))
    assert [(row.quantity, row.value, row.age_days) for row in evening] == [(10_000_000, 10_000_000, 0)]
    later = [row for row in list_stock_at(day=date(2026, 3, 10)) if row.quantity]
    assert [(row.quantity, row.value, row.age_days) for row in later] == [(8_000_000, 16_000_000, 7)]


def test_list_stock_ages_takes_the_newest_receipts_for_what_is_left(world: World) -> None:
    use(world, 5, 30)
    [aged] = list_stock_ages(day=date(2026, 4, 2), limits_days=(30, 90))
    assert (aged.material, aged.quantities) == (world.projectile, [10_000_000, 5_000_000, 0])


def test_list_stock_ages_of_a_day_knows_no_later_reversal(world: World) -> None:
    second = Entry.objects.filter(kind="receipt").order_by("key").last()
    assert second is not None
    close_period(last_date=date(2026, 3, 3), by=world.actor, occurred_at=at(72))
    reverse(id=uuid4(), by=world.actor, entry=second, reason="another yard")
    before, after = (list_stock_ages(day=date(2026, 3, day), limits_days=(0,)) for day in (3, 4))
    assert [row.quantities for row in before] == [[10_000_000, 10_000_000]]
    assert [row.quantities for row in after] == [[0, 10_000_000]]
