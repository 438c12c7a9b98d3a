"""Amounts as read and their standard uncertainties."""

import math

import pytest

from inventory.calc.measuring import (
    Reading,
    amount_by_quarters,
    dipped_amount,
    empty_amount,
    full_amount,
    metered_amount,
    overdue_factor,
    unknown_temperature_uncertainty,
    weighed_mass,
)

LB_PER_GAL_WATER = 8.337


@pytest.mark.outside_check(
    "JCGM 100:2008 (GUM) F.2.2.1: a step d has a standard uncertainty of 0.29 d; how known: from memory"
)
def test_weighed_mass_takes_a_step_as_the_guide_says() -> None:
    found = weighed_mass(gross=500.0, tare=40.0, tare_half_width=0.0, resolution=1.0)
    assert found.amount == 460.0
    assert found.standard_uncertainty == pytest.approx(0.29, abs=0.005)


@pytest.mark.outside_check(
    "a scale of 0.5 lb resolves a drum to about 0.06 gal (0.5 lb at 8.34 lb/gal); JCGM 100:2008 (GUM): gross "
    "and tare of step d each give d/sqrt(12), d/sqrt(6) in all; how known: common practice, "
    "no source, and from memory"
)
def test_weighed_mass_with_a_tare_of_the_same_scale_has_a_step_over_root_six() -> None:
    found = weighed_mass(gross=500.0, tare=40.0, tare_half_width=0.25, resolution=0.5)
    assert found.standard_uncertainty == pytest.approx(0.5 / math.sqrt(6))
    assert round(0.5 / LB_PER_GAL_WATER, 2) == 0.06


def test_weighed_mass_puts_a_known_drift_right_and_carries_the_class_in_common() -> None:
    found = weighed_mass(
        gross=101.0, tare=1.0, tare_half_width=0.0, resolution=0.0, accuracy_class=1.0, drift_fraction=0.01
    )
    assert found.amount == pytest.approx(99.0)
    assert found.common_uncertainty == pytest.approx(1.0 / math.sqrt(3))
    assert found.own_uncertainty == 0.0


def test_weighed_mass_below_the_tare_is_nothing() -> None:
    assert weighed_mass(gross=39.0, tare=40.0, tare_half_width=0.0, resolution=1.0).amount == 0.0


@pytest.mark.outside_check(
    "Directive 2014/32/EU, Annex VII: class 1.0 may err by 1.0 % of the amount; 55 gal to 0.55 gal; how "
    "known: from memory. JCGM 100:2008 (GUM) 4.3.7: half-width over root three, 0.58 of it; "
    "how known: from memory"
)
def test_metered_amount_of_class_one_errs_by_a_percent() -> None:
    found = metered_amount(start=12.0, end=67.0, resolution=0.0, accuracy_class=1.0)
    assert found.amount == 55.0
    assert found.common_uncertainty * math.sqrt(3) == pytest.approx(0.55)
    assert found.common_uncertainty == pytest.approx(0.58 * 0.55, abs=0.003)
    assert found.own_uncertainty == 0.0


def test_metered_amount_widens_with_an_overdue_check() -> None:
    fresh = metered_amount(start=0.0, end=10.0, resolution=0.1, accuracy_class=1.0)
    overdue = metered_amount(start=0.0, end=10.0, resolution=0.1, accuracy_class=1.0, trust_factor=1.5)
    assert overdue.standard_uncertainty == pytest.approx(1.5 * fresh.standard_uncertainty)
    assert overdue.amount == fresh.amount


def test_metered_amount_refuses_a_meter_that_ran_backwards() -> None:
    with pytest.raises(ValueError, match="end must be at least the start, 10, not 9"):
        metered_amount(start=10.0, end=9.0, resolution=0.1, accuracy_class=1.0)


@pytest.mark.outside_check(
    "an upright drum of 22.5 in inside diameter holds 1.7212 gal/in, so an eighth of an inch is about 0.2 "
    "gal; how known: computed from a diameter read in public tables; JCGM 100:2008 (GUM) 4.3.7, a/sqrt(3)"
)
def test_dipped_amount_of_an_eighth_of_an_inch() -> None:
    eighth_gal = math.pi / 4 * 22.5**2 / 231 / 8
    found = dipped_amount(amount=30.0, half_width=eighth_gal)
    assert eighth_gal == pytest.approx(0.2, abs=0.02)
    assert found.standard_uncertainty == pytest.approx(1.7212 / 8 / math.sqrt(3), abs=1e-4)


@pytest.mark.outside_check(
    "JCGM 100:2008 (GUM) 4.3.7: +-1/8 of 55 gal is +-6.875 gal, over root three 3.97 gal; how known: worked "
    "by hand"
)
def test_amount_by_quarters_is_known_to_an_eighth() -> None:
    found = amount_by_quarters(quarters=3, capacity=55.0)
    assert found.amount == 41.25
    assert found.standard_uncertainty == pytest.approx(3.97, abs=0.005)


@pytest.mark.outside_check(
    "JCGM 100:2008 (GUM) 4.3.7: +-1.1 gal, over root three 0.635 gal; how known: worked by hand"
)
def test_full_amount_is_the_capacity_within_two_percent() -> None:
    found = full_amount(capacity=55.0)
    assert found.amount == 55.0
    assert found.standard_uncertainty == pytest.approx(0.635, abs=0.0005)


@pytest.mark.outside_check(
    "root mean square of a uniform variable over 0 to h is h/sqrt(3); how known: standard result, here by "
    "numerical sum"
)
def test_empty_amount_may_hide_a_heel() -> None:
    heel, steps = 0.6, 100_000
    mean_square = sum((heel * (index + 0.5) / steps) ** 2 for index in range(steps)) / steps
    found = empty_amount(heel=heel)
    assert found.amount == 0.0
    assert found.standard_uncertainty == pytest.approx(math.sqrt(mean_square), rel=1e-6)


@pytest.mark.outside_check("common practice, no source: trust falls with the time since the check was due")
def test_overdue_factor_grows_with_the_days_and_ends_at_four() -> None:
    assert overdue_factor(days_overdue=-30, interval_days=365) == 1.0
    assert overdue_factor(days_overdue=0, interval_days=365) == 1.0
    assert overdue_factor(days_overdue=365, interval_days=365) == 2.0
    assert overdue_factor(days_overdue=10_000, interval_days=30) == 4.0
    assert overdue_factor(days_overdue=0, interval_days=None) == 2.0


@pytest.mark.outside_check(
    "water has 999.974 kg/m3 at 4 Cel and 995.65 at 30 Cel (IAPWS-95), a spread of 0.43 %; how known: usual "
    "tables, from memory"
)
def test_unknown_temperature_uncertainty_of_water_is_an_eighth_of_a_percent() -> None:
    found = unknown_temperature_uncertainty(cold_density=999.974, warm_density=995.65)
    assert found == pytest.approx(0.0043 / 2 / math.sqrt(3), rel=0.02)


def test_reading_scales_and_widens() -> None:
    reading = Reading(10.0, 0.3, 0.4)
    assert reading.standard_uncertainty == pytest.approx(0.5)
    doubled = reading.scaled(2.0)
    assert (doubled.amount, doubled.own_uncertainty, doubled.common_uncertainty) == (20.0, 0.6, 0.8)
    widened = reading.widened(relative_uncertainty=0.04)
    assert (widened.amount, widened.common_uncertainty) == (10.0, 0.4)
    assert widened.own_uncertainty == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: metered_amount(start=0, end=1, resolution=-1, accuracy_class=1), "resolution"),
        (lambda: metered_amount(start=0, end=1, resolution=0, accuracy_class=-1), "accuracy_class"),
        (
            lambda: metered_amount(start=0, end=1, resolution=0, accuracy_class=1, drift_fraction=-1),
            "drift_fraction",
        ),
        (
            lambda: metered_amount(start=0, end=1, resolution=0, accuracy_class=1, trust_factor=0.9),
            "trust_factor",
        ),
        (lambda: weighed_mass(gross=-1, tare=0, tare_half_width=0, resolution=0), "gross"),
        (lambda: weighed_mass(gross=1, tare=-1, tare_half_width=0, resolution=0), "tare"),
        (lambda: dipped_amount(amount=-1, half_width=0), "amount"),
        (lambda: amount_by_quarters(quarters=4.5, capacity=1), "quarters"),
        (lambda: amount_by_quarters(quarters=1, capacity=0), "capacity"),
        (lambda: full_amount(capacity=0), "capacity"),
        (lambda: empty_amount(heel=-1), "heel"),
        (lambda: overdue_factor(days_overdue=1, interval_days=0), "interval_days"),
        (lambda: unknown_temperature_uncertainty(cold_density=0, warm_density=1), "cold_density"),
    ],
)
def test_measuring_names_the_parameter_it_refuses(call, name: str) -> None:
    with pytest.raises(ValueError, match=name):
        call()
