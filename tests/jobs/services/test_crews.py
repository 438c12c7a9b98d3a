"""Setting crews up."""

import pytest

from inventory.errors import BadInput
from jobs.models import Crew
from jobs.services.crews import save_crew
from tests.factories.inventory import make_world

pytestmark = pytest.mark.django_db


def test_save_crew_makes_and_changes_a_crew() -> None:
    world = make_world()
    save_crew(code="north", name="North crew", vehicle_code="truck-1")
    crew = save_crew(code="north", name="Northern crew", vehicle_code="truck-1", warehouse_code="main-yard")
    assert Crew.objects.get() == crew
    assert (crew.name, crew.vehicle, crew.warehouse) == ("Northern crew", world.vehicle, world.warehouse)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"code": ""}, "not a crew's code"),
        ({"vehicle_code": "main-yard"}, "is a warehouse, not a vehicle"),
        ({"warehouse_code": "nowhere"}, "no place known here"),
    ],
)
def test_save_crew_refuses(values: dict[str, str], said: str) -> None:
    make_world()
    with pytest.raises(BadInput, match=said):
        save_crew(**{"code": "north", "name": "North crew", **values})
    assert not Crew.objects.exists()


def test_save_crew_gives_a_truck_without_a_home_the_crews_warehouse() -> None:
    world = make_world()
    save_crew(code="a", name="A", vehicle_code="truck-1", warehouse_code="main-yard")
    world.vehicle.refresh_from_db()
    assert world.vehicle.parent == world.warehouse
    # A truck that has a home keeps it, whoever drives it.
    save_crew(code="b", name="B", vehicle_code="truck-1", warehouse_code="north-yard")
    world.vehicle.refresh_from_db()
    assert world.vehicle.parent == world.warehouse
