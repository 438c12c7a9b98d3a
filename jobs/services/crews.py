"""Setting crews up."""

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Place
from jobs.models import Crew

CODE_LENGTH = 40


@transaction.atomic
def save_crew(*, code: str, name: str, vehicle_code: str = "", warehouse_code: str = "") -> Crew:
    """Make a crew, or change its name, truck and home warehouse; days that are planned keep theirs."""
    if not code.strip() or len(code) > CODE_LENGTH:
        raise BadInput.of([Fault("crew", code, f"is not a crew's code; 1 to {CODE_LENGTH} characters")])
    vehicle = _find(vehicle_code, Place.Kind.VEHICLE, "vehicle")
    warehouse = _find(warehouse_code, Place.Kind.WAREHOUSE, "warehouse")
    values = {"name": name, "vehicle": vehicle, "warehouse": warehouse}
    crew = Crew.objects.update_or_create(code=code, defaults=values)[0]
    give_vehicle_a_home(crew)
    return crew


def give_vehicle_a_home(crew: Crew) -> None:
    """Let a truck that belongs to no warehouse belong to its crew's, so that restocking counts its load."""
    if crew.vehicle is not None and crew.warehouse is not None and crew.vehicle.parent_id is None:
        crew.vehicle.parent = crew.warehouse
        crew.vehicle.save(update_fields=["parent"])


def _find(code: str, kind: Place.Kind, column: str) -> Place | None:
    if not code:
        return None
    place = Place.objects.filter(code=code).first()
    if place is None:
        raise BadInput.of([Fault(column, code, "is no place known here")])
    if place.kind != kind:
        raise BadInput.of([Fault(column, code, f"is a {place.get_kind_display()}, not a {kind.label}")])
    return place
