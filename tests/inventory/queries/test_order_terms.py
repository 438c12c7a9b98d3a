"""Of whom a material is ordered: not the lowest price a unit but the least cost in all."""

from datetime import date
from math import sqrt

import pytest

from inventory.models import Party, PriceBreak, SupplierTerms, SupplyTerms
from inventory.queries.policy_histories import load_policy_histories
from inventory.queries.restock import list_restock, reckon_restock
from tests.factories.inventory import World, make_world
from tests.inventory.queries.test_restock import MONDAY, need, terms, use

pytestmark = pytest.mark.django_db


def other(world: World, **more: object) -> SupplyTerms:
    supplier = Party.objects.create(code="other", name="Other", is_supplier=True)
    fields = {"unit_cost": 2_100_000, "lead_time_days": 3, "pack": 1_000_000, **more}
    return SupplyTerms.objects.create(material=world.fluid, supplier=supplier, **fields)


def chosen() -> tuple[str, int]:
    [line] = list_restock(as_of=MONDAY).lines
    assert line.terms is not None
    return line.terms.supplier.code, line.quantity // 10**6


def test_list_restock_weighs_the_least_that_is_sold() -> None:
    world = make_world()
    need(world, world.fluid, 10, 30)
    cheap = terms(world, world.fluid, pack=1_000_000)
    other(world)
    assert chosen() == ("source", 30)
    SupplyTerms.objects.filter(pk=cheap.pk).update(minimum=200_000_000)
    # 200 gal at 2.00 against 30 at 2.10, and nobody says that the rest will be used.
    assert chosen() == ("other", 30)
    SupplyTerms.objects.filter(pk=cheap.pk).update(minimum=0, pack=55_000_000)
    assert chosen() == ("other", 30)


def test_list_restock_weighs_what_the_order_costs() -> None:
    world = make_world()
    need(world, world.fluid, 10, 30)
    cheap = terms(world, world.fluid, pack=1_000_000)
    other(world)
    asks = SupplierTerms.objects.create(supplier=cheap.supplier, order_cost=2_000_000)
    # 30 gal: 60 and 2 for the order against 63.
    assert chosen() == ("source", 30)
    asks.order_cost = 4_000_000
    asks.save()
    assert chosen() == ("other", 30)
    asks.delete()
    SupplyTerms.objects.filter(pk=cheap.pk).update(line_cost=4_000_000)
    assert chosen() == ("other", 30)


@pytest.mark.parametrize(
    ("discount", "expected"), [("all_units", ("other", 365)), ("incremental", ("source", 191))]
)
@pytest.mark.outside_check(
    "Harris (1913) and Hadley & Whitin (1963) 2-11: 2 gal a day, K 10, i 0.2, Q = sqrt(2 K 730 / (0.2 * 2)); "
    "how known: costs worked by hand in the test"
)
def test_list_restock_weighs_price_breaks(discount: str, expected: tuple[str, int]) -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    terms(world, world.fluid, pack=1_000_000, line_cost=10_000_000)
    broken = other(world, line_cost=10_000_000, discount=discount)
    PriceBreak.objects.create(terms=broken, from_quantity=365_000_000, unit_cost=1_900_000)
    # Source: 1460 a year and sqrt(2 * 10 * 730 * 0.4) = 76.4 in orders of 191. Other, all at 1.90: 1387, 20
    # for two orders a year and 0.2 * 1.9 * 365 / 2 = 69.4 of holding. Where only what lies above 365 has
    # that price, an order of q costs 1.9 q + 0.2 * 365 + 10: 1387 and sqrt(2 * 83 * 730 * 0.38) + 7.3 = 222.
    assert 1460 + sqrt(2 * 10 * 730 * 0.4) > 1387 + 20 + 0.2 * 1.9 * 365 / 2
    assert 1387 + sqrt(2 * 83 * 730 * 0.38) + 7.3 > 1460 + sqrt(2 * 10 * 730 * 0.4)
    found, quantity = chosen()
    assert found == expected[0]
    assert quantity == pytest.approx(expected[1], abs=1)


def test_list_restock_takes_who_is_in_time_whatever_it_costs() -> None:
    world = make_world()
    need(world, world.fluid, 10, 30)
    terms(world, world.fluid, pack=1_000_000, lead_time_days=20)
    other(world, minimum=500_000_000)
    assert chosen() == ("other", 500)
    SupplyTerms.objects.update(lead_time_days=30)
    SupplyTerms.objects.filter(supplier__code="source").update(lead_time_days=25)
    # Nobody is: the quickest.
    assert chosen() == ("source", 30)


def test_policies_of_the_list_and_of_past_weeks_are_for_the_same_supplier() -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    cheap = terms(world, world.fluid, pack=1_000_000, line_cost=900_000_000, lead_time_days=2)
    other(world, lead_time_days=9)
    answer = reckon_restock(as_of=MONDAY)
    [preferred] = answer.plans.preferred
    assert preferred is not None
    assert (preferred.supplier.code, preferred.supplier_id == cheap.supplier_id) == ("other", False)
    assert load_policy_histories(before=date(2026, 3, 2), service=0.95).lead_days.tolist() == [9.0]
