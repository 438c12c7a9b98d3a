"""Readings of fluids turned into amounts at the reference temperature."""

import math
from datetime import date
from typing import Any

import pytest

from inventory.models import Container, Material
from inventory.queries.instruments import TrustedInstrument, trust_instruments
from inventory.services.measuring import BadReading, Measured, measure, measure_metered
from inventory.units import BadAmount, UnknownUnit, WrongDimension
from tests.factories.instruments import make_check, make_instrument
from tests.factories.inventory import make_world

pytestmark = pytest.mark.django_db
REFERENCE_C = 15.0
# Water, kg/m3 (IAPWS-95 at 101.325 kPa).
WATER = [[5.0, 999.97], [15.0, 999.1], [25.0, 997.05], [35.0, 994.03]]
LITRES_PER_GALLON = 3.785411784


def _drum(**changes: Any) -> tuple[Material, Container]:
    world = make_world()
    world.fluid.density_table = WATER
    world.fluid.save()
    drum = world.drum("D-1")
    for name, value in changes.items():
        setattr(drum, name, value)
    return world.fluid, drum


def _trusted(tag: str, **options: Any) -> TrustedInstrument:
    device = make_instrument(tag, **options)
    make_check(device)
    return trust_instruments([device], on_date=date(2026, 4, 1))[device.pk]


def _read(material: Material, drum: Container | None, **reading: Any) -> Measured:
    return measure(material=material, container=drum, reference_temperature_c=REFERENCE_C, **reading)


@pytest.mark.outside_check(
    "checks, area E, contents by weighing: net over density at the reference; water 999.1 kg/m3 at 15 Cel "
    "(IAPWS-95); how known: usual tables; step d gives d/sqrt(6) (GUM)"
)
def test_measure_weighs_at_the_reference_density_whatever_the_temperature() -> None:
    fluid, drum = _drum(tare_kg=18.0)
    scale = _trusted("S-1", kind="scale", unit="kg", resolution=0.2)
    warm = _read(fluid, drum, method="weighed", value="118", unit="kg", instrument=scale, temperature_c=30.0)
    unknown = _read(fluid, drum, method="weighed", value="118", unit="kg", instrument=scale)
    assert warm == unknown
    assert warm.amount == pytest.approx(100 / 999.1 * 1000 / LITRES_PER_GALLON * 1e6, abs=1)
    step_gal = 0.2 / math.sqrt(6) / 999.1 * 1000 / LITRES_PER_GALLON
    assert warm.standard_uncertainty == pytest.approx(step_gal * 1e6)
    assert warm.remarks == ()


def test_measure_weighs_a_drum_of_unknown_tare_less_surely() -> None:
    fluid, drum = _drum(tare_kg=None)
    scale = _trusted("S-1", kind="scale")
    found = _read(fluid, drum, method="weighed", value="300", unit="[lb_av]", instrument=scale)
    assert found.remarks == ("the tare of D-1 is not on record",)
    # Drums weigh 20 to 60 lb: 20 lb to either side, in gallons of water at 15 Cel.
    tare_gal = 20 / math.sqrt(3) * 0.45359237 / 0.9991 / LITRES_PER_GALLON
    assert found.tare_uncertainty == pytest.approx(tare_gal * 1e6, rel=1e-3)
    assert found.standard_uncertainty > found.tare_uncertainty


@pytest.mark.outside_check(
    "water at 25 Cel measures 999.1/997.05 of its volume at 15 Cel (IAPWS-95); how known: usual tables"
)
def test_measure_metered_brings_the_volume_to_the_reference_temperature() -> None:
    fluid, _box = _drum()
    found = measure_metered(
        material=fluid,
        start="12",
        end="67",
        unit="[gal_us]",
        reference_temperature_c=REFERENCE_C,
        temperature_c=25.0,
        instrument=_trusted("M-1"),
    )
    assert found.amount == pytest.approx(55e6 * 997.05 / 999.1, abs=1)
    assert found.common_uncertainty == pytest.approx(found.amount * 0.01 / math.sqrt(3))
    assert found.remarks == ()


def test_measure_metered_without_temperature_says_so_in_its_uncertainty() -> None:
    fluid, _box = _drum()
    meter = _trusted("M-1")
    asked = {"material": fluid, "start": 0, "end": 55, "unit": "[gal_us]", "instrument": meter}
    known = measure_metered(**asked, reference_temperature_c=REFERENCE_C, temperature_c=15.0)
    unknown = measure_metered(**asked, reference_temperature_c=REFERENCE_C)
    outside = measure_metered(**asked, reference_temperature_c=REFERENCE_C, temperature_c=60.0)
    assert unknown.amount == known.amount == outside.amount == 55_000_000
    assert unknown.standard_uncertainty > known.standard_uncertainty
    assert outside.standard_uncertainty == unknown.standard_uncertainty
    assert unknown.remarks == ("no temperature was read",)
    assert outside.remarks == ("its temperature lies outside the fluid's density table",)


def test_measure_metered_of_an_unknown_meter_reckons_with_class_two() -> None:
    fluid, _box = _drum()
    found = measure_metered(
        material=fluid,
        start=0,
        end=100,
        unit="L",
        reference_temperature_c=REFERENCE_C,
        temperature_c=15.0,
    )
    assert found.common_uncertainty == pytest.approx(found.amount * 0.02 / math.sqrt(3))


def test_measure_metered_refuses_a_meter_that_ran_backwards() -> None:
    fluid, _box = _drum()
    with pytest.raises(BadReading, match="ran backwards") as refusal:
        measure_metered(
            material=fluid, start="10", end="9", unit="L", reference_temperature_c=15.0, pointer="/spans/0"
        )
    assert refusal.value.faults[0].pointer == "/spans/0/meter_end"


@pytest.mark.parametrize(
    ("reading", "gallons", "uncertainty"),
    [
        ({"method": "dipped", "value": "30", "unit": "[gal_us]"}, 30.0, 0.2 / math.sqrt(3)),
        ({"method": "quarters", "value": 3, "unit": "1"}, 42.75, 57 / 8 / math.sqrt(3)),
        ({"method": "full"}, 57.0, 0.02 * 57 / math.sqrt(3)),
        ({"method": "empty"}, 0.0, 0.2 / math.sqrt(3)),
        ({"method": "metered", "value": "20", "unit": "[gal_us]"}, 20.0, None),
    ],
)
def test_measure_reads_in_every_way(
    reading: dict[str, Any], gallons: float, uncertainty: float | None
) -> None:
    fluid, drum = _drum()
    found = _read(fluid, drum, temperature_c=15.0, **reading)
    assert found.amount == round(gallons * 1e6)
    if uncertainty is not None:
        assert found.standard_uncertainty == pytest.approx(uncertainty * 1e6)


def test_measure_by_dip_stick_takes_the_sticks_own_step_and_its_overdue_check() -> None:
    fluid, drum = _drum()
    stick = make_instrument("K-1", kind="dip_stick")
    trusted = trust_instruments([stick], on_date=date(2026, 4, 1))[stick.pk]
    found = _read(
        fluid, drum, method="dipped", value="30", unit="[gal_us]", temperature_c=15.0, instrument=trusted
    )
    assert found.standard_uncertainty == pytest.approx(2 * 0.25e6 / math.sqrt(3))
    assert found.remarks == ("K-1 was never checked",)


def test_measure_of_a_drum_of_unknown_size_takes_the_usual_one() -> None:
    fluid, drum = _drum(capacity=None)
    found = _read(fluid, drum, method="full", temperature_c=15.0)
    assert found.amount == pytest.approx(208.2 / LITRES_PER_GALLON * 1e6, abs=1)
    assert found.remarks == ("the capacity of D-1 is not on record",)


@pytest.mark.parametrize(
    ("reading", "error", "pointer"),
    [
        ({"method": "guessed"}, BadReading, "/r/method"),
        ({"method": "dipped"}, BadReading, "/r/value"),
        ({"method": "dipped", "value": "-1", "unit": "L"}, BadReading, "/r/value"),
        ({"method": "quarters", "value": "5", "unit": "1"}, BadReading, "/r/value"),
        ({"method": "dipped", "value": "1", "unit": "kg"}, WrongDimension, "/r/value"),
        ({"method": "dipped", "value": "1", "unit": "bucket"}, UnknownUnit, "/r/value"),
        ({"method": "dipped", "value": "much", "unit": "L"}, BadAmount, "/r/value"),
    ],
)
def test_measure_refuses_what_is_no_reading(
    reading: dict[str, Any], error: type[BadReading], pointer: str
) -> None:
    fluid, drum = _drum()
    with pytest.raises(error) as refusal:
        _read(fluid, drum, pointer="/r", **reading)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]


def test_measure_refuses_an_instrument_that_reads_something_else() -> None:
    fluid, drum = _drum()
    meter = _trusted("M-1")
    with pytest.raises(BadReading, match="is a flow meter; this needs a dip stick"):
        _read(fluid, drum, method="dipped", value="1", unit="L", instrument=meter)
    with pytest.raises(BadReading, match="this needs no instrument"):
        _read(fluid, drum, method="full", instrument=meter)


def test_measure_refuses_a_weight_of_a_vessel_whose_tare_nobody_can_know() -> None:
    fluid, drum = _drum(tare_kg=None, kind="truck_tank")
    with pytest.raises(BadReading, match="no tare on record"):
        _read(fluid, drum, method="weighed", value="300", unit="kg")
    drum.capacity = None
    with pytest.raises(BadReading, match="no capacity on record"):
        _read(fluid, drum, method="quarters", value=2, unit="1")


def test_measure_weighs_a_fluid_of_unknown_density_less_surely() -> None:
    fluid, drum = _drum(tare_kg=18.0)
    fluid.density_table, fluid.density_kg_per_m3 = [], None
    found = _read(fluid, drum, method="weighed", value="118", unit="kg")
    # 100 kg at 1000 kg/m3, give or take 150, rectangular.
    gallons = 100 / LITRES_PER_GALLON
    assert found.amount == pytest.approx(gallons * 1e6, abs=1)
    assert found.standard_uncertainty == pytest.approx(0.15 / math.sqrt(3) * gallons * 1e6, rel=0.01)
    assert found.remarks == (f"the density of {fluid} is not on record",)
