"""The control chart: run lengths as published, and false alarms as often as stated."""

import numpy as np
import pytest
from scipy import stats

from jobs.calc.drift import (
    chart_drift,
    chart_limit,
    chart_run_length,
    false_alarm_chance,
    score_readings,
)


@pytest.mark.outside_check(
    "Lucas & Saccucci, Technometrics 32 (1990), table 3: limits for 500 and lengths at shift 1; "
    "how known: from memory"
)
@pytest.mark.parametrize(
    ("weight", "limit", "after_shift"), [(0.1, 2.814, 10.3), (0.2, 2.962, 10.5), (0.4, 3.054, 14.3)]
)
def test_chart_run_length_is_the_published_one(weight: float, limit: float, after_shift: float) -> None:
    assert chart_run_length(weight=weight, limit=limit) == pytest.approx(500, rel=0.01)
    assert chart_run_length(weight=weight, limit=limit, shift=1.0) == pytest.approx(after_shift, abs=0.06)


@pytest.mark.outside_check(
    "Crowder, Technometrics 29 (1987), table 1, limit 3: mean run lengths without a shift; "
    "how known: from memory"
)
@pytest.mark.parametrize(("weight", "expected"), [(0.1, 842.15), (0.25, 502.90), (0.5, 397.46)])
def test_chart_run_length_at_three_sigma_is_the_published_one(weight: float, expected: float) -> None:
    assert chart_run_length(weight=weight, limit=3.0) == pytest.approx(expected, abs=0.1)


@pytest.mark.outside_check(
    "a chart of weight 1 is one of single readings: 1 / (2 Phi(-3)) = 370.40; how known: computed"
)
def test_chart_run_length_of_single_readings() -> None:
    assert chart_run_length(weight=1.0, limit=3.0) == pytest.approx(1 / (2 * stats.norm.sf(3.0)), rel=1e-6)
    assert false_alarm_chance(weight=1.0, limit=3.0, readings=20) == pytest.approx(
        1 - (1 - 2 * stats.norm.sf(3.0)) ** 20, rel=1e-6
    )


@pytest.mark.outside_check(
    "Lucas & Saccucci, Technometrics 32 (1990): weight 0.1 and 500 readings need 2.814; "
    "how known: from memory"
)
def test_chart_limit_is_the_published_one() -> None:
    assert chart_limit(weight=0.1, run_length=500) == pytest.approx(2.814, abs=1e-3)


@pytest.mark.outside_check(
    "t of a new reading against earlier ones is scipy's two-sample t with a sample of one; "
    "how known: scipy, run here"
)
def test_score_readings_is_the_t_of_one_against_the_earlier_ones() -> None:
    values = [0.91, 0.88, 0.93, 0.80, 0.97]
    scores = score_readings(values=values)
    assert scores[:2] == [None, None]
    for number in range(2, len(values)):
        earlier = values[:number]
        spread = np.std(earlier, ddof=1) * np.sqrt(1 + 1 / number)
        t = (values[number] - np.mean(earlier)) / spread
        chance = stats.t.cdf(t, number - 1)
        assert scores[number] == pytest.approx(stats.norm.ppf(chance), rel=1e-9)


@pytest.mark.outside_check(
    "a weighted mean and variance as numpy has them, aweights; how known: numpy, run here"
)
def test_score_readings_weighs_totals_of_several_spans() -> None:
    values, weights = [0.9, 0.8, 0.95, 0.7], [1.0, 4.0, 2.0, 3.0]
    mean = np.average(values[:3], weights=weights[:3])
    squares = np.sum(np.array(weights[:3]) * (np.array(values[:3]) - mean) ** 2)
    spread = np.sqrt(squares / 2 * (1 / 3.0 + 1 / 7.0))
    expected = stats.norm.ppf(stats.t.cdf((0.7 - mean) / spread, 2))
    assert score_readings(values=values, weights=weights)[3] == pytest.approx(expected, rel=1e-9)


def test_score_readings_are_standard_normal_and_independent_while_nothing_changes() -> None:
    draws = np.random.default_rng(11).normal(0.9, 0.03, size=(4000, 12))
    scores = np.array([score_readings(values=row)[2:] for row in draws], dtype=float)
    assert stats.kstest(scores.ravel(), "norm").pvalue > 0.001
    off_diagonal = np.corrcoef(scores.T) - np.eye(10)
    # Forty-five correlations, each with a standard deviation of 1/63.
    assert np.abs(off_diagonal).max() < 4.5 / np.sqrt(4000)


@pytest.mark.outside_check(
    "false alarms counted in simulated years, self-started from unknown mean and scatter; how known: computed"
)
def test_chart_drift_gives_as_many_false_alarms_as_false_alarm_chance_says() -> None:
    weight, readings, years = 0.1, 62, 4000
    limit = chart_limit(weight=weight, run_length=200)
    draws = np.random.default_rng(7).normal(0.9, 0.03, size=(years, readings))
    alarms = 0
    for row in draws:
        scores = [score for score in score_readings(values=row) if score is not None]
        alarms += any(point.signal for point in chart_drift(scores=scores, weight=weight, limit=limit))
    expected = false_alarm_chance(weight=weight, limit=limit, readings=readings - 2)
    assert alarms / years == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / years))


@pytest.mark.outside_check(
    "z by hand for r 0.5: 1, 1.5, 1.75 after scores of 2; Roberts 1959, definition; how known: computed"
)
def test_chart_drift_signals_and_begins_anew() -> None:
    points = chart_drift(scores=[2.0, 2.0, 2.0, -2.0], weight=0.5, limit=3.0)
    # The edge is 3 sqrt(0.5 / 1.5) = 1.732.
    assert [point.average for point in points] == [1.0, 1.5, 1.75, -1.0]
    assert [point.signal for point in points] == [0, 0, 1, 0]


def test_chart_drift_finds_less_coming_back() -> None:
    rng = np.random.default_rng(3)
    values = [*rng.normal(0.9, 0.03, 40), *rng.normal(0.85, 0.03, 15)]
    scores = [score for score in score_readings(values=values) if score is not None]
    points = chart_drift(scores=scores, weight=0.1, limit=chart_limit(weight=0.1, run_length=500))
    signals = [number for number, point in enumerate(points) if point.signal]
    assert signals
    assert signals[0] >= 38
    assert points[signals[0]].signal == -1


def test_what_is_out_of_range_is_refused() -> None:
    for call in (
        lambda: chart_run_length(weight=0.0, limit=3.0),
        lambda: chart_run_length(weight=0.1, limit=0.0),
        lambda: chart_run_length(weight=0.1, limit=3.0, shift=float("nan")),
        lambda: chart_limit(weight=0.1, run_length=5),
        lambda: false_alarm_chance(weight=0.1, limit=3.0, readings=-1),
        lambda: score_readings(values=[1.0, float("inf")]),
        lambda: score_readings(values=[1.0, 2.0], weights=[1.0, 0.0]),
        lambda: chart_drift(scores=[0.0], weight=1.5, limit=3.0),
    ):
        with pytest.raises(ValueError):
            call()
    assert score_readings(values=[0.9] * 5) == [None] * 5
    assert false_alarm_chance(weight=0.1, limit=3.0, readings=0) == 0.0
    assert chart_run_length(weight=0.1, limit=3.0, shift=-0.5) == pytest.approx(
        chart_run_length(weight=0.1, limit=3.0, shift=0.5)
    )
