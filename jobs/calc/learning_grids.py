"""The two variances that a fit of ratios integrates over: where to look, and what is thought of them before.

Both grids are laid in the logarithm, where a variance's likelihood is smooth; that of the span-to-span
variance is narrowed to where it has weight, at first with a part of the readings where there are many.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jobs.calc.learning_axes import Axes, scatter_information
from jobs.calc.learning_readings import Readings

Floats = NDArray[np.float64]
COARSE_NODES, FINE_NODES = 19, 13
LOG_NEGLIGIBLE = 12.0
ROUNDS = 3
# Where there are more readings, so many of them say roughly where the others need to look.
ENOUGH_TO_LOOK = 4_000
# How much of a prior's readings count for a variance. With more, three sizes or three spans whose scatter is
# not the one thought of would get intervals too wide or too narrow; measured by the coverage benchmark.
WITHIN_WORTH, BETWEEN_WORTH = 0.1, 0.1
# Scatter of the sizes over that of their spans, 0 for sizes that are alike.
RATIOS = np.concatenate([[0.0], np.geomspace(0.03, 300.0, 36)])
# Sizes that are alike weigh as much as a scatter known to a factor e, and more where few readings are spare.
ALIKE_WEIGHT, ALIKE_SPARE = 1.0, 1.0


@dataclass(frozen=True)
class Summary:
    """The readings as the sizes' normal equations, for each span-to-span variance of a grid."""

    precisions: Floats
    moments: Floats
    log_likelihoods: Floats
    log_priors: Floats
    number_of_readings: int

    def take(self, nodes: NDArray[np.int64]) -> "Summary":
        """The same for some of the variances."""
        return Summary(
            self.precisions[nodes],
            self.moments[nodes],
            self.log_likelihoods[nodes],
            self.log_priors[nodes],
            self.number_of_readings,
        )


def summarise_readings(readings: Readings, within: Floats, origin: float) -> Summary:
    """Normal equations X'WX and X'W(y - origin) of the sizes, with W = 1 / (c sigma^2 + m).

    The log likelihood leaves out what the sizes explain: (sum ln w - sum w (y - origin)^2) / 2. The log prior
    is Jeffreys' for sigma^2, half of ln sum (c w)^2.

    Parameters
    ----------
    readings : Readings
        Readings, ratios [-]
    within : array (nodes,)
        Span-to-span variances sigma^2, > 0 [-]
    origin : float
        Ratio from which deviations are counted [-]

    Returns
    -------
    Summary
        precisions (nodes, sizes, sizes), moments (nodes, sizes), log likelihoods and priors (nodes,) [-]

    Raises
    ------
    ValueError
        If a variance is not above 0.

    References
    ----------
    .. [1] Searle, Casella and McCulloch, "Variance Components", ch. 6.
    """
    if not np.all(within > 0):
        raise ValueError("within must be above 0")
    k = readings.number_of_sizes
    deviations = readings.ratios - origin
    is_single = np.ones(len(deviations), dtype=bool)
    is_single[readings.mixed] = False
    precisions, moments = np.zeros((len(within), k, k)), np.zeros((len(within), k))
    logs, priors = np.zeros(len(within)), np.zeros(len(within))
    diagonal = np.arange(k)
    for node, variance in enumerate(within):
        w = 1 / (readings.concentrations * variance + readings.measurement_variances)
        wy = w * deviations
        precisions[node, diagonal, diagonal] = np.bincount(readings.only_sizes, w * is_single, k)
        moments[node] = np.bincount(readings.only_sizes, wy * is_single, k)
        if len(readings.mixed):
            precisions[node] += (readings.shares.T * w[readings.mixed]) @ readings.shares
            moments[node] += readings.shares.T @ wy[readings.mixed]
        logs[node] = 0.5 * (np.log(w).sum() - wy @ deviations)
        scaled = w * readings.concentrations
        priors[node] = 0.5 * np.log(scaled @ scaled) if len(w) else 0.0
    return Summary(precisions, moments, logs, priors, len(deviations))


def within_grid(
    readings: Readings, *, origin: float, spread: float, worth: float
) -> tuple[Floats, Floats, Summary]:
    """Span-to-span variances that the readings leave possible, with the logarithm of their prior weights.

    The likelihood used to look is that of the readings within their sizes: the normal equations without
    between-size variance taken into account. The prior is Jeffreys', times that of a scaled
    inverse chi-squared distribution about `spread` with a part of `worth` as its degrees of freedom.

    Parameters
    ----------
    readings : Readings
        Readings, ratios [-]
    origin : float
        Ratio from which deviations are counted [-]
    spread : float
        Variance thought of before any reading, > 0 [-]
    worth : float
        Readings which that is worth, > 0 [-]

    Returns
    -------
    tuple of array (nodes,), array (nodes,), Summary
        Variances [-], log weights with the width of the grid's cells [-], normal equations at them [-]

    Raises
    ------
    ValueError
        If a parameter is not above 0.

    References
    ----------
    .. [1] Box, G. E. P. and Tiao, G. C., "Bayesian Inference in Statistical Analysis" (1973), ch. 5.
    """
    if not (spread > 0 and worth > 0):
        raise ValueError("spread and worth must be above 0")
    if not len(readings.ratios):
        only = np.array([spread])
        return only, np.zeros(1), summarise_readings(readings, only, origin)
    grid = _coarse_grid(readings, origin, spread, worth)
    for _ in range(ROUNDS):
        summary = summarise_readings(readings, grid, origin)
        log_prior = _log_prior(summary, grid, spread, worth)
        possible = _possible(log_prior + _within_log_likelihood(summary))
        if len(possible) >= FINE_NODES // 2:
            break
        low, high = max(possible[0] - 1, 0), min(possible[-1] + 1, len(grid) - 1)
        grid = np.geomspace(grid[low], grid[high], FINE_NODES)
    return grid[possible], log_prior[possible], summary.take(possible)


def between_grid(
    summary: Summary, axes: Axes, within: Floats, *, spread: float, worth: float
) -> tuple[Floats, Floats]:
    """Between-size variances that may be, for each span-to-span variance, and their log prior weights.

    Nodes tau = r sigma, r = 0 and a logarithmic grid. The weight on the latter follows Jeffreys' rule for
    ln tau (`weigh_ratios`) and falls off where tau^2 passes `spread`, as so many readings as a part of
    `worth` would have it. One size says nothing of the others: until two have readings the variance stays
    at `spread`.

    Parameters
    ----------
    summary : Summary
        Normal equations of `summarise_readings`
    axes : Axes
        Axes of its precisions
    within : array (within nodes,)
        Span-to-span variances sigma^2 [-]
    spread : float
        Variance thought of before any reading, > 0 [-]
    worth : float
        Readings which that is worth, > 0 [-]

    Returns
    -------
    tuple of array (within nodes, nodes)
        Variances [-], log weights [-]

    Raises
    ------
    ValueError
        If a parameter is not above 0.

    References
    ----------
    .. [1] Box, G. E. P. and Tiao, G. C., "Bayesian Inference in Statistical Analysis" (1973), ch. 5.
    """
    if not (spread > 0 and worth > 0):
        raise ValueError("spread and worth must be above 0")
    seen = np.diagonal(summary.precisions[0]) > 0
    if seen.sum() < 2:
        return np.full((len(within), 1), spread), np.zeros((len(within), 1))
    between = within[:, None] * RATIOS**2
    with np.errstate(divide="ignore"):
        log_weight = np.log(weigh_ratios(axes, between, spare=summary.number_of_readings - axes.rank))
    return between, log_weight - 0.5 * BETWEEN_WORTH * worth * np.log1p(between / spread)


def weigh_ratios(axes: Axes, between: Floats, *, spare: int) -> Floats:
    """What each scatter of the sizes weighs before the readings' values are looked at.

    Jeffreys' rule for ln tau on the nodes above 0, at 0 a weight of its own: 1 + 1 / spare. Readings that are
    no more than the sizes' means cannot tell the sizes' scatter from the spans', and sizes count as alike.

    Parameters
    ----------
    axes : Axes
        Axes (..., k) of the readings' normal equations
    between : array (..., nodes)
        Variances tau^2 on a grid that is 0 first and even in the logarithm from there on [-]
    spare : int
        Readings beyond what the sizes' means take [-]

    Returns
    -------
    array (..., nodes)
        Weights, their sum 1 [-]

    References
    ----------
    .. [1] Box, G. E. P. and Tiao, G. C., "Bayesian Inference in Statistical Analysis" (1973), ch. 5. The
       weight of sizes that are alike is this project's, for even coverage at every scatter.
    """
    weights = np.zeros(between.shape)
    weights[..., 0] = 1.0
    if spare > 0 and axes.rank > 1:
        step = 0.5 * np.log(between[..., 2:3] / between[..., 1:2])
        weights[..., 1:] = step * scatter_information(axes, between[..., 1:])
        weights[..., 0] = ALIKE_WEIGHT * (1 + ALIKE_SPARE / spare)
    found: Floats = weights / weights.sum(axis=-1, keepdims=True)
    return found


def _coarse_grid(readings: Readings, origin: float, spread: float, worth: float) -> Floats:
    """Where to begin to look: nearly everywhere, or where a part of many readings says."""
    scale = max(float(readings.ratios.var()), spread)
    everywhere = np.geomspace(1e-5 * scale, 1e2 * scale, COARSE_NODES)
    if len(readings.ratios) <= 2 * ENOUGH_TO_LOOK:
        return everywhere
    part = readings.take(np.arange(0, len(readings.ratios), len(readings.ratios) // ENOUGH_TO_LOOK))
    grid, _log_prior, _summary = within_grid(part, origin=origin, spread=spread, worth=worth)
    step = grid[1] / grid[0]
    return np.geomspace(grid[0] / step, grid[-1] * step, FINE_NODES)


def _possible(log_weight: Floats) -> NDArray[np.int64]:
    return np.flatnonzero(log_weight > log_weight.max() - LOG_NEGLIGIBLE)


def _log_prior(summary: Summary, grid: Floats, spread: float, worth: float) -> Floats:
    """Log weight of each variance before the readings."""
    thought = 0.5 * WITHIN_WORTH * worth * (np.log(grid) + spread / grid)
    found: Floats = summary.log_priors - thought + np.log(grid)
    return found


def _within_log_likelihood(summary: Summary) -> Floats:
    """Restricted likelihood of the readings about their sizes' own means."""
    seen = np.diagonal(summary.precisions[0]) > 0
    precisions = summary.precisions[:, seen][:, :, seen]
    # Readings that always mix two sizes leave their difference open; a trace of a prior closes it.
    diagonal = np.arange(seen.sum())
    precisions[:, diagonal, diagonal] *= 1 + 1e-9
    moments = summary.moments[:, seen]
    explained = np.einsum("si,si->s", moments, np.linalg.solve(precisions, moments[..., None])[..., 0])
    found: Floats = summary.log_likelihoods + 0.5 * explained - 0.5 * np.linalg.slogdet(precisions)[1]
    return found
