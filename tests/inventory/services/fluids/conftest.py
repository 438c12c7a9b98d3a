"""What these tests share: the small world with fluid that was injected and caught."""

import pytest

from inventory.models import Container
from tests.factories.fluids import catch, inject, make_vessel
from tests.factories.inventory import World, make_world


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def caught(world: World) -> Container:
    """Twenty gallons caught at ten o'clock of fifty injected at nine."""
    drum = world.drum("D1", 55, cost=110)
    inject(world, drum, 50, hours=1)
    vessel = make_vessel(world, "C1")
    catch(world, vessel, 20, hours=2)
    vessel.refresh_from_db()
    return vessel
