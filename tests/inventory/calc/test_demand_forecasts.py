"""Forecasts of intermittent demand against a package, patterns against published ones."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.demand_forecasts import (
    croston_rates,
    demand_forecast,
    demand_pattern,
    forecast_rates,
    sba_rates,
    tsb_rates,
)

GAPS = [0, 0, 4, 0, 0, 0, 2, 0, 3, 0, 0, 5]
RARE = [2, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 3, 0, 0, 0, 0, 2, 0, 0, 0, 0, 0, 1]
EVERY_PERIOD = [5, 6, 4, 5, 7, 5, 6, 4, 5, 6, 5, 5]
FADED = [3, 0, 2, 0, 4, 0, 1, *[0] * 12, 0]
LAST_ONLY = [0, 0, 0, 0, 0, 0, 0, 7]
LONG_LEAD_IN = [*[0] * 21, 1, *[0] * 9, 1, *[0] * 12, 1, *[0] * 6]


@pytest.mark.outside_check(
    "hand-given series and part 21030168 of the carparts data (Hyndman et al. 2008); "
    "how known: printed by statsforecast 2.1.1, the first five re-derived in plain Python"
)
@pytest.mark.parametrize(
    ("history", "croston", "sba", "tsb", "slow_tsb"),
    [
        (GAPS, 1.2865262454028754, 1.2221999331327316, 1.0416191561672004, 0.617057891694896),
        (RARE, 0.7234228086138914, 0.6872516681831968, 0.5498457366720431, 0.8076676809069147),
        (EVERY_PERIOD, 5.166224175110001, 4.907912966354501, 5.166224175110001, 5.190133370880001),
        (FADED, 2.210070810385523, 2.0995672698662466, 0.5555362810118557, 1.1767442620363795),
        (LAST_ONLY, 0.875, 0.83125, 0.7, 0.35),
        (LONG_LEAD_IN, 0.049950049950049945, 0.04745254745254745, 0.07136274587397619, 0.06691905170764365),
    ],
)
def test_rates_agree_with_a_package(
    history: list[int], croston: float, sba: float, tsb: float, slow_tsb: float
) -> None:
    row = [history]
    assert croston_rates(row) == pytest.approx([croston], rel=1e-9)
    assert sba_rates(row) == pytest.approx([sba], rel=1e-9)
    assert tsb_rates(row) == pytest.approx([tsb], rel=1e-9)
    slow = tsb_rates(row, smoothing=0.2, probability_smoothing=0.05)
    assert slow == pytest.approx([slow_tsb], rel=1e-9)


@pytest.mark.outside_check(
    "hand-given series, CV2 with n - 1 and interval from the first demand; how known: computed independently"
)
@pytest.mark.parametrize(
    ("history", "interval", "squared_cv"),
    [
        (GAPS, 2.5, 0.1360544217687075),
        (RARE, 4.8, 0.2160493827160494),
        (EVERY_PERIOD, 1, 0.027210884353741496),
        (LAST_ONLY, 1, None),
    ],
)
def test_demand_pattern_counts_from_the_first_demand(
    history: list[int], interval: float, squared_cv: float | None
) -> None:
    found = demand_pattern([history])
    assert found.average_interval == pytest.approx([interval])
    assert found.squared_cv == pytest.approx([np.nan if squared_cv is None else squared_cv], nan_ok=True)


@pytest.mark.outside_check(
    "AUTO data (3000 automotive items, Syntetos & Boylan 2005), sheet Properties: SKU_1, SKU_7, SKU_2998; "
    "how known: published interval, CV2 and class, recomputed independently"
)
@pytest.mark.parametrize(
    ("history", "interval", "squared_cv", "demand_class"),
    [
        (
            [2, 1, 4, 1, 1, 0, 0, 0, 3, 0, 0, 5, 5, 4, 3, 9, 21, 26, 15, 7, 0, 21, 32, 59],
            1.3333333730697632,
            1.5340920380161829,
            "lumpy",
        ),
        (
            [0, 0, 1, 0, 2, 1, 2, 1, 2, 0, 1, 0, 1, 1, 0, 2, 2, 1, 3, 3, 1, 0, 1, 0],
            1.375,
            0.2167466666666666,
            "intermittent",
        ),
        (
            [2, 1, 2, 3, 3, 0, 0, 2, 0, 1, 1, 1, 3, 1, 4, 1, 0, 1, 2, 1, 4, 1, 1, 6],
            1.2000000476837158,
            0.4627571307805505,
            "smooth",
        ),
    ],
)
def test_demand_forecast_gives_the_published_class(
    history: list[int], interval: float, squared_cv: float, demand_class: str
) -> None:
    found = demand_forecast(history=history, method="auto")
    assert found.average_interval == pytest.approx(interval, abs=1e-5)
    assert found.squared_cv == pytest.approx(squared_cv, abs=1e-5)
    assert found.demand_class == demand_class
    assert found.method == ("croston" if demand_class == "smooth" else "sba")


@pytest.mark.outside_check(
    "Syntetos, Boylan & Croston (2005): Croston where demand is smooth, SBA elsewhere, cut-offs 1.32, 0.49; "
    "how known: from memory of the paper, the cut-offs confirmed by 3000 published labels"
)
def test_forecast_rates_choose_by_class() -> None:
    rates, methods = forecast_rates([EVERY_PERIOD, GAPS], method="auto")
    assert list(methods) == ["croston", "sba"]
    assert rates == pytest.approx([5.166224175110001, 1.2221999331327316])


def test_demand_pattern_is_strict_at_the_limits() -> None:
    # 33 periods over 25 with demand are exactly 1.32.
    at_limit, above = [[1] * 24 + [0] * 8 + [1]], [[1] * 24 + [0] * 9 + [1]]
    assert demand_pattern(at_limit).average_interval == pytest.approx([1.32])
    assert list(demand_pattern(at_limit).classes) == ["smooth"]
    assert list(demand_pattern(above).classes) == ["intermittent"]


def test_demand_forecast_of_nothing_is_nothing() -> None:
    for method in ("croston", "sba", "tsb", "auto"):
        found = demand_forecast(history=[0, 0, 0], method=method)
        assert (found.per_period, found.demand_class) == (0, None)
        assert (found.average_interval, found.squared_cv) == (None, None)


def test_rates_of_a_young_series_ignore_the_time_before_it() -> None:
    padded = [np.nan] * 5 + GAPS
    assert croston_rates([padded]) == pytest.approx(croston_rates([GAPS]))
    assert tsb_rates([padded]) == pytest.approx(tsb_rates([GAPS]))
    assert demand_pattern([padded]).average_interval == pytest.approx([2.5])
    assert croston_rates([[np.nan, np.nan]]) == [0]


def test_rates_of_many_series_are_the_rates_of_each() -> None:
    series = np.random.default_rng(3).poisson(0.4, (50, 30))
    for rates in (croston_rates, sba_rates, tsb_rates):
        assert rates(series) == pytest.approx([float(rates([row])[0]) for row in series])


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"history": []}, "history"),
        ({"history": [1, -1]}, "history"),
        ({"history": [1, float("nan")]}, "history"),
        ({"smoothing": 0}, "smoothing"),
        ({"smoothing": 1.1}, "smoothing"),
        ({"method": "tsb", "probability_smoothing": -1}, "probability_smoothing"),
        ({"method": "guess"}, "method"),
    ],
)
def test_demand_forecast_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must"):
        demand_forecast(**{"history": GAPS, "method": "croston"} | more)
