"""Densities, reference volumes and weighed contents against published tables and GUM examples."""

import math

import pytest

from inventory.calc.density import density_kg_per_m3, reference_factor, weighed_contents

# Water at 101.325 kPa by IAPWS-95, printed by iapws 1.5.5.
WATER = [(5.0, 999.9666), (15.0, 999.1026), (20.0, 998.2072), (30.0, 995.6495)]
# Aqueous propylene glycol, 30 volume percent, ASHRAE 2001 as digitised in CoolProp.
GLYCOL_30 = [(0.0, 1036.24), (15.0, 1030.51), (20.0, 1028.35), (40.0, 1018.42)]
GALLON_M3 = 0.003785411784
POUND_KG = 0.45359237


@pytest.mark.outside_check(
    "volume correction to 15 Cel, rho(t)/rho(15): water at 5 and 20 Cel; how known: printed by CoolProp 8.0.0"
)
@pytest.mark.parametrize(("temperature_c", "factor"), [(5.0, 1.000865), (20.0, 0.999104)])
def test_reference_factor_of_water_agrees_with_published_densities(
    temperature_c: float, factor: float
) -> None:
    found = reference_factor(temperature_c=temperature_c, reference_temperature_c=15.0, density_table=WATER)
    assert found == pytest.approx(factor, abs=6e-7)


@pytest.mark.outside_check(
    "volume correction to 15 Cel of 30 volume percent propylene glycol at 20 and 40 Cel: 0.997901, 0.988265; "
    "how known: printed by CoolProp 8.0.0"
)
@pytest.mark.parametrize(("temperature_c", "factor"), [(20.0, 0.997901), (40.0, 0.988265)])
def test_reference_factor_of_glycol_agrees_with_published_densities(
    temperature_c: float, factor: float
) -> None:
    found = reference_factor(
        temperature_c=temperature_c, reference_temperature_c=15.0, density_table=GLYCOL_30
    )
    # The table has two decimals, so the factor is good to about 1e-5.
    assert found == pytest.approx(factor, abs=1e-5)


@pytest.mark.outside_check(
    "water at 20 Cel weighs 8.3304 lb per US gallon; how known: computed with CoolProp 8.0.0"
)
def test_density_kg_per_m3_of_water_is_the_known_weight_of_a_gallon() -> None:
    pounds = density_kg_per_m3(temperature_c=20.0, density_table=WATER) * GALLON_M3 / POUND_KG
    assert pounds == pytest.approx(8.3304, abs=6e-5)


def test_density_kg_per_m3_is_linear_between_points_in_any_order() -> None:
    assert density_kg_per_m3(temperature_c=12.0, density_table=[(20, 990.0), (10, 1000.0)]) == pytest.approx(
        998
    )


@pytest.mark.parametrize("temperature_c", [-0.1, 40.1, float("nan")])
def test_density_kg_per_m3_does_not_guess_outside_the_table(temperature_c: float) -> None:
    with pytest.raises(ValueError, match="temperature_c"):
        density_kg_per_m3(temperature_c=temperature_c, density_table=GLYCOL_30)


@pytest.mark.parametrize(
    "table", [[], [(0.0, 1.0), (0.0, 2.0)], [(0.0, 0.0), (20.0, 1.0)], [(0.0, float("inf"))]]
)
def test_density_kg_per_m3_refuses_an_unusable_table(table: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="density_table"):
        density_kg_per_m3(temperature_c=0.0, density_table=table)


@pytest.mark.outside_check(
    "GUM F.2.2.1: a digital display of step d contributes 0.29 d; two readings 0.41 d; how known: from "
    "memory of "
    "the standard, d/sqrt(12) = 0.2887 d"
)
def test_weighed_contents_carries_the_resolution_of_both_readings() -> None:
    found = weighed_contents(
        gross_kg=498.0 * POUND_KG,
        tare_kg=40.0 * POUND_KG,
        scale_resolution_kg=0.5 * POUND_KG,
        temperature_c=20.0,
        reference_temperature_c=20.0,
        density_table=WATER,
    )
    assert found.volume_m3 / GALLON_M3 == pytest.approx(458 / 8.3304, rel=1e-5)
    expected = math.hypot(0.2887, 0.2887) * 0.5 / 8.3304
    assert found.standard_uncertainty_m3 / GALLON_M3 == pytest.approx(expected, rel=2e-4)


def test_weighed_contents_at_the_reference_temperature_do_not_depend_on_the_fluid_s() -> None:
    """A mass has one volume at the reference temperature, whatever the weather when it was weighed."""
    volumes = {
        round(
            weighed_contents(
                gross_kg=200.0,
                tare_kg=20.0,
                scale_resolution_kg=0.1,
                temperature_c=temperature_c,
                reference_temperature_c=15.0,
                density_table=GLYCOL_30,
            ).volume_m3,
            12,
        )
        for temperature_c in (0.0, 20.0, 40.0)
    }
    assert volumes == {round(180 / 1030.51, 12)}


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"gross_kg": 1.0}, "gross_kg"),
        ({"tare_kg": -1.0}, "tare_kg"),
        ({"scale_resolution_kg": -0.1}, "scale_resolution_kg"),
        ({"temperature_c": 50.0}, "temperature_c"),
        ({"reference_temperature_c": 50.0}, "reference_temperature_c"),
    ],
)
def test_weighed_contents_refuses_and_names_what_is_out_of_range(wrong: dict[str, float], named: str) -> None:
    given = {
        "gross_kg": 100.0,
        "tare_kg": 10.0,
        "scale_resolution_kg": 0.1,
        "temperature_c": 20.0,
        "reference_temperature_c": 15.0,
    }
    with pytest.raises(ValueError, match=f"^{named}"):
        weighed_contents(**(given | wrong), density_table=WATER)
