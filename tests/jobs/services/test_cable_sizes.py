"""A size of cable is set down with a bore inside its sheath, and days ahead follow it."""

from typing import Any

import pytest

from inventory.errors import BadInput
from inventory.models import Requirement
from jobs.models import CableSize
from jobs.services.cable_sizes import save_cable_size
from jobs.services.needs import write_needs
from tests.factories.kits import make_small_day

pytestmark = pytest.mark.django_db


def _save(designation: str = ".500", **fields: Any) -> CableSize:
    values: dict[str, Any] = {
        "outside_diameter_mm": 12.7,
        "wall_mm": 0.6096,
        "nominal_bore_mm": 11.4808,
        "measured_bore_mm": None,
        "confidence": "sound",
    }
    return save_cable_size(designation=designation, **{**values, **fields})


def test_save_cable_size_lets_the_measured_bore_win_in_days_ahead() -> None:
    day = make_small_day()
    write_needs([day.crew_day])
    fluid = Requirement.objects.get(material=day.world.fluid)
    _save(measured_bore_mm=11.4808 * 2**0.5 / 2**0.5 * 1.02)
    wider = Requirement.objects.get(material=day.world.fluid)
    # 10.0027 gal of it go by the square of the bore, 2 gal are set-ups.
    expected = 2_000_000 + (fluid.mean - 2_000_000) * 1.02**2
    assert wider.mean == pytest.approx(expected, rel=1e-5)


def test_save_cable_size_adds_a_size() -> None:
    assert _save(".777", outside_diameter_mm=19.7358, nominal_bore_mm=18).bore_mm == 18
    assert CableSize.objects.filter(designation=".777").count() == 1


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"nominal_bore_mm": 0.0}, "/nominal_bore"),
        ({"nominal_bore_mm": -1.0}, "/nominal_bore"),
        ({"measured_bore_mm": 0.0}, "/measured_bore"),
        ({"measured_bore_mm": 12.7}, "/measured_bore"),
        ({"nominal_bore_mm": 20.0}, "/nominal_bore"),
        ({"wall_mm": 0.0}, "/wall"),
    ],
)
def test_save_cable_size_names_a_bore_that_is_none_and_stores_nothing(
    fields: dict[str, float], pointer: str
) -> None:
    before = list(CableSize.objects.values())
    with pytest.raises(BadInput) as refusal:
        _save(**fields)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]
    assert list(CableSize.objects.values()) == before


def test_save_cable_size_refuses_what_is_no_designation() -> None:
    with pytest.raises(BadInput, match=r"like \.500"):
        _save("half an inch")
