"""Series and moments given by hand, at the edges of what the forecasts and levels are asked."""

import numpy as np
import pytest

from inventory.calc.demand_forecasts import DemandPattern, croston_rates, demand_pattern, sba_rates, tsb_rates
from inventory.calc.reorder_points import lead_time_demand

ONCE = [0, 0, 0, 0, 0, 0, 0, 7]
LONG = [
    0,
    1,
    0,
    0,
    3,
    0,
    0,
    2,
    2,
    0,
    0,
    0,
    6,
    0,
    1,
    0,
    0,
    0,
    4,
    0,
    0,
    1,
    0,
    2,
    0,
    0,
    0,
    5,
    0,
    0,
    3,
    0,
    0,
    0,
    0,
    2,
]
RARE = np.zeros(51)
RARE[[18, 21, 22, 23, 30, 46]] = 1


@pytest.mark.outside_check(
    "cases B-stats-h7 and B-stats-h8, series given by hand; how known: computed independently of this code"
)
def test_demand_pattern_of_one_demand_and_of_many() -> None:
    found = demand_pattern([ONCE])
    assert found.average_interval.tolist() == [1.0]
    assert np.isnan(found.squared_cv).all()
    found = demand_pattern([LONG])
    assert found.average_interval[0] == pytest.approx(2.9166666666666665)
    assert found.squared_cv[0] == pytest.approx(0.3664772727272727)


@pytest.mark.outside_check(
    "case B-SBC-thresholds, Syntetos, Boylan & Croston (2005): strictly above 1.32 and 0.49; how known: from "
    "memory of the paper, confirmed by 3,000 published labels"
)
def test_classes_begin_strictly_above_the_limits() -> None:
    intervals = np.array([1.0, 1.32, 1.3201, 1.32, 1.5, 1.1, 4.0])
    squares = np.array([0.2, 0.49, 0.49, 0.4901, 0.6, 0.9, 0.1])
    assert DemandPattern(intervals, squares).classes.tolist() == [
        "smooth", "smooth", "intermittent", "erratic", "lumpy", "erratic", "intermittent",
    ]  # fmt: skip


@pytest.mark.outside_check(
    "cases B-fc-h7 and B-carparts-21311763, printed by statsforecast 2.1.1; how known: printed by that "
    "version"
)
def test_rates_of_a_series_wanted_seldom() -> None:
    assert croston_rates([ONCE])[0] == pytest.approx(0.875)
    assert sba_rates([ONCE])[0] == pytest.approx(0.83125)
    assert croston_rates([RARE])[0] == pytest.approx(0.07246355807664326)
    assert sba_rates([RARE])[0] == pytest.approx(0.06884038017281109)
    assert tsb_rates([RARE])[0] == pytest.approx(0.09695992800717335)
    unlike = tsb_rates([RARE], smoothing=0.2, probability_smoothing=0.05)
    assert unlike[0] == pytest.approx(0.10404050864286976)


@pytest.mark.outside_check(
    "cases A-LTD-moments-a to -c, Var = E[L] Var[D] + E[D]^2 Var[L] (Hadley & Whitin 1963); how known: "
    "closed form, evaluated independently"
)
@pytest.mark.parametrize(
    ("given", "mean", "sd"),
    [
        ((100, 30, 5, 1.5), 500, 164.31676725154983),
        ((40, 0, 10, 2), 400, 80.0),
        ((12.5, 6, 14, 3.5), 175.0, 49.17379891771633),
    ],
)
def test_lead_time_demand_adds_both_spreads(
    given: tuple[float, float, float, float], mean: float, sd: float
) -> None:
    names = ("demand_mean", "demand_sd", "lead_time", "lead_time_sd")
    found = lead_time_demand(**dict(zip(names, given, strict=True)))
    assert found == pytest.approx((mean, sd))
