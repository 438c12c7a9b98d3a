"""What field reports teach about a ratio, over cable sizes: a fit that says how unsure it is.

The ratio of a span is its size's own mean plus a scatter from span to span; the sizes' means scatter about a
common mean. Both variances are integrated over a grid and not put in as if they were known, since with three
sizes or three spans that would promise too much.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jobs.calc.learning_axes import Axes, turn_to_axes
from jobs.calc.learning_grids import between_grid, summarise_readings, within_grid
from jobs.calc.learning_levels import MOST_SIZES, Design, nominal_levels
from jobs.calc.learning_mixtures import RatioPrediction, describe_mixtures
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
    design: Design | None = None

    @property
    def within_sd(self) -> float:
        return float(np.sqrt(self.weights @ self.within_variances))

    @property
    def between_sd(self) -> float:
        return float(np.sqrt(self.weights @ self.between_variances))


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
    axes = turn_to_axes(summary.precisions)
    between, log_between = between_grid(
        summary, axes, within, spread=prior.sd**2 * prior.between_share, worth=prior.readings
    )
    moments = np.einsum("sij,si->sj", axes.vectors, summary.moments)[:, None]
    damping = 1 / (1 + axes.values[:, None] * between[..., None])
    loads = axes.loads[:, None]
    total = (loads**2 * axes.values[:, None] * damping).sum(axis=-1) + prior.readings / prior.sd**2
    common = (loads * moments * damping).sum(axis=-1)
    explained = (moments**2 * damping).sum(axis=-1) * between + common**2 / total
    log_weight: Floats = (
        summary.log_likelihoods[:, None]
        + 0.5 * (explained + np.log(damping).sum(axis=-1) - np.log(total))
        + log_within[:, None]
        + log_between
    )
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    kept = np.nonzero(weights > NEGLIGIBLE_WEIGHT)
    means, covariances = _join(
        axes, kept[0], moments[kept[0], 0], damping[kept], between[kept], total[kept], common[kept]
    )
    means[:, 0] += prior.mean
    return RatioFit(
        weights=weights[kept] / weights[kept].sum(),
        within_variances=within[kept[0]],
        between_variances=between[kept],
        means=means,
        covariances=covariances,
        design=_find_design(readings, prior),
    )


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
    factors, unseen = _factors(fit, [size], np.ones(1))
    means, variances = _combine(fit, factors[None], np.array([unseen]))
    level = np.array([_checked(confidence)])
    return describe_mixtures(fit.weights, means, np.sqrt(variances), level, limits)[0]


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
    return _predict_totals(fit, [(sizes, amounts / amounts.sum())], _checked(confidence), limits)[0]


def predict_each(
    fit: RatioFit,
    *,
    sizes: Sequence[int | None],
    confidence: float,
    limits: tuple[float, float] | None = None,
) -> list[RatioPrediction]:
    """Ratio of one new span of each size: `predict_spans` for each of them, at once.

    Parameters
    ----------
    fit : RatioFit
        Fit of `fit_ratios` [-]
    sizes : sequence of int or None (sizes,)
        Index of each cable size; None for one never seen [-]
    confidence : float
        Probability of each interval, equal on both sides, 0 to 1 exclusive [-]
    limits : tuple of float, optional
        Least and greatest value that can be, to which predictions are drawn in [-]

    Returns
    -------
    list of RatioPrediction
        Mean, sd and interval [-] of each

    Raises
    ------
    ValueError
        If a size is unknown or a value is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.4.
    """
    return _predict_totals(fit, [([size], np.ones(1)) for size in sizes], _checked(confidence), limits)


def _join(
    axes: Axes,
    rows: NDArray[np.intp],
    moments: Floats,
    damping: Floats,
    between: Floats,
    total: Floats,
    common: Floats,
) -> tuple[Floats, Floats]:
    """Means and covariances of the common mean and the sizes' deviations from it, at the nodes kept."""
    turn, loads = axes.vectors[rows], axes.loads[rows]
    mean = common / total
    # What a size's mean takes of the common one, less the common one itself.
    pull = np.einsum("nij,nj->ni", turn, loads * damping) - 1
    own = np.einsum("nij,nj->ni", turn, between[:, None] * damping * moments)
    means = np.concatenate([mean[:, None], own + pull * mean[:, None]], axis=1)
    shares = np.concatenate([np.ones((len(mean), 1)), pull], axis=1)
    covariances = shares[:, :, None] * shares[:, None, :] / total[:, None, None]
    covariances[:, 1:, 1:] += (turn * (between[:, None] * damping)[:, None]) @ turn.transpose(0, 2, 1)
    return means, covariances


def _find_design(readings: Readings, prior: RatioPrior) -> Design | None:
    """What intervals of few sizes are calibrated by; None where they need it not or it cannot be."""
    within = prior.sd**2 * (1 - prior.between_share)
    precision = within * summarise_readings(readings, np.array([within]), prior.mean).precisions[0]
    seen = np.flatnonzero(np.diagonal(precision) > 0)
    if not 2 <= len(seen) <= MOST_SIZES:
        return None
    precision = precision[np.ix_(seen, seen)]
    spare = len(readings.ratios) - turn_to_axes(precision).rank
    return Design(tuple(seen.tolist()), precision, spare) if spare > 0 else None


def _predict_totals(
    fit: RatioFit,
    totals: Sequence[tuple[Sequence[int | None], Floats]],
    confidence: float,
    limits: tuple[float, float] | None,
) -> list[RatioPrediction]:
    """Each total over spans of some sizes with shares in its volume."""
    found = [_factors(fit, sizes, shares) for sizes, shares in totals]
    factors = np.array([factors for factors, _unseen in found])
    unseen = np.array([unseen for _factors, unseen in found])
    means, variances = _combine(fit, factors, unseen)
    squares = np.array([(shares**2).sum() for _sizes, shares in totals])
    sds = np.sqrt(variances + fit.within_variances[:, None] * squares)
    return describe_mixtures(fit.weights, means, sds, _levels(fit, factors, confidence), limits)


def _factors(fit: RatioFit, sizes: Sequence[int | None], shares: Floats) -> tuple[Floats, float]:
    """What the common mean and each size's deviation weigh in a total, and the share of sizes never seen."""
    known = fit.means.shape[1] - 1
    factors, unseen = np.zeros(known + 1), 0.0
    factors[0] = 1.0
    for size, share in zip(sizes, shares, strict=True):
        if size is None:
            unseen += float(share)
        elif 0 <= size < known:
            factors[1 + size] += share
        else:
            raise ValueError(f"size must be 0 to {known - 1}, or None for one never seen, not {size}")
    return factors, unseen


def _combine(fit: RatioFit, factors: Floats, unseen: Floats) -> tuple[Floats, Floats]:
    """Means and variances (nodes, totals) of the sizes' means weighted by the shares."""
    variances = np.einsum("nkj,kj->nk", factors @ fit.covariances, factors)
    return fit.means @ factors.T, variances + unseen**2 * fit.between_variances[:, None]


def _levels(fit: RatioFit, factors: Floats, confidence: float) -> Floats:
    """The level at which each total's interval holds as often as the confidence says."""
    design = fit.design
    if design is None:
        return np.full(len(factors), confidence)
    ratios = np.sqrt(fit.between_variances / fit.within_variances)
    levels = fit.weights @ nominal_levels(design, ratios=ratios, confidence=confidence)
    shares = factors[:, 1 + np.array(design.seen)]
    return np.asarray(levels[-1] + shares @ (levels[:-1] - levels[-1]), dtype=np.float64)


def _checked(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, not {confidence:g}")
    return confidence
