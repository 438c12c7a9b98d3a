"""Registering instruments and writing their checks down."""

from datetime import date

import pytest

from inventory.errors import BadInput
from inventory.models import Actor, Instrument, InstrumentCheck, Place
from inventory.services.instruments import (
    CheckConflict,
    InstrumentInUse,
    record_check,
    save_instrument,
)
from tests.factories.instruments import make_instrument

pytestmark = pytest.mark.django_db


def test_save_instrument_registers_once_and_changes_what_is_known() -> None:
    truck = Place.objects.create(code="truck-1", name="Truck 1", kind="vehicle")
    first, is_new = save_instrument(tag="M-1", kind="meter", unit="L", accuracy_class=1.5)
    assert is_new
    again, is_new = save_instrument(tag="M-1", kind="meter", unit="L", accuracy_class=1.0, place=truck)
    assert (again.pk, is_new) == (first.pk, False)
    kept = Instrument.objects.get()
    assert (kept.accuracy_class, kept.place, kept.is_withdrawn) == (1.0, truck, False)


def test_save_instrument_refuses_to_make_a_scale_of_a_meter() -> None:
    make_instrument("M-1")
    with pytest.raises(InstrumentInUse, match="a tag of its own"):
        save_instrument(tag="M-1", kind="scale", unit="kg")
    assert Instrument.objects.get().kind == "meter"


def test_save_instrument_names_every_fault_at_once() -> None:
    with pytest.raises(BadInput) as refusal:
        save_instrument(tag=" ", kind="meter", unit="kg", resolution=0.0, accuracy_class=100.0)
    pointers = [fault.pointer for fault in refusal.value.faults]
    assert pointers == ["/tag", "/unit", "/resolution", "/accuracy_class"]
    assert not Instrument.objects.exists()


def test_record_check_takes_the_same_check_twice_and_refuses_another_outcome() -> None:
    meter = make_instrument()
    ann = Actor.objects.create(code="ann", name="Ann", kind="person")
    day, due = date(2026, 3, 1), date(2027, 3, 1)
    _check, is_new = record_check(instrument=meter, checked_date=day, due_date=due, by=ann)
    _again, is_new_again = record_check(instrument=meter, checked_date=day, due_date=due, by=ann)
    assert (is_new, is_new_again) == (True, False)
    with pytest.raises(CheckConflict, match="2026-03-01"):
        record_check(instrument=meter, checked_date=day, due_date=due, by=ann, drift_fraction=0.01)
    assert InstrumentCheck.objects.get().drift_fraction is None


def test_record_check_refuses_what_cannot_be() -> None:
    meter = make_instrument()
    ann = Actor.objects.create(code="ann", name="Ann", kind="person")
    day = date(2026, 3, 1)
    with pytest.raises(BadInput) as refusal:
        record_check(instrument=meter, checked_date=day, due_date=day, by=ann, drift_fraction=0.5)
    assert [fault.pointer for fault in refusal.value.faults] == ["/due_date", "/drift_fraction"]
    assert not InstrumentCheck.objects.exists()
