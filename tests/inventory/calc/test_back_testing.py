"""Looking back: errors of forecasts, spreads, and the safety that would have done."""

import numpy as np
import pytest

from inventory.calc.back_testing import back_tested_rates, demand_spreads, foresee_use
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


@pytest.mark.outside_check("numpy 2, var with ddof=1; how known: computed in the test")
def test_demand_spreads_finds_the_deviation_of_a_normal() -> None:
    history = np.random.default_rng(5).normal(100, 7, (3, 40_000))
    assert demand_spreads(history) == pytest.approx([7, 7, 7], rel=0.02)
    assert demand_spreads(history) == pytest.approx(history.std(axis=1, ddof=1))


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
    "classes by interval and squared variation, Syntetos, Boylan & Croston (2005); standard error of a mean "
    "s / sqrt(n); how known: standard results, from memory; worked by hand"
)
def test_foresee_use_tells_the_class_from_before_it_was_told_last() -> None:
    calm, rare = np.full(20, 5.0), np.array([5.0] * 10 + [0.0] * 10)
    young = np.array([np.nan] * 12 + [1.0, 2.0] * 4)
    history = np.vstack([calm, rare, young])
    now, earlier = foresee_use(history), foresee_use(history, since_classed=10)
    assert list(now.classes) == ["smooth", "intermittent", "smooth"]
    # Ten periods ago the second came every period; of the third nothing was known, so all of it tells.
    assert list(earlier.classes) == ["smooth", "smooth", "smooth"]
    assert (now.rates == earlier.rates).all()
    assert now.errors == pytest.approx(now.spreads / np.sqrt([20, 20, 8]))
