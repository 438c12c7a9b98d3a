"""Partial pooling: what several groups say together, and what each says in the light of the others.

Groups are cable sizes, an estimate is a group's own mean with its sampling variance. A group with few
readings borrows from the others, a group with many stands on its own.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

Floats = NDArray[np.float64]
GRID_POINTS = 200


@dataclass(frozen=True)
class PooledEstimate:
    """Groups pooled by the normal-normal model; means and sds have the unit of the estimates.

    `group_sds` carry the uncertainty of the overall mean, not that of the between-group variance.
    """

    between_variance: float
    mean: float
    standard_error: float
    group_means: Floats
    group_sds: Floats


def dersimonian_laird_variance(*, estimates: ArrayLike, variances: ArrayLike) -> float:
    """Between-group variance by the moment estimator of DerSimonian and Laird.

    tau^2 = max(0, (Q - (k - 1)) / (sum w - sum w^2 / sum w)), w = 1/v, Q = sum w (y - ybar_w)^2

    Parameters
    ----------
    estimates : array_like (groups,)
        Estimate of each group, two groups or more [any unit u]
    variances : array_like (groups,)
        Sampling variance of each estimate, > 0 [u^2]

    Returns
    -------
    float
        Between-group variance, >= 0 [u^2]

    Raises
    ------
    ValueError
        If there are fewer than two groups or a value is out of range.

    References
    ----------
    .. [1] DerSimonian, R. and Laird, N., "Meta-analysis in clinical trials", Controlled Clinical Trials 7
       (1986) 177-188.
    """
    y, v = _check(estimates, variances)
    weights = 1 / v
    spread = _generalised_q(y, v, 0.0) - (len(y) - 1)
    return float(max(0.0, spread / (weights.sum() - (weights**2).sum() / weights.sum())))


def paule_mandel_variance(*, estimates: ArrayLike, variances: ArrayLike) -> float:
    """Between-group variance by Paule and Mandel: the tau^2 at which the generalised Q equals k - 1.

    Q(tau^2) = sum (y - mu)^2 / (v + tau^2) falls with tau^2, so the root is unique; it is 0 where Q(0) <= k
    - 1.

    Parameters
    ----------
    estimates, variances
        As for `dersimonian_laird_variance`, (groups,) [any unit u], [u^2]

    Returns
    -------
    float
        Between-group variance, >= 0 [u^2]

    Raises
    ------
    ValueError
        If there are fewer than two groups or a value is out of range.

    References
    ----------
    .. [1] Paule, R. C. and Mandel, J., "Consensus values and weighting factors", Journal of Research of the
       National Bureau of Standards 87 (1982) 377-385.
    """
    y, v = _check(estimates, variances)
    wanted = len(y) - 1
    if _generalised_q(y, v, 0.0) <= wanted:
        return 0.0
    # With all variances 0 the root would be the plain sample variance, and with positive ones it is below it.
    above = float(np.var(y, ddof=1)) * (1 + 1e-9)
    return _root(lambda tau2: _generalised_q(y, v, tau2) - wanted, 0.0, above)


def reml_variance(*, estimates: ArrayLike, variances: ArrayLike) -> float:
    """Between-group variance by restricted maximum likelihood.

    l(tau^2) = -1/2 [ sum ln(v + tau^2) + ln sum w + sum w (y - mu)^2 ], w = 1/(v + tau^2), mu = sum w y /
    sum w

    Every maximum that a grid brackets is found to full precision and the highest is taken, the boundary 0
    among them, so that a likelihood with two humps does not catch the search on the lower one.

    Parameters
    ----------
    estimates, variances
        As for `dersimonian_laird_variance`, (groups,) [any unit u], [u^2]

    Returns
    -------
    float
        Between-group variance, >= 0 [u^2]

    Raises
    ------
    ValueError
        If there are fewer than two groups or a value is out of range.

    References
    ----------
    .. [1] Viechtbauer, W., "Bias and efficiency of meta-analytic variance estimators in the random-effects
       model", Journal of Educational and Behavioral Statistics 30 (2005) 261-293.
    """
    y, v = _check(estimates, variances)
    span = float(np.ptp(y)) ** 2
    if span == 0:
        return 0.0
    # No deviation exceeds the range, so past ten times its square the score is negative.
    grid = np.concatenate([[0.0], np.geomspace(min(span, float(v.min())) * 1e-9, 10 * span, GRID_POINTS)])
    scores = np.array([_restricted_score(y, v, tau2) for tau2 in grid])
    rises = np.flatnonzero((scores[:-1] > 0) & (scores[1:] <= 0))
    peaks = [_root(lambda tau2: _restricted_score(y, v, tau2), grid[i], grid[i + 1]) for i in rises]
    return max([0.0, *peaks], key=lambda tau2: _restricted_log_likelihood(y, v, tau2))


def pool_groups(*, estimates: ArrayLike, variances: ArrayLike, between_variance: float) -> PooledEstimate:
    """Pool groups whose true values scatter normally with a known variance.

    mu = sum w y / sum w, se^2 = 1 / sum w, w = 1 / (v + tau^2); group i is drawn to the mean by
    B = v / (v + tau^2): theta = B mu + (1 - B) y, sd^2 = (1 - B) v + B^2 se^2.

    Parameters
    ----------
    estimates : array_like (groups,)
        Estimate of each group [any unit u]
    variances : array_like (groups,)
        Sampling variance of each estimate, > 0 [u^2]
    between_variance : float
        Variance tau^2 of the groups' true values, >= 0 [u^2]

    Returns
    -------
    PooledEstimate
        Mean with its standard error, and each group's mean and sd (groups,) [u]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.4, equations 5.17 to 5.20.
    """
    y, v = _check(estimates, variances, fewest=1)
    if not 0 <= between_variance < np.inf:
        raise ValueError(f"between_variance must be at least 0, not {between_variance:g}")
    weights = 1 / (v + between_variance)
    mean, mean_variance = _mean(y, weights), 1 / weights.sum()
    pull = v * weights
    return PooledEstimate(
        between_variance=float(between_variance),
        mean=mean,
        standard_error=float(np.sqrt(mean_variance)),
        group_means=pull * mean + (1 - pull) * y,
        group_sds=np.sqrt((1 - pull) * v + pull**2 * mean_variance),
    )


def _check(estimates: ArrayLike, variances: ArrayLike, *, fewest: int = 2) -> tuple[Floats, Floats]:
    y = np.asarray(estimates, dtype=np.float64)
    v = np.asarray(variances, dtype=np.float64)
    if y.ndim != 1 or len(y) < fewest:
        raise ValueError(
            f"estimates must be a list of at least {fewest}; one group says nothing of the others"
        )
    if v.shape != y.shape:
        raise ValueError(f"variances must be as many as the estimates, {len(y)}, not {v.size}")
    if not np.all(np.isfinite(y)):
        raise ValueError("estimates must be finite")
    if not np.all(np.isfinite(v) & (v > 0)):
        raise ValueError("variances must be above 0")
    return y, v


def _mean(y: Floats, weights: Floats) -> float:
    return float((weights * y).sum() / weights.sum())


def _generalised_q(y: Floats, v: Floats, tau2: float) -> float:
    weights = 1 / (v + tau2)
    return float((weights * (y - _mean(y, weights)) ** 2).sum())


def _restricted_score(y: Floats, v: Floats, tau2: float) -> float:
    """Twice the derivative of the restricted log likelihood."""
    weights = 1 / (v + tau2)
    squares = weights**2
    fitted = (squares * (y - _mean(y, weights)) ** 2).sum()
    return float(fitted - weights.sum() + squares.sum() / weights.sum())


def _restricted_log_likelihood(y: Floats, v: Floats, tau2: float) -> float:
    weights = 1 / (v + tau2)
    return float(-0.5 * (-np.log(weights).sum() + np.log(weights.sum()) + _generalised_q(y, v, tau2)))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-300, rtol=8.9e-16, maxiter=500))
