"""Lines that go nowhere."""

from uuid import uuid4

import pytest

from inventory.services.goods import transfer
from inventory.services.lines import BadLine, Line
from inventory.services.posting import End
from tests.factories.inventory import at, each, gal, make_world

pytestmark = pytest.mark.django_db


def test_post_lines_refuses_a_line_from_a_place_to_itself() -> None:
    world = make_world()
    line = Line(world.projectile, each(1), End(world.warehouse), End(world.warehouse))
    with pytest.raises(BadLine, match="from where it is to where it is"):
        transfer(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)


def test_post_lines_refuses_to_move_contents_without_their_vessel() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(1), End(world.warehouse, drum), End(world.vehicle, drum))
    with pytest.raises(BadLine, match="move the container instead"):
        transfer(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)
