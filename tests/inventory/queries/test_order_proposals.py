"""What is ordered together from one supplier, checked against the calculation and by hand."""

from dataclasses import replace
from datetime import date
from math import sqrt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Party, PriceBreak, SupplierTerms, SupplyTerms
from inventory.queries.order_proposals import propose_orders
from inventory.queries.restock import RestockList, list_restock
from tests.factories.inventory import World, make_world
from tests.inventory.queries.test_restock import MONDAY, terms, use

pytestmark = pytest.mark.django_db


def stocked() -> tuple[World, Party]:
    """Fluid at 14 gal and projectiles at 70 a week, both from one supplier who asks 50.00 an order."""
    world = make_world()
    use(world, world.fluid, 30, 14)
    use(world, world.projectile, 30, 70)
    offer = terms(world, world.fluid, pack=1_000_000, line_cost=1_000_000)
    terms(world, world.projectile, pack=1_000_000, unit_cost=500_000, line_cost=1_000_000)
    SupplierTerms.objects.create(
        supplier=offer.supplier, order_cost=50_000_000, least_order_value=400_000_000
    )
    return world, offer.supplier


def listed() -> RestockList:
    return list_restock(as_of=MONDAY)


@pytest.mark.outside_check(
    "Silver (1976): T = sqrt(2 (K + sum k) / sum h D), both every cycle; sqrt(2 * 52 * 365 / (0.2 * (2 * 2 + "
    "0.5 * 10))) = 145 days; how known: worked by hand from the formula"
)
def test_propose_orders_shares_the_cost_of_an_order_among_its_lines() -> None:
    _world, supplier = stocked()
    found = listed()
    [order] = found.orders
    assert order.supplier == supplier
    assert order.order_by_date == min(line.order_by_date for line in found.lines)
    cycle = sqrt(2 * 52 * 365 / (0.2 * (2 * 2 + 0.5 * 10)))
    assert order.cycle_days == pytest.approx(cycle, rel=1e-3)
    quantities = {row.line.material.code: row.quantity / 10**6 for row in order.lines}
    assert quantities["fluid"] == pytest.approx(2 * cycle, abs=1)
    assert quantities["projectile-12"] == pytest.approx(10 * cycle, abs=1)
    alone = {line.material.code: line.quantity / 10**6 for line in found.lines}
    assert alone["fluid"] == pytest.approx(sqrt(2 * 51 * 2 * 365 / 0.4), abs=1)
    assert all(quantities[code] < alone[code] for code in alone)
    costs = sqrt(2 * 51 * 2 * 0.4 * 365) + sqrt(2 * 51 * 10 * 0.1 * 365) - sqrt(2 * 52 * 0.2 * 9 * 365)
    assert order.saving_per_year is not None
    assert order.saving_per_year / 10**6 == pytest.approx(costs, rel=1e-3)
    assert order.order_cost == 52_000_000
    assert order.total == sum(row.cost for row in order.lines) + 52_000_000


def test_propose_orders_says_what_the_least_order_still_lacks() -> None:
    stocked()
    SupplierTerms.objects.update(least_order_value=10_000_000_000)
    [order] = listed().orders
    assert order.missing_value == 10_000_000_000 - order.goods
    SupplierTerms.objects.update(least_order_value=order.goods)
    assert listed().orders[0].missing_value == 0


def test_propose_orders_leaves_a_single_line_and_a_price_break_as_they_are() -> None:
    world, _supplier = stocked()
    found = listed()
    fluid = next(line for line in found.lines if line.material == world.fluid)
    [alone] = propose_orders([fluid])
    assert [row.quantity for row in alone.lines] == [fluid.quantity]
    assert (alone.cycle_days, alone.saving_per_year) == (None, None)
    offer = SupplyTerms.objects.get(material=world.fluid)
    PriceBreak.objects.create(terms=offer, from_quantity=900_000_000, unit_cost=1_000_000)
    [order] = listed().orders
    assert {row.line.material.code: row.quantity for row in order.lines}["fluid"] == 900_000_000


def test_propose_orders_keeps_suppliers_apart_and_leaves_out_what_nobody_sells() -> None:
    world, _supplier = stocked()
    other = Party.objects.create(code="other", name="Other", is_supplier=True)
    SupplyTerms.objects.filter(material=world.fluid).update(supplier=other)
    found = listed()
    assert [order.supplier.code for order in found.orders] == ["other", "source"]
    unsold = replace(found.lines[0], terms=None)
    assert propose_orders([unsold]) == ()


def test_propose_orders_asks_once_for_any_number_of_lines() -> None:
    stocked()
    lines = listed().lines
    for chosen in (lines[:1], lines):
        with CaptureQueriesContext(connection) as asked:
            propose_orders(chosen)
        assert len(asked) == 1
    assert date(2026, 3, 2) == MONDAY
