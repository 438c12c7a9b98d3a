"""Whether one warehouse had better hold safety stock for others, reckoned by hand."""

from datetime import timedelta
from math import sqrt
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy import special

from inventory.models import DemandWeek, Place
from inventory.queries.restock import list_restock, reckon_restock
from inventory.queries.shared_stock import list_shared_stock
from inventory.queries.stock_placement import Placement
from inventory.services.shipments.arriving import Unloaded, receive_shipment
from inventory.services.shipments.sending import SentLine, send_shipment
from tests.factories.inventory import World, at, each, make_world
from tests.inventory.queries.test_restock import MONDAY, terms

pytestmark = pytest.mark.django_db
USES = (0, 10, 2, 8)


def with_yards(number: int, *, lead_days: int) -> World:
    """Yards that each use 0, 10, 2 and 8 pieces in turn of weeks."""
    world = make_world()
    yards = [world.warehouse, world.second_warehouse]
    yards += [
        Place.objects.create(code=f"w{more}", name=f"Yard {more}", kind="warehouse")
        for more in range(2, number)
    ]
    use_in(world, yards)
    terms(world, world.projectile, lead_time_days=lead_days, pack=1_000_000)
    return world


def use_in(world: World, yards: list[Place]) -> None:
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=yard,
            material=world.projectile,
            owner=world.company,
            week_date=MONDAY - timedelta(weeks=week),
            used=USES[week % 4] * 1_000_000,
        )
        for yard in yards
        for week in range(1, 41)
    )


def found() -> list[Placement]:
    answer = reckon_restock(as_of=MONDAY)
    return list_shared_stock(answer.facts, answer.plans)


@pytest.mark.outside_check(
    "Graves & Willems (2000): two alike, L = 63 + 7, branch 3 + 7 days: z s h (sqrt(140) + sqrt(10)) "
    "against 2 z s h sqrt(70); how known: worked by hand from the paper's cost"
)
def test_list_shared_stock_pools_what_takes_long_to_come() -> None:
    world = with_yards(2, lead_days=63)
    answer = reckon_restock(as_of=MONDAY)
    [row] = list_shared_stock(answer.facts, answer.plans)
    assert {row.warehouse, *row.supplies} == {world.warehouse, world.second_warehouse}
    assert not row.is_usual
    spread = float(answer.plans.sd_per_week[0]) / sqrt(7)
    factor = float(special.ndtri(answer.plans.service[0]))
    a_year = 0.2 * 2 * factor * spread
    saved = a_year * (2 * sqrt(70) - sqrt(2) * sqrt(70) - sqrt(10))
    assert row.saving / 10**6 == pytest.approx(saved, rel=1e-3)
    assert row.cost / 10**6 == pytest.approx(a_year * (sqrt(140) + sqrt(10)), rel=1e-3)
    assert [there.days for there in row.held] == [70, 10]
    assert row.held[0].safety_stock == pytest.approx(factor * spread * sqrt(140) * 10**6, abs=10**6)
    assert "for the 10 days until a shipment has come" in row.why
    assert row in list_restock(as_of=MONDAY).placements
    # Of one warehouse alone there is nothing to share.
    assert list_restock(as_of=MONDAY, place=world.warehouse).placements == ()


def test_list_shared_stock_leaves_what_comes_soon_where_it_is_used() -> None:
    with_yards(2, lead_days=4)
    # 2 sqrt(11) is less than sqrt(2) sqrt(11) + sqrt(10).
    assert found() == []


def test_list_shared_stock_supplies_only_those_whom_it_pays_to_supply() -> None:
    world = with_yards(3, lead_days=63)
    assert [len(row.supplies) for row in found()] == [2]
    far = Place.objects.get(code="w2")
    ship(world, world.second_warehouse, days=3)
    ship(world, far, days=70, source=world.second_warehouse)
    ship(world, world.second_warehouse, days=70, source=far)
    ship(world, far, days=70)
    ship(world, world.warehouse, days=70, source=far)
    # Seventy days on the way are as long as the supplier takes: it orders for itself.
    [row] = found()
    assert {row.warehouse, *row.supplies} == {world.warehouse, world.second_warehouse}


def test_list_shared_stock_learns_how_long_shipments_take() -> None:
    world = with_yards(2, lead_days=63)
    ship(world, world.second_warehouse, days=5)
    ship(world, world.warehouse, days=5, source=world.second_warehouse)
    assert [there.days for there in found()[0].held] == [70, 12]


def ship(world: World, target: Place, *, days: int, source: Place | None = None) -> None:
    source = source or world.warehouse
    if source == world.warehouse:
        world.loose(world.projectile, each(5))
    shipment = send_shipment(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        source=source,
        target=target,
        lines=[SentLine(world.projectile, each(5), source)],
    )
    [line] = shipment.lines.all()
    receive_shipment(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1) + timedelta(days=days),
        shipment=shipment,
        unloaded=[Unloaded(line.position, each(5), target)],
        is_last=True,
    )


def test_list_shared_stock_asks_as_often_for_many_warehouses_as_for_two() -> None:
    world = with_yards(2, lead_days=63)
    counts = [count_queries()]
    more = [Place.objects.create(code=f"w{each}", name=f"Yard {each}", kind="warehouse") for each in range(5)]
    use_in(world, more)
    assert len(found()[0].supplies) == 6
    assert [count_queries()] == counts


def count_queries() -> int:
    answer = reckon_restock(as_of=MONDAY)
    with CaptureQueriesContext(connection) as asked:
        list_shared_stock(answer.facts, answer.plans)
    return len(asked)
