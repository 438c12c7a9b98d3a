"""What suppliers ask, and what cannot be asked."""

import pytest

from inventory.errors import BadInput
from inventory.models import PriceBreak, SupplierTerms, SupplyTerms
from inventory.queries.prices import orderable, price_of
from inventory.services.orders.terms import Break, NotASupplier, save_order_terms, save_terms
from inventory.units import MILLION
from tests.factories.inventory import World, make_world
from tests.factories.supply import make_supplier, make_terms

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def test_save_terms_replaces_the_breaks_that_stood_before(world: World) -> None:
    supplier = make_supplier()
    make_terms(supplier, world.fluid, breaks=((100, 1), (200, 0)))
    terms = make_terms(supplier, world.fluid, breaks=((50, 1),))
    assert SupplyTerms.objects.count() == 1
    assert list(terms.breaks.values_list("from_quantity", "unit_cost")) == [(50 * MILLION, MILLION)]


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("/breaks/1/from_quantity", {"breaks": [Break(200 * MILLION, 1), Break(100 * MILLION, 1)]}),
        ("/breaks/1/from_quantity", {"breaks": [Break(100 * MILLION, 2), Break(100 * MILLION, 1)]}),
        ("/breaks/0/from_quantity", {"breaks": [Break(0, 1)]}),
        ("/breaks/0/unit_cost", {"breaks": [Break(5 * MILLION, -1)]}),
        ("/lead_time_days", {"lead_time_days": -1.0}),
        ("/lead_time_days", {"lead_time_days": float("nan")}),
        ("/lead_time_sd_days", {"lead_time_sd_days": -0.5}),
        ("/unit_cost", {"unit_cost": -1}),
        ("/pack", {"pack": 0}),
        ("/pack", {"pack": 1_500_000}),
        ("/minimum", {"minimum": -1}),
        ("/line_cost", {"line_cost": -1}),
        ("/discount", {"discount": "some"}),
        ("/shelf_life_days", {"shelf_life_days": 0}),
    ],
)
def test_save_terms_names_the_fault_and_stores_nothing(
    world: World, field: str, given: dict[str, object]
) -> None:
    supplier = make_supplier()
    terms = {"material": world.projectile, "supplier": supplier, "unit_cost": 1, "lead_time_days": 5.0}
    with pytest.raises(BadInput) as refusal:
        save_terms(**{**terms, **given})  # type: ignore[arg-type]
    assert [fault.pointer for fault in refusal.value.faults] == [field]
    assert not SupplyTerms.objects.exists()
    assert not PriceBreak.objects.exists()


def test_save_terms_refuses_who_is_no_supplier(world: World) -> None:
    with pytest.raises(NotASupplier):
        save_terms(material=world.fluid, supplier=world.customer, unit_cost=1, lead_time_days=1.0)


def test_save_order_terms_refuses_less_than_nothing(world: World) -> None:
    supplier = make_supplier()
    with pytest.raises(BadInput, match="order_cost"):
        save_order_terms(supplier=supplier, order_cost=-1)
    assert not SupplierTerms.objects.exists()
    assert save_order_terms(supplier=supplier, order_cost=50 * MILLION).order_cost == 50 * MILLION


@pytest.mark.parametrize(
    ("discount", "quantity", "cost"),
    [
        # 10 each below 100, 8 from 100, 5 from 500.
        ("all_units", 99, 990),
        ("all_units", 100, 800),
        ("all_units", 500, 2500),
        ("incremental", 99, 990),
        ("incremental", 100, 1000),
        ("incremental", 500, 4200),
        ("incremental", 501, 4205),
    ],
)
@pytest.mark.outside_check("arithmetic of all-units and incremental discounts; common practice, no source")
def test_price_of_follows_the_kind_of_discount(world: World, discount: str, quantity: int, cost: int) -> None:
    terms = make_terms(
        make_supplier(), world.projectile, unit_cost=10, breaks=((100, 8), (500, 5)), discount=discount
    )
    price = price_of(terms, quantity * MILLION)
    assert price.cost == cost * MILLION
    assert price.unit_cost == round(cost * MILLION / quantity)


def test_orderable_is_whole_packs_and_at_least_the_minimum(world: World) -> None:
    terms = make_terms(make_supplier(), world.fluid, pack=55, minimum=100 * MILLION)
    assert orderable(terms, 1) == 110 * MILLION
    assert orderable(terms, 110 * MILLION) == 110 * MILLION
    assert orderable(terms, 110 * MILLION + 1) == 165 * MILLION
