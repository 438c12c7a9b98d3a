"""No order goes beyond what keeps and what there is room for, whatever it would save."""

import pytest

from inventory.models import Party, PriceBreak, StockPolicy, SupplierTerms, SupplyTerms
from inventory.queries.order_proposals import propose_orders
from inventory.queries.restock import list_restock, reckon_restock
from tests.factories.inventory import World, at, make_world
from tests.inventory.queries.test_restock import MONDAY, terms, use

pytestmark = pytest.mark.django_db
LIFE, ROOM = {"shelf_life_days": 21}, {"storage_limit": 42_000_000}


def stocked(*, life: bool) -> tuple[World, SupplyTerms]:
    """Fluid at 14 gal a week, worth ordering in large lots, of which 42 gal keep or have room."""
    world = make_world()
    use(world, world.fluid, 30, 14)
    offer = terms(world, world.fluid, pack=5_000_000, line_cost=90_000_000, **(LIFE if life else {}))
    if not life:
        StockPolicy.objects.create(
            key=f"0:{world.fluid.pk}", material=world.fluid, set_by=world.actor, set_at=at(0), **ROOM
        )
    return world, offer


@pytest.mark.parametrize("life", [True, False], ids=["shelf life", "room"])
def test_no_price_break_is_bought_beyond_a_limit(life: bool) -> None:
    _world, offer = stocked(life=life)
    PriceBreak.objects.create(terms=offer, from_quantity=200_000_000, unit_cost=200_000)
    answer = reckon_restock(as_of=MONDAY)
    [line] = answer.lines.values()
    assert line.quantity == 40_000_000
    assert answer.plans.order_quantity.tolist() == [40.0]
    assert "so more is not ordered" in line.why
    # Within the limit it is bought.
    PriceBreak.objects.update(from_quantity=35_000_000)
    [line] = list_restock(as_of=MONDAY).lines
    assert (line.quantity, line.unit_cost) == (40_000_000, 200_000)


@pytest.mark.parametrize("life", [True, False], ids=["shelf life", "room"])
def test_orders_that_are_shared_keep_to_the_limit_too(life: bool) -> None:
    world, offer = stocked(life=life)
    use(world, world.projectile, 30, 70)
    terms(world, world.projectile, pack=1_000_000, unit_cost=500_000, line_cost=1_000_000)
    SupplierTerms.objects.create(supplier=offer.supplier, order_cost=900_000_000)
    [order] = propose_orders(list_restock(as_of=MONDAY).lines)
    quantities = {row.line.material.code: row.quantity for row in order.lines}
    assert quantities["fluid"] == 40_000_000
    assert quantities["projectile-12"] > 200_000_000


def test_another_supplier_is_chosen_where_its_goods_keep_long_enough_to_be_worth_it() -> None:
    world, _offer = stocked(life=True)
    lasting = SupplyTerms.objects.create(
        material=world.fluid,
        supplier=Party.objects.create(code="other", name="Other", is_supplier=True),
        unit_cost=2_100_000,
        lead_time_days=3,
        pack=5_000_000,
        line_cost=90_000_000,
    )
    [line] = list_restock(as_of=MONDAY).lines
    # Each order costs 90, so three weeks at a time cost far more than 0.10 a gallon.
    assert line.terms == lasting
    assert line.quantity > 200_000_000
