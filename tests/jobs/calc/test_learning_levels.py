"""Levels that make intervals of few sizes hold as often as they say, tried on histories of their own."""

from dataclasses import replace

import numpy as np
import pytest

from jobs.calc.learning import RatioFit, RatioPrior, fit_ratios, predict_each
from jobs.calc.learning_levels import Design, nominal_levels
from jobs.calc.learning_readings import gather_readings

PRIOR = RatioPrior(mean=1.0, sd=0.1, readings=0.1)
SPANS = np.array([2, 3, 5])
DESIGN = Design((0, 1, 2), np.diag(SPANS.astype(float)), 7)


def _fit(random: np.random.Generator, own: np.ndarray) -> RatioFit:
    sizes = np.repeat(np.arange(3), SPANS)
    values = own[sizes] + 0.05 * random.standard_normal(10)
    readings = gather_readings(
        totals=values, uncertainties=np.zeros(10), span_readings=np.arange(10), span_sizes=sizes,
        span_volumes=np.ones(10), number_of_sizes=3,
    )  # fmt: skip
    return fit_ratios(readings=readings, prior=PRIOR)


def _holds(fit: RatioFit, value: float) -> bool:
    low, high = predict_each(fit, sizes=[None], confidence=0.9)[0].interval
    return low <= value <= high


@pytest.mark.outside_check(
    "an interval of 90 % holds 90 times in 100: 400 histories in which three sizes are the same, 1.5 % "
    "either way; how known: what the word means"
)
def test_levels_bring_intervals_back_to_what_they_say() -> None:
    random = np.random.default_rng(31)
    calibrated, plain = 0, 0
    for _ in range(400):
        fit = _fit(random, np.ones(3))
        comes = 1 + 0.05 * random.standard_normal()
        calibrated += _holds(fit, comes)
        plain += _holds(replace(fit, design=None), comes)
    assert calibrated / 400 == pytest.approx(0.9, abs=0.035)
    # By the weights of the scatters alone they would be too wide.
    assert plain / 400 > 0.94


@pytest.mark.outside_check(
    "sizes that differ beyond all noise are a sample of their own: Student's t with 2 degrees of freedom "
    "holds exactly; how known: any textbook"
)
def test_levels_far_out_are_what_is_asked() -> None:
    levels = nominal_levels(DESIGN, ratios=np.array([40.0, 1e6]), confidence=0.9)
    assert levels[:, -1] == pytest.approx([0.9, 0.9], abs=0.025)


def test_levels_rise_with_what_is_asked_and_are_the_same_again() -> None:
    ratios = np.array([0.0, 1.0, 10.0])
    half, most = (nominal_levels(DESIGN, ratios=ratios, confidence=asked) for asked in (0.5, 0.95))
    assert half.shape == (3, 4)
    assert (half < most).all()
    assert (nominal_levels(DESIGN, ratios=ratios, confidence=0.5) == half).all()
