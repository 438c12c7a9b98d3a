"""Vessels that are short reach whoever restocks. The day catches 2.4005 gal and sweeps 8.4019: 40.89 L."""

import pytest

from inventory.models import Material, Requirement
from jobs.models import KitPolicy
from jobs.services.needs import write_needs
from tests.factories.kits import SmallDay, make_small_day

MILLION = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def pail() -> Material:
    found = Material.objects.create(code="pail", name="Pail 20 L", kind="supply", stock_unit="1")
    KitPolicy.objects.update(vessel_material=found, vessel_capacity_l=20.0)
    return found


def _needed(day: SmallDay, pail: Material) -> int:
    write_needs([day.crew_day])
    return sum(Requirement.objects.filter(material=pail).values_list("mean", flat=True)) // MILLION


def test_vessels_that_are_short_are_required_in_pieces(pail: Material) -> None:
    day = make_small_day()
    # 40.89 L into pails of 20 L, each filled to 95 %.
    assert _needed(day, pail) == 3
    (row,) = Requirement.objects.filter(material=pail)
    assert "3 more of 19 L are needed" in row.why


def test_vessels_that_stand_clean_are_not_bought(pail: Material) -> None:
    day = make_small_day()
    day.vessel("V1", gallons=5)
    assert _needed(day, pail) == 2
    day.vessel("V2", gallons=55, on_truck=True)
    assert _needed(day, pail) == 0


def test_vessels_are_not_required_where_none_is_named() -> None:
    day = make_small_day()
    write_needs([day.crew_day])
    assert not Requirement.objects.filter(why__startswith="To catch").exists()
