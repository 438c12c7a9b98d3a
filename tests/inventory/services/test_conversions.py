"""What cannot be a conversion."""

from uuid import uuid4

import pytest

from inventory.models import Container, Entry
from inventory.services.conversions import convert
from inventory.services.lines import BadLine, Line, OwnersDiffer
from inventory.services.posting import REST, End
from tests.factories.inventory import World, at, gal, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def line(world: World, end: End, amount: int = 2) -> Line:
    return Line(world.fluid, gal(amount), end, end)


def test_convert_without_a_product_is_refused(world: World) -> None:
    here = End(world.warehouse, world.drum("D1", 10))
    with pytest.raises(BadLine, match="at least one input and one output"):
        convert(id=uuid4(), by=world.actor, occurred_at=at(1), inputs=[line(world, here)], outputs=[])
    assert Entry.objects.count() == 1


def test_convert_into_the_rest_is_refused(world: World) -> None:
    here = End(world.warehouse, world.drum("D1", 10))
    made = Line(world.recovered, REST, here, here)
    with pytest.raises(BadLine, match="must say how much was made"):
        convert(id=uuid4(), by=world.actor, occurred_at=at(1), inputs=[line(world, here)], outputs=[made])


def test_convert_of_ones_goods_into_anothers_is_refused(world: World) -> None:
    here = End(world.warehouse, world.drum("D1", 10))
    theirs = Container.objects.create(label="T1", kind="drum", owner=world.customer, place=world.warehouse)
    made = line(world, End(world.warehouse, theirs))
    with pytest.raises(OwnersDiffer, match="stay with their owner"):
        convert(id=uuid4(), by=world.actor, occurred_at=at(1), inputs=[line(world, here)], outputs=[made])
