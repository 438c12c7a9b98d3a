"""What a unit of what is held cost."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Holding
from inventory.queries.unit_costs import find_unit_costs
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.inventory import at, each, feet, make_world

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("formula", ["weighted_average", "fifo"])
def test_find_unit_costs_averages_over_receipts_and_lots(formula: str) -> None:
    world = make_world(cost_formula=formula)
    world.loose(world.projectile, each(10), cost=20)
    world.loose(world.projectile, each(30), cost=120)
    holdings = Holding.objects.filter(place=world.warehouse, material=world.projectile)
    costs = find_unit_costs(holdings)
    # 140 USD for 40 pieces.
    assert set(costs.values()) == {Decimal("3.5") * 10**6}


def test_find_unit_costs_knows_none_of_goods_of_others() -> None:
    world = make_world()
    reel = Container(
        label="R-1", kind="reel", material=world.fibre, owner=world.customer, place=world.warehouse
    )
    lines = [ReceiptLine(world.fibre, feet(1000), End(world.warehouse, reel), 0)]
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=world.supplier, lines=lines)
    holdings = list(Holding.objects.filter(container=reel))
    assert list(find_unit_costs(holdings).values()) == [None]


def test_find_unit_costs_asks_once_however_many_are_asked() -> None:
    world = make_world()
    for number in range(5):
        world.drum(f"D-{number}", 5, cost=10)
    with CaptureQueriesContext(connection) as captured:
        find_unit_costs(list(Holding.objects.filter(quantity__gt=0)))
    assert len(captured) == 2
