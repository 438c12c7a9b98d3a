"""Looking back: errors of forecasts, spreads, and the safety that would have done."""

import numpy as np
import pytest

from inventory.calc.back_testing import back_tested_rates, demand_spreads, safety_factor
from inventory.calc.demand_forecasts import croston_rates, forecast_paths, sba_rates, tsb_rates

RANDOM = np.random.default_rng(3)


def sparse(series: int, weeks: int) -> np.ndarray:
    comes = RANDOM.random((series, weeks)) < 0.4
    return comes * RANDOM.poisson(4, (series, weeks)).astype(float)


@pytest.mark.outside_check(
    "case B-fitted-croston-h1, printed by statsforecast 2.1.1: one-step forecasts of 0 0 4 0 0 0 2 0 3 0 0 "
    "5; how known: printed by that version"
)
def test_forecast_paths_are_what_was_known_after_each_period() -> None:
    paths = forecast_paths([[0, 0, 4, 0, 0, 0, 2, 0, 3, 0, 0, 5]], method="croston")
    expected = [0, 0] + [4 / 3] * 4 + [1.2258064516129032] * 2 + [1.2441471571906355] * 3
    assert paths[0, :11] == pytest.approx(expected)


def test_forecast_paths_end_where_the_rates_are() -> None:
    history = sparse(20, 40)
    for method, rates in (("croston", croston_rates), ("sba", sba_rates), ("tsb", tsb_rates)):
        assert forecast_paths(history, method=method)[:, -1] == pytest.approx(rates(history))
    assert forecast_paths(history, method="average")[:, -1] == pytest.approx(history.mean(axis=1))
    with pytest.raises(ValueError, match="method"):
        forecast_paths(history, method="guess")


@pytest.mark.outside_check(
    "Teunter, Syntetos & Babai (2011): only TSB fades out where a material is wanted no more, which is why "
    "it was made; how known: the paper's point, from memory"
)
def test_back_tested_rates_takes_the_method_that_would_have_erred_least() -> None:
    dying = np.concatenate([np.tile([4.0, 0.0], 10), np.zeros(120)])[np.newaxis]
    found = back_tested_rates(dying, methods=["croston", "tsb"])
    assert found.methods.tolist() == ["tsb"]
    assert found.rates[0] < 0.01
    level = np.tile([5.0, 6.0, 4.0, 5.0], 20)[np.newaxis]
    assert back_tested_rates(level).rates[0] == pytest.approx(5.0, abs=0.3)


def test_back_tested_rates_takes_what_it_is_told() -> None:
    history = sparse(5, 30)
    found = back_tested_rates(history, methods=["sba"])
    assert found.rates == pytest.approx(sba_rates(history))
    assert set(found.methods) == {"sba"}
    with pytest.raises(ValueError, match="horizon"):
        back_tested_rates(history, horizon=0)


@pytest.mark.outside_check(
    "Geary (1935): mean deviation of a normal is sqrt(2 / pi) of its standard deviation; how known: standard "
    "result, from memory; the sample is drawn with numpy"
)
def test_demand_spreads_finds_the_deviation_of_a_normal() -> None:
    history = np.random.default_rng(5).normal(100, 7, (3, 40_000))
    assert demand_spreads(history) == pytest.approx([7, 7, 7], rel=0.02)


def test_demand_spreads_draws_a_short_history_towards_the_law_of_the_others() -> None:
    mean = RANDOM.uniform(2, 50, 60)
    history = RANDOM.poisson(mean[:, np.newaxis], (60, 12)).astype(float)
    still = np.vstack([history, np.full(12, 20.0)])
    assert demand_spreads(np.full((1, 12), 20.0))[0] == 0
    assert 0 < demand_spreads(still)[-1] < 20**0.5
    young = history.copy()
    young[:, :6] = np.nan
    assert demand_spreads(young)[:5] == pytest.approx(demand_spreads(young[:, 6:])[:5])


@pytest.mark.outside_check(
    "definition of the fill rate, Snyder & Shen (2019) section 5.3.2: with demand 0, 10 and levels 5 f the "
    "share filled of 10 is f / 2; how known: worked by hand"
)
def test_safety_factor_is_what_the_fill_rate_would_have_taken() -> None:
    given = {"needed": [0.0, 10.0], "needed_before": [0.0, 0.0], "levels": [0.0, 0.0], "safety": [5.0, 5.0]}
    assert safety_factor(fill_rate=0.8, **given) == pytest.approx(1.6, abs=1e-5)
    assert safety_factor(fill_rate=0.8, is_whole=True, **given) == pytest.approx(1.4, abs=1e-5)
    assert safety_factor(fill_rate=0.8, needed=[0.0], needed_before=[0.0], levels=[0.0], safety=[1.0]) == 1.0
    with pytest.raises(ValueError, match="fill_rate"):
        safety_factor(fill_rate=1.0, **given)
