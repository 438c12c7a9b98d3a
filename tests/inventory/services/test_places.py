"""Setting up the places where the company keeps goods."""

import pytest

from inventory.errors import BadInput
from inventory.models import Place
from inventory.services.places import save_stock_place

pytestmark = pytest.mark.django_db


def test_save_stock_place_makes_a_bin_in_its_warehouse() -> None:
    save_stock_place(code="yard", name="Yard", kind="warehouse")
    shelf = save_stock_place(code="shelf", name="Shelf", kind="bin", inside="yard")
    assert shelf.parent is not None
    assert (shelf.kind, shelf.parent.code) == (Place.Kind.BIN, "yard")


def test_save_stock_place_again_changes_name_payload_and_home() -> None:
    save_stock_place(code="truck", name="Truck", kind="vehicle")
    save_stock_place(code="yard", name="Yard", kind="warehouse")
    save_stock_place(code="truck", name="Truck 1", kind="vehicle", inside="yard", payload_kg=900.0)
    truck = Place.objects.get(code="truck")
    assert truck.parent is not None
    assert (truck.name, truck.payload_kg, truck.parent.code) == ("Truck 1", 900.0, "yard")


def test_save_stock_place_refuses_another_kind() -> None:
    save_stock_place(code="truck", name="Truck", kind="vehicle")
    with pytest.raises(BadInput, match="cannot be changed"):
        save_stock_place(code="truck", name="Truck", kind="warehouse")


def test_save_stock_place_names_every_fault_at_once() -> None:
    Place.objects.create(code="job:J", name="J", kind=Place.Kind.JOB)
    with pytest.raises(BadInput) as refused:
        save_stock_place(code="a:b", name="", kind="job", inside="job:J")
    assert [fault.pointer for fault in refused.value.faults] == ["code", "kind", "inside"]
    with pytest.raises(BadInput, match="needed for a bin"):
        save_stock_place(code="shelf", name="Shelf", kind="bin")
    assert not Place.objects.filter(code="shelf").exists()
