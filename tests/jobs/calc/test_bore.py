"""Bore volumes and films against geometry's constants and published film values."""

import pytest

from jobs.calc.bore import bore_volume_m3, film_fraction

GALLON_M3 = 0.003785411784
FOOT_M = 0.3048
INCH_MM = 25.4


@pytest.mark.outside_check(
    "gal per ft = 0.0407999046 d[in]^2, pi/4*12/231; how known: a public chart prints .0408"
)
def test_bore_volume_m3_gives_the_handbook_coefficient_in_us_units() -> None:
    gallons = bore_volume_m3(bore_mm=INCH_MM, length_m=FOOT_M) / GALLON_M3
    assert gallons == pytest.approx(0.0407999046, abs=5e-11)


@pytest.mark.outside_check(
    "bore volume per 1000 ft of sizes .500 .625 .715 .860 1.000; how known: computed from recalled nominals"
)
@pytest.mark.parametrize(
    ("bore_in", "gallons_per_kft"),
    [(0.452, 8.336), (0.565, 13.024), (0.686, 19.2), (0.827, 27.904), (0.908, 33.638)],
)
def test_bore_volume_m3_agrees_with_the_trade_values(bore_in: float, gallons_per_kft: float) -> None:
    gallons = bore_volume_m3(bore_mm=bore_in * INCH_MM, length_m=1000 * FOOT_M) / GALLON_M3
    assert gallons == pytest.approx(gallons_per_kft, abs=0.0006)


def test_bore_volume_m3_of_no_length_is_nothing() -> None:
    assert bore_volume_m3(bore_mm=10.0, length_m=0.0) == 0


@pytest.mark.parametrize(("bore_mm", "length_m"), [(0.0, 1.0), (-1.0, 1.0), (float("nan"), 1.0)])
def test_bore_volume_m3_refuses_a_bore_out_of_range(bore_mm: float, length_m: float) -> None:
    with pytest.raises(ValueError, match="bore_mm"):
        bore_volume_m3(bore_mm=bore_mm, length_m=length_m)


def test_bore_volume_m3_refuses_a_negative_length() -> None:
    with pytest.raises(ValueError, match="length_m"):
        bore_volume_m3(bore_mm=10.0, length_m=-0.1)


@pytest.mark.outside_check(
    "Aussillous and Quere (2000), liquid left against film thickness over radius at two capillary numbers; "
    "how known: formula read in two public code files, values computed from it"
)
@pytest.mark.parametrize(("thickness_over_radius", "fraction"), [(0.012966, 0.025763), (0.336687, 0.560016)])
def test_film_fraction_agrees_with_published_films(thickness_over_radius: float, fraction: float) -> None:
    found = film_fraction(bore_mm=2.0, film_thickness_mm=thickness_over_radius)
    assert found == pytest.approx(fraction, abs=2e-6)


def test_film_fraction_of_a_film_to_the_middle_is_everything() -> None:
    assert film_fraction(bore_mm=10.0, film_thickness_mm=5.0) == 1


@pytest.mark.parametrize("thickness_mm", [-0.1, 5.1, float("nan")])
def test_film_fraction_refuses_a_film_thicker_than_the_radius(thickness_mm: float) -> None:
    with pytest.raises(ValueError, match="film_thickness_mm"):
        film_fraction(bore_mm=10.0, film_thickness_mm=thickness_mm)
