"""What field reports teach about a ratio, over cable sizes: a fit that says how unsure it is.

The ratio of a span is its size's own mean plus a scatter from span to span; the sizes' means scatter about a
common mean. Both variances are integrated over a grid and not put in as if they were known, since with three
sizes or three spans that would promise too much.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from jobs.calc.learning_grids import between_grid, within_grid
from jobs.calc.learning_readings import Readings

Floats = NDArray[np.float64]
NEGLIGIBLE_WEIGHT = 1e-6


@dataclass(frozen=True, kw_only=True)
class RatioPrior:
    """What is thought of a span's ratio before any reading, counted as so many readings.

    `sd` is that of spans of all sizes about the mean, `between_share` the part of its variance that lies
    between sizes. The mean itself is as unsure as after so many readings, sd / sqrt(readings).
    """

    mean: float
    sd: float
    readings: float = 1.0
    between_share: float = 0.5

    def __post_init__(self) -> None:
        if not np.isfinite(self.mean):
            raise ValueError("mean of the prior must be finite")
        for name, value in (("sd", self.sd), ("readings", self.readings)):
            if not 0 < value < np.inf:
                raise ValueError(f"{name} of the prior must be above 0, not {value:g}")
        if not 0 < self.between_share < 1:
            raise ValueError(
                f"between_share of the prior must be between 0 and 1, not {self.between_share:g}"
            )


@dataclass(frozen=True)
class RatioFit:
    """Nodes of the grid that matter, with their weights; at each the sizes are jointly normal.

    `means` (nodes, 1 + sizes) and `covariances` hold the common mean and each size's deviation from it.
    """

    weights: Floats
    within_variances: Floats
    between_variances: Floats
    means: Floats
    covariances: Floats

    @property
    def within_sd(self) -> float:
        return float(np.sqrt(self.weights @ self.within_variances))

    @property
    def between_sd(self) -> float:
        return float(np.sqrt(self.weights @ self.between_variances))


@dataclass(frozen=True)
class RatioPrediction:
    """Mean, standard deviation and interval of a ratio [-]."""

    mean: float
    sd: float
    interval: tuple[float, float]


def fit_ratios(*, readings: Readings, prior: RatioPrior) -> RatioFit:
    """Fit the sizes' means, their variance and the span-to-span variance to all readings together.

    y = sum_i s_i theta_i + e, e ~ N(0, c sigma^2 + m), theta_i ~ N(mu, tau^2); s the shares of the sizes in
    the reading, c its concentration, m its measurement variance. mu ~ N(m0, s0^2/n0). Given sigma^2 and
    tau^2 all is normal and closed; these two run over a grid. sigma^2 has the prior of Jeffreys' rule,
    tau / sigma one that makes intervals hold as often as they say (`between_grid`), and both are held a
    little towards what the prior thinks of them.
    tau^2 stays at the prior's value until two sizes have readings, sigma^2 until there is a reading.

    Parameters
    ----------
    readings : Readings
        Readings of `gather_readings`, none or more; ratios [-]
    prior : RatioPrior
        Mean [-], sd [-] of spans about it, and how many readings they are worth [-]

    Returns
    -------
    RatioFit
        Weighted nodes: variances [-] (nodes,), means [-] (nodes, 1 + sizes), covariances [-]

    Raises
    ------
    ValueError
        If the prior is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., sections 5.4 and 14.8.
    .. [2] Box, G. E. P. and Tiao, G. C., "Bayesian Inference in Statistical Analysis" (1973), ch. 5.
    """
    within, log_within, summary = within_grid(
        readings,
        origin=prior.mean,
        spread=prior.sd**2 * (1 - prior.between_share),
        worth=prior.readings,
    )
    between, log_between = between_grid(
        summary, within, spread=prior.sd**2 * prior.between_share, worth=prior.readings
    )
    precision, moment = _normal_equations(summary.precisions, summary.moments, between)
    precision[..., 0, 0] += prior.readings / prior.sd**2
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    means = np.einsum("stij,stj->sti", covariance, moment)
    log_weight: Floats = (
        summary.log_likelihoods[:, None]
        + 0.5 * np.einsum("sti,sti->st", moment, means)
        - 0.5 * np.linalg.slogdet(precision)[1]
        - 0.5 * readings.number_of_sizes * np.log(between)
        + log_within[:, None]
        + log_between
    )
    means[..., 0] += prior.mean
    return _keep_what_matters(log_weight, within, between, means, covariance)


def predict_size(
    fit: RatioFit, *, size: int | None, confidence: float, limits: tuple[float, float] | None = None
) -> RatioPrediction:
    """A size's own mean ratio: where the mean of ever more spans of it would settle.

    A mixture of normals over the nodes: mean mu + u_i, variance that of their sum; a size never seen adds
    tau^2.

    Parameters
    ----------
    fit : RatioFit
        Fit of `fit_ratios` [-]
    size : int or None
        Index of the cable size; None for one never seen [-]
    confidence : float
        Probability of the interval, equal on both sides, 0 to 1 exclusive [-]
    limits : tuple of float, optional
        Least and greatest value that can be, to which predictions are drawn in [-]

    Returns
    -------
    RatioPrediction
        Mean, sd and interval [-]

    Raises
    ------
    ValueError
        If the size is unknown or the confidence or the limits are out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.4.
    """
    means, variances = _combine(fit, [size], np.ones(1))
    return _describe(fit.weights, means, np.sqrt(variances), confidence, limits)


def predict_spans(
    fit: RatioFit,
    *,
    sizes: Sequence[int | None],
    volumes: Sequence[float],
    confidence: float,
    limits: tuple[float, float] | None = None,
) -> RatioPrediction:
    """Ratio of a new span, or of the total of several over the sum of their volumes.

    A mixture of normals over the nodes: to the variance of the sizes' means, weighted by the volumes, comes
    sigma^2 sum V^2 / (sum V)^2. Spans of a size never seen share one unknown mean.

    Parameters
    ----------
    fit : RatioFit
        Fit of `fit_ratios` [-]
    sizes : sequence of int or None (spans,)
        Index of each span's cable size; None for one never seen [-]
    volumes : sequence of float (spans,)
        What the ratio is over, > 0 [any unit of volume]
    confidence : float
        Probability of the interval, equal on both sides, 0 to 1 exclusive [-]
    limits : tuple of float, optional
        Least and greatest value that can be, to which predictions are drawn in [-]

    Returns
    -------
    RatioPrediction
        Mean, sd and interval [-]

    Raises
    ------
    ValueError
        If there is no span, a size is unknown or a value is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.4.
    """
    amounts = np.asarray(volumes, dtype=np.float64)
    if not sizes or amounts.shape != (len(sizes),):
        raise ValueError(f"volumes must be as many as the sizes, {len(sizes)}, and at least one")
    if not np.all(np.isfinite(amounts) & (amounts > 0)):
        raise ValueError("volumes must be above 0: a span has a bore")
    shares = amounts / amounts.sum()
    means, variances = _combine(fit, sizes, shares)
    sds = np.sqrt(variances + fit.within_variances * (shares**2).sum())
    return _describe(fit.weights, means, sds, confidence, limits)


def _normal_equations(precisions: Floats, moments: Floats, between: Floats) -> tuple[Floats, Floats]:
    """Precision (within, between, 1 + sizes, 1 + sizes) and moment of the mean and the sizes' deviations."""
    sizes = moments.shape[1]
    spread = np.concatenate([np.ones((1, sizes)), np.eye(sizes)])
    data = np.einsum("ik,skl,jl->sij", spread, precisions, spread)
    nodes = between.shape[1]
    precision = np.repeat(data[:, None], nodes, axis=1)
    diagonal = np.arange(1, sizes + 1)
    precision[..., diagonal, diagonal] += 1 / between[..., None]
    return precision, np.repeat((moments @ spread.T)[:, None], nodes, axis=1)


def _keep_what_matters(
    log_weight: Floats, within: Floats, between: Floats, means: Floats, covariance: Floats
) -> RatioFit:
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    rows, columns = np.nonzero(weights > NEGLIGIBLE_WEIGHT)
    kept = weights[rows, columns]
    return RatioFit(
        weights=kept / kept.sum(),
        within_variances=within[rows],
        between_variances=between[rows, columns],
        means=means[rows, columns],
        covariances=covariance[rows, columns],
    )


def _combine(fit: RatioFit, sizes: Sequence[int | None], shares: Floats) -> tuple[Floats, Floats]:
    """Mean and variance, at every node, of the sizes' means weighted by the shares."""
    known = fit.means.shape[1] - 1
    factors, unseen = np.zeros(known + 1), 0.0
    factors[0] = 1.0
    for size, share in zip(sizes, shares, strict=True):
        if size is None:
            unseen += share
        elif 0 <= size < known:
            factors[1 + size] += share
        else:
            raise ValueError(f"size must be 0 to {known - 1}, or None for one never seen, not {size}")
    variances = np.einsum("i,nij,j->n", factors, fit.covariances, factors)
    return fit.means @ factors, variances + unseen**2 * fit.between_variances


def _describe(
    weights: Floats, means: Floats, sds: Floats, confidence: float, limits: tuple[float, float] | None
) -> RatioPrediction:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, not {confidence:g}")
    low, high = limits or (-np.inf, np.inf)
    if not low < high:
        raise ValueError(f"limits must rise, not {low:g} to {high:g}")
    ends = [_mixture_quantile(weights, means, sds, (1 + side * confidence) / 2) for side in (-1, 1)]
    if limits is None:
        mean = float(weights @ means)
        variance = float(weights @ (sds**2 + (means - mean) ** 2))
    else:
        mean, variance = _drawn_in_moments(weights, means, sds, low, high)
    interval = (float(np.clip(ends[0], low, high)), float(np.clip(ends[1], low, high)))
    return RatioPrediction(mean=mean, sd=float(np.sqrt(max(variance, 0.0))), interval=interval)


def _mixture_quantile(weights: Floats, means: Floats, sds: Floats, probability: float) -> float:
    points = means + sds * ndtri(probability)
    low, high = float(points.min()), float(points.max())
    if high - low <= 1e-12 * (1 + abs(high)):
        return low
    # The mixture's quantile lies between those of its parts; rounding must not hide the change of sign.
    margin = 1e-9 * (high - low)

    def excess(value: float) -> float:
        return float(weights @ ndtr((value - means) / sds)) - probability

    return float(brentq(excess, low - margin, high + margin, xtol=1e-12))


def _drawn_in_moments(
    weights: Floats, means: Floats, sds: Floats, low: float, high: float
) -> tuple[float, float]:
    """Mean and variance of the mixture when what lies outside the limits counts as lying on them."""
    a, b = (low - means) / sds, (high - means) / sds
    inside = ndtr(b) - ndtr(a)
    density_a, density_b = (np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) for z in (a, b))
    first = means * inside + sds * (density_a - density_b)
    second = (means**2 + sds**2) * inside + sds * ((means + low) * density_a - (means + high) * density_b)
    first += low * ndtr(a) + high * ndtr(-b)
    second += low**2 * ndtr(a) + high**2 * ndtr(-b)
    mean = float(weights @ first)
    return mean, float(weights @ second) - mean**2
