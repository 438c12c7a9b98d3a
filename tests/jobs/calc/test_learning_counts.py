"""Learnt counts against textbook conjugate formulas and scipy's distributions."""

import numpy as np
import pytest

from jobs.calc.learning_counts import (
    LossFit,
    PassesFit,
    fit_losses,
    fit_passes,
    predict_losses,
    predict_passes,
    upper_limit,
)

THOUGHT = (0.1, 0.2, 0.4, 0.3)


def _posterior(alpha: float, beta: float) -> LossFit:
    return LossFit(np.ones(1), np.array([[alpha, 1.4]]), np.array([[beta, 8.6]]))


@pytest.mark.outside_check(
    "scipy.stats.betabinom.pmf([0, 1, 2], 20, 5.4, 18.6) and ppf(0.9, 20, 5.4, 18.6) = 8, the posterior of "
    "4 in 14 under Beta(1.4, 8.6) (BDA3, section 5.1); how known: printed by the package"
)
def test_predict_losses_is_beta_binomial() -> None:
    found = predict_losses(_posterior(5.4, 18.6), size=0, uses=20)
    assert found[:3] == pytest.approx([0.0260161, 0.07472709, 0.1241368], abs=1e-7)
    assert upper_limit(found, quantile=0.9) == 8


@pytest.mark.outside_check(
    "rat tumours, BDA3, section 5.1: 4 of 14 under Beta(1.4, 8.6) is Beta(5.4, 18.6); how known: closed form"
)
def test_fit_losses_adds_reports_to_the_parameters() -> None:
    fit = fit_losses(uses=[14, 0], lost=[4, 0], prior_mean=0.14, prior_uses=10)
    assert fit.lost[:, 0] - fit.lost[:, 2] == pytest.approx(4)
    assert fit.kept[:, 0] - fit.kept[:, 2] == pytest.approx(10)
    assert fit.lost[:, 1] == pytest.approx(fit.lost[:, 2])
    assert 1.4 / 10 < predict_losses(fit, size=0, uses=1)[1] < 4 / 14


@pytest.mark.outside_check(
    "a Dirichlet posterior mean is (a_j + n_j) / sum(a + n), BDA3, section 3.4; how known: closed form"
)
def test_predict_passes_of_one_run_is_the_posterior_mean() -> None:
    fit = PassesFit(np.ones(1), np.array([[[1.0, 2.0, 5.0, 2.0], [1.0, 1.0, 1.0, 1.0]]]))
    assert predict_passes(fit, size=0, runs=1) == pytest.approx([0, 0.1, 0.2, 0.5, 0.2])


@pytest.mark.outside_check(
    "with 1 or 2 passes the extra ones of n runs are beta-binomial: scipy.stats.betabinom.cdf(8, 20, 5.4, "
    "18.6) = 0.932996, ppf(0.9) = 8; how known: printed by the package; 512 draws, hence 0.02"
)
def test_predict_passes_of_a_day_shares_the_unknown_probabilities() -> None:
    fit = PassesFit(np.ones(1), np.array([[[18.6, 5.4], [1.0, 1.0]]]))
    total = predict_passes(fit, size=0, runs=20)
    assert total.sum() == pytest.approx(1)
    assert total[:29].sum() == pytest.approx(0.932996, abs=0.02)
    assert upper_limit(total, quantile=0.9) == 28


@pytest.mark.outside_check(
    "a size with very many reports has their frequencies (law of large numbers), one with few is near; "
    "how known: limit of the conjugate formula"
)
def test_fit_passes_lets_many_reports_stand_on_their_own() -> None:
    few_then_many = [[0, 0, 2, 0], [0, 5000, 5000, 0], [300, 300, 300, 300]]
    fit = fit_passes(runs=few_then_many, prior=THOUGHT, prior_runs=2)
    assert predict_passes(fit, size=1, runs=1) == pytest.approx([0, 0, 0.5, 0.5, 0], abs=0.001)
    own, unseen = predict_passes(fit, size=0, runs=1), predict_passes(fit, size=None, runs=1)
    assert own[3] > unseen[3] > 0.25
    assert own.sum() == pytest.approx(1)


@pytest.mark.outside_check(
    "one run of each of n sizes is one draw each from the common probabilities, so that these are "
    "(prior n0 + runs) / (n0 + n) however much the sizes differ (BDA3, section 3.4); how known: closed form; "
    "48 draws for each concentration, hence 0.02"
)
def test_fit_passes_of_one_run_for_each_size_is_conjugate() -> None:
    fit = fit_passes(runs=[[0, 0, 1, 0]] * 4 + [[1, 0, 0, 0]] * 2, prior=THOUGHT, prior_runs=2)
    unseen = predict_passes(fit, size=None, runs=1)[1:]
    assert unseen == pytest.approx([2.2 / 8, 0.4 / 8, 4.8 / 8, 0.6 / 8], abs=0.02)


@pytest.mark.outside_check(
    "one use of each of n sizes is one draw each from the common probability, which is then (m0 n0 + lost) / "
    "(n0 + n) however much the sizes differ (BDA3, section 2.4); how known: closed form"
)
def test_fit_losses_of_one_use_for_each_size_is_conjugate() -> None:
    fit = fit_losses(uses=[1] * 20, lost=[1] * 5 + [0] * 15, prior_mean=0.1, prior_uses=20)
    assert predict_losses(fit, size=None, uses=1)[1] == pytest.approx((2 + 5) / 40, abs=1e-4)


@pytest.mark.outside_check("binomial(1, 1/2) reaches 0.5 at 0, and 0.51 at 1; how known: closed form")
def test_upper_limit_meets_an_exact_hit() -> None:
    assert upper_limit([0.5, 0.5], quantile=0.5) == 0
    assert upper_limit([0.5, 0.5], quantile=0.51) == 1


def test_fits_without_reports_are_the_prior() -> None:
    passes = fit_passes(runs=[[0, 0, 0, 0]], prior=THOUGHT, prior_runs=50)
    losses = fit_losses(uses=[0], lost=[0], prior_mean=0.05, prior_uses=40)
    assert predict_passes(passes, size=0, runs=1)[1:] == pytest.approx(THOUGHT, abs=0.02)
    assert predict_losses(losses, size=None, uses=1)[1] == pytest.approx(0.05, abs=0.002)


def test_predictions_of_an_idle_day_are_nothing() -> None:
    passes = fit_passes(runs=[[0, 1, 0, 0]], prior=THOUGHT, prior_runs=5)
    losses = fit_losses(uses=[3], lost=[1], prior_mean=0.05, prior_uses=40)
    assert predict_passes(passes, size=0, runs=0) == pytest.approx([1.0])
    assert predict_losses(losses, size=0, uses=0) == pytest.approx([1.0])


@pytest.mark.parametrize(
    ("runs", "prior", "prior_runs", "named"),
    [
        ([[1, -1, 0, 0]], THOUGHT, 2.0, "runs"),
        ([[1, 1]], THOUGHT, 2.0, "runs"),
        ([[1, 1]], (0.5, 0.6), 2.0, "prior"),
        ([[1, 1]], (1.0, 0.0), 2.0, "prior"),
        ([[1, 1]], (0.5, 0.5), 0.0, "prior_runs"),
    ],
)
def test_fit_passes_refuses_and_names_what_is_out_of_range(
    runs: list[list[int]], prior: tuple[float, ...], prior_runs: float, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        fit_passes(runs=runs, prior=prior, prior_runs=prior_runs)


@pytest.mark.parametrize(
    ("uses", "lost", "mean", "worth", "named"),
    [
        ([3], [4], 0.1, 1.0, "lost"),
        ([3, 4], [1], 0.1, 1.0, "lost"),
        ([-3], [0], 0.1, 1.0, "uses"),
        ([3], [1], 0.0, 1.0, "prior_mean"),
        ([3], [1], 0.1, -1.0, "prior_uses"),
    ],
)
def test_fit_losses_refuses_and_names_what_is_out_of_range(
    uses: list[int], lost: list[int], mean: float, worth: float, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        fit_losses(uses=uses, lost=lost, prior_mean=mean, prior_uses=worth)


def test_predictions_refuse_and_name_what_is_out_of_range() -> None:
    losses = _posterior(1.0, 9.0)
    with pytest.raises(ValueError, match="size"):
        predict_losses(losses, size=1, uses=3)
    with pytest.raises(ValueError, match="uses"):
        predict_losses(losses, size=0, uses=-1)
    with pytest.raises(ValueError, match="quantile"):
        upper_limit([1.0], quantile=1.0)
    with pytest.raises(ValueError, match="probabilities"):
        upper_limit([0.5], quantile=0.9)
