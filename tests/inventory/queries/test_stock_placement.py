"""Where safety stock lies best, reckoned by hand for one yard and its trucks."""

from datetime import timedelta
from math import ceil, sqrt

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import DemandWeek, Place, StockPolicy
from inventory.queries.restock import list_restock
from inventory.queries.stock_placement import list_placements
from inventory.queries.vehicle_top_ups import list_top_ups
from tests.factories.inventory import World, at, make_world
from tests.inventory.queries.test_restock import MONDAY, terms

pytestmark = pytest.mark.django_db
USES = (0, 10, 2, 8)
Z = 1.6448536269514722


def with_trucks(number: int, *, material: str = "projectile") -> World:
    """Trucks of the main yard that each use 0, 10, 2 and 8 pieces in turn of weeks; 11 days to be had."""
    world = make_world()
    for each in range(number):
        truck = Place.objects.create(
            code=f"t{each}", name=f"Truck {each}", kind="vehicle", parent=world.warehouse
        )
        use_at(world, truck)
    terms(world, world.projectile, lead_time_days=4, pack=1_000_000)
    return world


def use_at(world: World, place: Place) -> None:
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=place,
            material=world.projectile,
            owner=world.company,
            week_date=MONDAY - timedelta(weeks=week),
            used=USES[week % 4] * 1_000_000,
        )
        for week in range(1, 41)
    )


def spread_of_day() -> float:
    """Of the weeks from the first use on, by n - 1, over seven days."""
    return float(np.std([USES[week % 4] for week in range(1, 40)], ddof=1)) / sqrt(7)


def hold_at(world: World, place: Place, rate: float) -> None:
    StockPolicy.objects.create(
        key=f"{place.pk}:0", place=place, holding_cost_rate=rate, set_by=world.actor, set_at=at(0)
    )


@pytest.mark.outside_check(
    "Graves & Willems (2000): one customer, so sqrt(L + R) < sqrt(L) + sqrt(R), z s sqrt(18) on the truck, "
    "none in the yard; how known: worked by hand from the paper's cost"
)
def test_list_placements_keeps_all_on_a_single_truck() -> None:
    world = with_trucks(1)
    truck = Place.objects.get(code="t0")
    hold_at(world, truck, 0.2)
    [row] = list_placements(as_of=MONDAY)
    assert (row.warehouse, row.material, row.promised_days) == (world.warehouse, world.projectile, 11)
    spread = spread_of_day()
    assert [(there.place, there.safety_stock, there.days) for there in row.held] == [
        (world.warehouse, 0, 0),
        (truck, ceil(Z * spread * sqrt(18)) * 1_000_000, 18),
    ]
    a_year = 0.2 * 2
    saved = Z * spread * (sqrt(11) + sqrt(7) - sqrt(18)) * a_year
    assert row.saving / 10**6 == pytest.approx(saved, rel=1e-4)
    kept = ceil(Z * spread * sqrt(18))
    assert row.why.startswith(f"Keep {kept} on Truck 0, which lasts until goods ordered have come through")
    assert not row.is_usual


@pytest.mark.outside_check(
    "Graves & Willems (2000): six customers pool their risk, sqrt(6) sqrt(L) + 6 sqrt(R) < 6 sqrt(L + R); "
    "how known: worked by hand from the paper's cost"
)
def test_list_placements_keeps_the_lead_time_in_the_yard_of_many_trucks() -> None:
    with_trucks(6)
    [row] = list_placements(as_of=MONDAY)
    assert (row.is_usual, row.promised_days) == (True, 0)
    assert row.held[0].safety_stock == ceil(Z * spread_of_day() * sqrt(6 * 11)) * 1_000_000
    assert {there.safety_stock for there in row.held[1:]} == {ceil(Z * spread_of_day() * sqrt(7)) * 1_000_000}
    assert "holding all of it on board would cost" in row.why


def test_list_placements_reckons_what_a_truck_holds_twice_unless_told() -> None:
    world = with_trucks(1)
    [row] = list_placements(as_of=MONDAY)
    # sqrt(11) + 2 sqrt(7) against 2 sqrt(18): not two per cent less, so all stays as it is.
    assert (row.is_usual, row.promised_days) == (True, 0)
    hold_at(world, world.warehouse, 0.8)
    hold_at(world, Place.objects.get(code="t0"), 0.2)
    assert not list_placements(as_of=MONDAY)[0].is_usual


def test_list_placements_counts_what_is_taken_from_the_yard_itself() -> None:
    world = with_trucks(1)
    use_at(world, world.warehouse)
    [row] = list_placements(as_of=MONDAY)
    assert row.is_usual
    assert row.held[0].safety_stock == ceil(Z * spread_of_day() * sqrt(2 * 11)) * 1_000_000


def test_list_placements_aims_at_what_the_yard_aims_at() -> None:
    world = with_trucks(6)
    policy = StockPolicy.objects.create(
        key=f"{world.warehouse.pk}:0",
        place=world.warehouse,
        target="fill_rate",
        target_share=0.95,
        set_by=world.actor,
        set_at=at(0),
    )

    def in_yard() -> int:
        return list_placements(as_of=MONDAY)[0].held[0].safety_stock // 10**6

    usual = ceil(Z * spread_of_day() * sqrt(6 * 11))
    by_fill = in_yard()
    # Filling 95 in 100 asks for less than getting through 95 of 100 times.
    assert 0 <= by_fill < usual
    policy.target_share = 0.999
    policy.save()
    assert in_yard() > by_fill
    policy.target, policy.target_share, policy.shortage_cost_per_day = "cost", None, 10**9
    policy.save()
    assert in_yard() > usual


def test_list_top_ups_fills_a_truck_for_as_long_as_its_yard_may_make_it_wait() -> None:
    world = with_trucks(1)
    [usual] = list_top_ups(as_of=MONDAY)
    hold_at(world, Place.objects.get(code="t0"), 0.2)
    [kept] = list_top_ups(as_of=MONDAY)
    # Eighteen days to last through instead of seven.
    assert kept.minimum > 1.5 * usual.minimum


def test_list_restock_tells_placements_and_nothing_without_vehicles() -> None:
    with_trucks(1)
    assert [row.material.code for row in list_restock(as_of=MONDAY).placements] == ["projectile-12"]
    Place.objects.filter(code="t0").update(is_withdrawn=True)
    assert list_restock(as_of=MONDAY).placements == ()


def test_list_placements_asks_as_often_for_many_trucks_as_for_one() -> None:
    with_trucks(1)
    counts = []
    for number in range(2):
        with CaptureQueriesContext(connection) as asked:
            list_placements(as_of=MONDAY)
        counts.append(len(asked))
        home = Place.objects.get(code="t0")
        for each in range(8):
            code = f"more-{number}-{each}"
            truck = Place.objects.create(code=code, name=code, kind="vehicle", parent=home.parent)
            for week in DemandWeek.objects.filter(place=home):
                week.pk, week.place = None, truck
                week.save()
    assert counts[0] == counts[1]
