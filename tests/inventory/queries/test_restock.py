"""What the restock list says, on days small enough to follow by hand."""

from collections.abc import Callable
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import BadInput
from inventory.models import (
    Container,
    DemandWeek,
    Material,
    Order,
    OrderLine,
    Party,
    PriceBreak,
    Requirement,
    StockPolicy,
    SupplyTerms,
)
from inventory.queries.restock import list_restock
from inventory.services.goods import transfer
from tests.factories.inventory import World, at, each, feet, make_world

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 3, 2)


def need(world: World, material: Material, day: int, mean: int, **more: object) -> Requirement:
    fields = {
        "material": material,
        "owner": world.company,
        "place": world.warehouse,
        "needed_date": date(2026, 3, day),
        "mean": mean * 1_000_000,
        "reference": f"crew-day:{day}",
        **more,
    }
    return Requirement.objects.create(**fields)


def use(world: World, material: Material, weeks: int, amount: int, *, first: int = 1) -> None:
    """So much used in each of so many weeks up to the last or to an earlier one, as rolled up."""
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=world.warehouse,
            material=material,
            owner=world.company,
            week_date=MONDAY - timedelta(weeks=week),
            used=amount * 1_000_000,
        )
        for week in range(first, first + weeks)
    )


def terms(world: World, material: Material, **more: object) -> SupplyTerms:
    supplier = Party.objects.get_or_create(code="source", defaults={"name": "Source", "is_supplier": True})[0]
    fields = {"unit_cost": 2_000_000, "lead_time_days": 3, "pack": 55_000_000, **more}
    return SupplyTerms.objects.create(material=material, supplier=supplier, **fields)


def test_list_restock_orders_the_lack_in_packs_before_it_runs_out() -> None:
    world = make_world()
    world.drum("D1", 50)
    terms(world, world.fluid)
    need(world, world.fluid, 4, 30)
    need(world, world.fluid, 6, 40)
    found = list_restock(as_of=MONDAY, horizon_days=14, cover_days=14)
    [line] = found.lines
    # 50 - 30 = 20 after the 4th; 20 - 40 = -20 after the 6th: one drum of 55 is lacking from the 6th on.
    assert line.run_out_date == date(2026, 3, 6)
    assert line.order_by_date == date(2026, 3, 3)
    assert not line.is_late
    assert line.quantity == 55_000_000
    assert line.cost == 110_000_000
    assert line.needs_at_risk == 1
    assert line.why == ("50 gal on hand; 2 planned uses until 18 Mar take 70 gal. Source needs up to 3 days.")


def test_list_restock_counts_what_comes_back_for_the_next_day() -> None:
    world = make_world()
    world.drum("D1", 50)
    back = {
        "returned_material": world.recovered,
        "returned_mean": 25_000_000,
        "returned_date": date(2026, 3, 4),
    }
    need(world, world.fluid, 4, 30, **back)
    need(world, world.fluid, 5, 40)
    # 50 - 30 + 25 - 40 = 5: enough, though 70 are taken from 50.
    assert list_restock(as_of=MONDAY).lines == ()
    need(world, world.fluid, 6, 6)
    assert [line.run_out_date for line in list_restock(as_of=MONDAY).lines] == [date(2026, 3, 6)]


def test_list_restock_does_not_count_what_comes_back_only_in_the_evening() -> None:
    world = make_world()
    world.loose(world.projectile, each(2))
    back = {"returned_material": world.projectile, "returned_date": date(2026, 3, 4)}
    need(world, world.projectile, 4, 2, returned_mean=2_000_000, **back)
    need(world, world.projectile, 4, 1, reference="crew-day:other")
    [line] = list_restock(as_of=MONDAY).lines
    assert line.run_out_date == date(2026, 3, 4)
    assert line.quantity == 1_000_000


@pytest.mark.outside_check(
    "NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.1, standard normal table: Phi(1) = 0.8413 "
    "and Phi(1.645) = 0.95; how known: from memory of the table, agrees with scipy"
)
def test_list_restock_says_the_chance_of_running_short() -> None:
    world = make_world()
    world.drum("D1", 55)
    need(world, world.fluid, 4, 45, variance=100.0)
    [line] = list_restock(as_of=MONDAY).lines
    # Level 10 with a standard deviation of 10: short with 1 - Phi(1); 1.645 * 10 - 10 = 6.45 gal are lacking.
    assert line.chance_short == pytest.approx(1 - 0.8413, abs=5e-5)
    assert line.quantity == pytest.approx(6_450_000, abs=2_000)


def test_list_restock_says_when_it_is_too_late() -> None:
    world = make_world()
    terms(world, world.fluid, lead_time_days=5)
    need(world, world.fluid, 4, 30)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.is_late
    assert line.order_by_date == date(2026, 2, 27)


def test_list_restock_takes_the_cheapest_supplier_that_is_in_time() -> None:
    world = make_world()
    slow = terms(world, world.fluid, lead_time_days=20, unit_cost=1_000_000)
    quick = SupplyTerms.objects.create(
        material=world.fluid,
        supplier=Party.objects.create(code="near", name="Near"),
        unit_cost=3_000_000,
        lead_time_days=1,
    )
    need(world, world.fluid, 4, 30)
    assert [line.terms for line in list_restock(as_of=MONDAY).lines] == [quick]
    Requirement.objects.all().delete()
    need(world, world.fluid, 27, 30)
    assert [line.terms for line in list_restock(as_of=MONDAY).lines] == [slow]


def test_list_restock_keeps_owners_apart() -> None:
    world = make_world()
    world.loose(world.fibre, feet(5000))
    need(world, world.fibre, 4, 800, owner=world.customer)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.owner == world.customer
    assert line.cost is None
    assert line.why.endswith("Furnished by Network Owner: ask them for it.")


def test_list_restock_counts_vehicles_of_the_warehouse_and_leaves_out_what_cannot_be_used() -> None:
    world = make_world()
    world.vehicle.parent = world.warehouse
    world.vehicle.save()
    drum, held_back = world.drum("D1", 20), world.drum("D2", 55)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(drum, world.vehicle)])
    Container.objects.filter(pk=held_back.pk).update(state=Container.State.HELD)
    Container.objects.filter(pk=drum.pk).update(heel=2_000_000)
    need(world, world.fluid, 4, 20)
    [line] = list_restock(as_of=MONDAY).lines
    # 20 gal on the truck less 2 gal that no pump lifts; the other drum is held back.
    assert line.on_hand == 18_000_000


def test_list_restock_does_not_order_a_fitting_because_one_might_be_lost() -> None:
    world = make_world()
    world.loose(world.projectile, each(1))
    back = {"returned_material": world.projectile, "returned_date": date(2026, 3, 4)}
    first = need(world, world.projectile, 4, 1, returned_mean=980_000, returned_variance=0.0196, **back)
    need(world, world.projectile, 5, 1)
    # It is lost on the first day with 2 %, within the 5 % that may run short.
    assert list_restock(as_of=MONDAY).lines == ()
    Requirement.objects.filter(pk=first.pk).update(returned_mean=600_000, returned_variance=0.24)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.run_out_date == date(2026, 3, 5)
    assert line.quantity == 1_000_000


@pytest.mark.parametrize(
    "wrong", [{"horizon_days": 0}, {"service": 1.0}, {"service": 0.2}, {"cover_days": 99}]
)
def test_list_restock_refuses_what_cannot_be_aimed_at(wrong: dict[str, float]) -> None:
    make_world()
    with pytest.raises(BadInput):
        list_restock(as_of=MONDAY, **wrong)


def count_reads(read: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as queries:
        read()
    return len(queries)


def test_list_restock_reads_as_often_for_many_materials_as_for_one() -> None:
    world = make_world()
    terms(world, world.fluid)
    use(world, world.projectile, 6, 3)
    need(world, world.fluid, 4, 30)
    once = count_reads(lambda: list_restock(as_of=MONDAY))
    for number in range(10):
        material = Material.objects.create(
            code=f"p{number}",
            name=f"P{number}",
            kind="projectile",
            stock_unit="1",
            nominal_diameter_mm=10.0,
        )
        terms(world, material)
        use(world, material, 6, 3)
        need(world, material, 5, 3)
    assert count_reads(lambda: list_restock(as_of=MONDAY)) == once


def test_list_restock_foresees_what_nobody_plans() -> None:
    world = make_world()
    world.loose(world.projectile, each(20))
    use(world, world.projectile, 30, 7)
    [line] = list_restock(as_of=MONDAY).lines
    # Seven a week out of twenty: gone in the third week at the latest.
    assert MONDAY + timedelta(days=7) < line.run_out_date < MONDAY + timedelta(days=21)
    assert line.needs == ()
    assert "use not yet planned takes" in line.why
    assert "at the usual 7 a week" in line.why


def test_list_restock_takes_planned_work_for_the_use_that_was_foreseen() -> None:
    world = make_world()
    world.loose(world.projectile, each(300))
    use(world, world.projectile, 30, 7)
    need(world, world.projectile, 4, 310)
    [line] = list_restock(as_of=MONDAY, horizon_days=7, cover_days=7).lines
    assert line.needed == 310_000_000
    assert line.unscheduled == 0


def test_list_restock_foresees_nothing_of_what_others_furnish() -> None:
    world = make_world()
    use(world, world.fibre, 30, 700)
    DemandWeek.objects.update(owner=world.customer)
    assert list_restock(as_of=MONDAY).lines == ()


def ordered(world: World, material: Material, amount: int, due: date, state: str = "sent") -> Order:
    supplier = terms(world, material).supplier
    order = Order.objects.create(
        uuid=uuid4(), reference=f"O-{material.code}", supplier=supplier, place=world.warehouse, state=state,
        written_at=at(0), written_by=world.actor, sent_at=at(0), promised_date=due, fingerprint="",
    )  # fmt: skip
    OrderLine.objects.create(
        order=order, position=1, material=material, quantity=amount * 1_000_000, unit_cost=1
    )
    return order


def test_list_restock_counts_what_is_on_order_from_its_day_on() -> None:
    world = make_world()
    world.drum("D1", 50)
    need(world, world.fluid, 4, 30)
    need(world, world.fluid, 6, 40)
    order = ordered(world, world.fluid, 55, date(2026, 3, 3))
    assert list_restock(as_of=MONDAY).lines == ()
    Order.objects.filter(pk=order.pk).update(promised_date=date(2026, 3, 9))
    [line] = list_restock(as_of=MONDAY).lines
    assert line.run_out_date == date(2026, 3, 6)
    assert line.expected == 55_000_000
    assert "50 gal on hand and 55 gal on order for 09 Mar (O-fluid)" in line.why


def test_list_restock_does_not_take_an_undated_order_for_stock() -> None:
    world = make_world()
    need(world, world.fluid, 6, 40)
    order = ordered(world, world.fluid, 55, date(2026, 3, 3))
    SupplyTerms.objects.all().delete()
    Order.objects.filter(pk=order.pk).update(promised_date=None)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.run_out_date == date(2026, 3, 6)
    # A fortnight, give or take five days, from the morning of the second on: come by the sixth in 2 of 100.
    assert line.chance_short > 0.97
    assert "and 55 gal ordered, no delivery date known (O-fluid)" in line.why


def test_list_restock_names_an_overdue_order_and_does_not_count_on_it_today() -> None:
    world = make_world()
    need(world, world.fluid, 3, 40)
    ordered(world, world.fluid, 55, date(2026, 2, 20))
    [line] = list_restock(as_of=MONDAY).lines
    # Ten days overdue: it comes by tomorrow with a few in a hundred.
    assert 0.9 < line.chance_short < 1
    assert "and 55 gal overdue since 20 Feb (O-fluid)" in line.why


def test_list_restock_still_needs_what_an_overdue_day_was_to_take() -> None:
    world = make_world()
    world.drum("D1", 50)
    back = {
        "returned_material": world.recovered,
        "returned_mean": 25_000_000,
        "returned_date": MONDAY - timedelta(days=5),
    }
    need(world, world.fluid, 1, 30, needed_date=MONDAY - timedelta(days=5), **back)
    need(world, world.fluid, 2, 22)
    [line] = list_restock(as_of=MONDAY).lines
    # 50 - 30 - 22 = -2 today; the 25 that come back are there for tomorrow's work, not since last week.
    assert (line.run_out_date, line.quantity) == (MONDAY, 2_000_000)
    assert "2 planned uses until 15 Mar (1 of them was due on 25 Feb and not settled) take 52 gal" in line.why
    Requirement.objects.filter(needed_date__lt=MONDAY).delete()
    assert list_restock(as_of=MONDAY).lines == ()


def policy(world: World, **fields: object) -> StockPolicy:
    place, material = fields.get("place"), fields.get("material")
    key = f"{getattr(place, 'pk', 0)}:{getattr(material, 'pk', 0)}"
    return StockPolicy.objects.create(key=key, set_by=world.actor, set_at=at(0), **fields)


def test_list_restock_keeps_to_the_nearest_policy() -> None:
    world = make_world()
    world.drum("D1", 55)
    need(world, world.fluid, 4, 45, variance=100.0)
    policy(world, target="cycle_service", target_share=0.8)
    # Short with 16 %: enough for 80 %.
    assert list_restock(as_of=MONDAY).lines == ()
    policy(world, material=world.fluid, target="cycle_service", target_share=0.9)
    assert len(list_restock(as_of=MONDAY).lines) == 1


def test_list_restock_keeps_a_minimum_that_was_set_by_hand_and_fills_to_the_maximum() -> None:
    world = make_world()
    world.loose(world.projectile, each(4))
    policy(
        world,
        place=world.warehouse,
        material=world.projectile,
        minimum_level=5_000_000,
        maximum_level=12_000_000,
    )
    [line] = list_restock(as_of=MONDAY).lines
    assert line.run_out_date == MONDAY
    assert line.quantity == 8_000_000
    assert "no less than 5 is to be kept" in line.why


def test_list_restock_counts_on_returns_only_after_their_lag() -> None:
    world = make_world()
    world.drum("D1", 50)
    back = {
        "returned_material": world.recovered,
        "returned_mean": 25_000_000,
        "returned_date": date(2026, 3, 4),
    }
    need(world, world.fluid, 4, 30, **back)
    need(world, world.fluid, 6, 40)
    assert list_restock(as_of=MONDAY).lines == ()
    policy(world, material=world.fluid, return_lag_days=5.0)
    assert [line.run_out_date for line in list_restock(as_of=MONDAY).lines] == [date(2026, 3, 6)]


def test_list_restock_orders_no_more_than_is_used_while_it_keeps() -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    offer = terms(world, world.fluid, pack=5_000_000, line_cost=90_000_000)
    free = list_restock(as_of=MONDAY).lines[0]
    assert free.quantity > 60_000_000
    assert "keeps" not in free.why
    offer.shelf_life_days = 21
    offer.save()
    kept = list_restock(as_of=MONDAY).lines[0]
    # 14 gal a week for three weeks from its arrival on, in whole packs of five downwards.
    assert kept.quantity == 40_000_000
    assert "It keeps 21 days, in which 42 gal of it will be used, so more is not ordered." in kept.why
    offer.shelf_life_days = None
    offer.save()
    Material.objects.filter(pk=world.fluid.pk).update(shelf_life_days=21)
    assert list_restock(as_of=MONDAY).lines[0].quantity == 40_000_000


def test_list_restock_orders_no_more_than_there_is_room_for() -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    terms(world, world.fluid, pack=5_000_000, line_cost=90_000_000)
    StockPolicy.objects.create(
        key=f"0:{world.fluid.pk}",
        material=world.fluid,
        storage_limit=33_000_000,
        set_by=world.actor,
        set_at=at(0),
    )
    line = list_restock(as_of=MONDAY).lines[0]
    assert line.quantity == 30_000_000
    assert "There is room for 33 gal when it comes, so more is not ordered." in line.why


def test_list_restock_still_orders_the_least_that_is_sold_of_what_hardly_keeps() -> None:
    world = make_world()
    need(world, world.fluid, 5, 3)
    terms(world, world.fluid, pack=55_000_000, shelf_life_days=10)
    line = list_restock(as_of=MONDAY).lines[0]
    assert line.quantity == 55_000_000
    assert line.why.endswith("in which 3 gal of it will be used, but no less is sold.")


def test_list_restock_buys_at_the_price_break_that_costs_least() -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    offer = terms(world, world.fluid, pack=5_000_000, line_cost=2_000_000)
    plain = list_restock(as_of=MONDAY).lines[0].quantity
    PriceBreak.objects.create(terms=offer, from_quantity=200_000_000, unit_cost=1_000_000)
    line = list_restock(as_of=MONDAY).lines[0]
    assert plain < 200_000_000
    assert line.quantity == 200_000_000
    assert line.cost == 200_000_000
    # A dearer price further up is taken as it is and never sought.
    PriceBreak.objects.update(unit_cost=3_000_000)
    assert list_restock(as_of=MONDAY).lines[0].quantity == plain
