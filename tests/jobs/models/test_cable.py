"""The shipped cable sizes against the trade's values."""

import pytest
from django.db import IntegrityError, transaction

from jobs.calc.bore import bore_volume_m3
from jobs.models import CableSize

CUBIC_METRE_PER_GALLON = 0.003785411784
METRES_PER_1000_FEET = 304.8
# US gallons in 1000 ft of empty bore, V = pi/4 ID^2 L at 231 cubic inches a gallon, from recalled nominal
# diameters (outside diameter less two walls).
GALLONS_PER_1000_FEET = {
    ".412": 5.406,
    ".500": 8.336,
    ".540": 10.737,
    ".565": 11.16,
    ".625": 13.024,
    ".715": 19.2,
    ".750": 18.866,
    ".840": 25.142,
    ".860": 27.904,
    ".875": 26.047,
    "1.000": 33.638,
    "1.125": 47.942,
    "1.160": 48.297,
}
CONFIDENCE = {
    "sound": {".500", ".540", ".625", ".715", ".750", ".875"},
    "medium": {".860", "1.000", "1.125"},
    "weak": {".412", ".565", ".840", "1.160"},
}

pytestmark = pytest.mark.django_db


@pytest.mark.outside_check(
    "trade values, bore volume per 1000 ft of each size; how known: computed from recalled nominals (common "
    "practice, no source), exact factors 25.4 mm/in and 231 in3/gal"
)
@pytest.mark.parametrize("designation", GALLONS_PER_1000_FEET)
def test_cable_size_holds_the_trades_bore_volume(designation: str) -> None:
    size = CableSize.objects.get(designation=designation)
    volume = bore_volume_m3(bore_mm=size.bore_mm, length_m=METRES_PER_1000_FEET)
    # The trade values are printed to three decimals.
    assert volume / CUBIC_METRE_PER_GALLON == pytest.approx(GALLONS_PER_1000_FEET[designation], abs=6e-4)


def test_cable_size_ships_thirteen_sizes_with_their_confidence() -> None:
    seen: dict[str, set[str]] = {}
    for size in CableSize.objects.all():
        seen.setdefault(size.confidence, set()).add(size.designation)
    assert seen == CONFIDENCE


def test_cable_size_bore_is_outside_diameter_less_two_walls() -> None:
    for size in CableSize.objects.all():
        assert size.nominal_bore_mm == pytest.approx(size.outside_diameter_mm - 2 * size.wall_mm, abs=1e-3)


def test_cable_size_measured_bore_wins() -> None:
    size = CableSize.objects.get(designation=".500")
    assert size.bore_mm == 11.4808
    size.measured_bore_mm = 11.52
    assert size.bore_mm == 11.52


def test_cable_size_refuses_a_bore_wider_than_the_cable() -> None:
    size = CableSize.objects.get(designation=".500")
    size.measured_bore_mm = 12.8
    with pytest.raises(IntegrityError, match="measured_bore_is_inside_the_sheath"), transaction.atomic():
        size.save()
