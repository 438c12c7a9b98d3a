"""What goods cost when they leave."""

from uuid import uuid4

import pytest

from inventory.models import CostPool, Material, Place
from inventory.queries.verification import verify_ledger
from inventory.services.conversions import Caught, recover
from inventory.services.goods import draw, return_goods
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import at, gal, make_world

pytestmark = pytest.mark.django_db


def pool_value(place: Place, material: Material) -> int:
    return sum(CostPool.objects.filter(place=place, material=material).values_list("value", flat=True))


@pytest.mark.parametrize("formula", ["weighted_average", "fifo"])
def test_return_after_recovery_leaves_the_cost_of_what_was_recovered_with_the_span(formula: str) -> None:
    world = make_world(cost_formula=formula)
    drum = world.drum("D1", 50, cost=100)
    line = Line(world.fluid, gal(40), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    caught = Caught(world.recovered, gal(20), world.span, End(world.vehicle))
    recover(id=uuid4(), by=world.actor, occurred_at=at(2), caught=[caught])
    back = Line(world.fluid, gal(20), End(world.span), End(world.warehouse, drum))
    return_goods(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[back])
    # 40 gal at 2 USD went out. Half came back unused at 2 USD; of the other half 20 of 40 USD were recovered.
    assert pool_value(world.warehouse, world.fluid) == 60_000_000
    assert pool_value(world.vehicle, world.recovered) == 20_000_000
    assert pool_value(world.span, world.fluid) == 20_000_000
    assert list(verify_ledger()) == []
