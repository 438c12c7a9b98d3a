"""The mass of core by bore: the conductor against nominal ones, the rest against sums done by hand."""

import math

import pytest

from jobs.calc.core_mass import conductor_diameter_mm, core_mass_g_per_m, expected_core_mass_g

# Size: outside diameter, wall and centre conductor [in].
NOMINAL = {
    ".500": (0.500, 0.0240, 0.109),
    ".625": (0.625, 0.0300, 0.137),
    ".715": (0.715, 0.0145, 0.166),
    ".750": (0.750, 0.0350, 0.166),
    ".860": (0.860, 0.0165, 0.203),
    "1.000": (1.000, 0.0460, 0.220),
    "1.125": (1.125, 0.0205, 0.262),
}


@pytest.mark.outside_check(
    "nominal conductors of trunk cable for 75 ohm; how known: common practice, no source (recalled)"
)
@pytest.mark.parametrize("size", NOMINAL)
def test_conductor_diameter_mm_is_near_the_nominal_one(size: str) -> None:
    outside, wall, conductor = NOMINAL[size]
    bore_mm = (outside - 2 * wall) * 25.4
    found = conductor_diameter_mm(bore_mm=bore_mm, velocity=0.87, impedance_ohm=75.0)
    assert found == pytest.approx(conductor * 25.4, rel=0.04)


@pytest.mark.outside_check(
    "75 ohm in air is a ratio of diameters of 3.494 (handbooks of radio); how known: from memory"
)
def test_conductor_diameter_mm_in_air() -> None:
    found = conductor_diameter_mm(bore_mm=34.94, velocity=1.0, impedance_ohm=75.0)
    assert found == pytest.approx(10.0, rel=1e-3)


@pytest.mark.outside_check(
    "mass of a solid rod and tube by handbook densities, reckoned apart; how known: computed"
)
def test_core_mass_g_per_m_of_nearly_solid_plastic_is_that_of_rod_and_tube() -> None:
    # Velocity just above that in solid polyethylene: the foam is solid.
    velocity = 2.28**-0.5 * (1 + 1e-9)
    found = core_mass_g_per_m(bore_mm=10.0, velocity=velocity, impedance_ohm=75.0)
    d = 10.0 * math.exp(-75.0 / (59.96 * velocity))
    rod, tube = math.pi / 4 * d**2 * 3.320, math.pi / 4 * (100 - d**2) * 0.920
    assert found == pytest.approx(rod + tube, rel=1e-6)


def test_core_mass_g_per_m_of_foam_is_mostly_gas() -> None:
    assert core_mass_g_per_m(bore_mm=11.4808) == pytest.approx(47.0, abs=0.1)


@pytest.mark.outside_check("definition: 47 g/m over 400 ft (121.92 m) is 5730.24 g; how known: computed")
def test_expected_core_mass_g_rounds_to_the_gram() -> None:
    assert expected_core_mass_g(grams_per_m=47.0, length_um=400 * 304_800) == 5730
    assert expected_core_mass_g(grams_per_m=0.001, length_um=1) == 1


@pytest.mark.parametrize(
    "change", [{"bore_mm": 0.0}, {"velocity": 0.5}, {"velocity": 1.0}, {"solid_permittivity": 1.0}]
)
def test_core_mass_g_per_m_refuses_what_is_out_of_range(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(change))):
        core_mass_g_per_m(**{"bore_mm": 11.0, **change})


def test_expected_core_mass_g_refuses_no_length() -> None:
    with pytest.raises(ValueError, match="length_um"):
        expected_core_mass_g(grams_per_m=47.0, length_um=0)
    with pytest.raises(ValueError, match="grams_per_m"):
        expected_core_mass_g(grams_per_m=0.0, length_um=1)
    with pytest.raises(ValueError, match="above 0"):
        conductor_diameter_mm(bore_mm=0.0, velocity=0.87, impedance_ohm=75.0)
    with pytest.raises(ValueError, match="velocity"):
        conductor_diameter_mm(bore_mm=1.0, velocity=0.0, impedance_ohm=75.0)
