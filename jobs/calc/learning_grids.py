"""The two variances that a fit of ratios integrates over: where to look, and what is thought of them before.

Both grids are laid in the logarithm, where a variance's likelihood is smooth, and narrowed to where it has
weight.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from jobs.calc.learning_readings import Readings

Floats = NDArray[np.float64]
COARSE_NODES, FINE_NODES, BETWEEN_NODES = 19, 13, 32
LOG_NEGLIGIBLE = 12.0
ROUNDS = 3
# How much of a prior's readings count for a variance. With more, three sizes or three spans whose scatter is
# not the one thought of would get intervals too wide or too narrow; measured by the coverage benchmark.
WITHIN_WORTH, BETWEEN_WORTH = 0.15, 0.5


@dataclass(frozen=True)
class Summary:
    """The readings as the sizes' normal equations, for each span-to-span variance of a grid."""

    precisions: Floats
    moments: Floats
    log_likelihoods: Floats
    log_priors: Floats


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
    return Summary(precisions, moments, logs, priors)


def within_grid(readings: Readings, *, spread: float, worth: float) -> tuple[Floats, Floats]:
    """Span-to-span variances that the readings leave possible, and the logarithm of their prior weights.

    The likelihood used to look is that of the readings within their sizes: the normal equations without
    between-size variance taken into account. The prior is Jeffreys', times that of a scaled
    inverse chi-squared distribution about `spread` with a part of `worth` as its degrees of freedom.

    Parameters
    ----------
    readings : Readings
        Readings, ratios [-]
    spread : float
        Variance thought of before any reading, > 0 [-]
    worth : float
        Readings which that is worth, > 0 [-]

    Returns
    -------
    tuple of array (nodes,)
        Variances [-], log weights with the width of the grid's cells [-]

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
        return np.array([spread]), np.zeros(1)
    origin = float(readings.ratios.mean())
    scale = max(float(readings.ratios.var()), spread)
    grid = np.geomspace(1e-5 * scale, 1e2 * scale, COARSE_NODES)
    for _ in range(ROUNDS):
        log_prior, log_weight = _weigh_within(readings, grid, origin, spread, worth)
        possible = np.flatnonzero(log_weight > log_weight.max() - LOG_NEGLIGIBLE)
        if len(possible) >= FINE_NODES // 2:
            return grid[possible], log_prior[possible]
        low, high = max(possible[0] - 1, 0), min(possible[-1] + 1, len(grid) - 1)
        grid = np.geomspace(grid[low], grid[high], FINE_NODES)
    return grid, _weigh_within(readings, grid, origin, spread, worth)[0]


def between_grid(summary: Summary, *, spread: float, worth: float) -> tuple[Floats, Floats]:
    """Between-size variances that may be, and the logarithm of their prior weights for each sigma^2.

    Jeffreys' prior of the restricted likelihood, the root of sum 1 / (v_i + tau^2)^2 with v_i the variance of
    size i's own mean, times a power of 1 + tau^2 / spread that is a part of `worth`, brought to one for each
    sigma^2. One size says nothing of the others: until two
    have readings the variance stays at `spread`.

    Parameters
    ----------
    summary : Summary
        Normal equations of `summarise_readings`
    spread : float
        Variance thought of before any reading, > 0 [-]
    worth : float
        Readings which that is worth, > 0 [-]

    Returns
    -------
    tuple of array
        Variances (nodes,) [-], log weights (within nodes, nodes) [-]

    Raises
    ------
    ValueError
        If a parameter is not above 0.

    References
    ----------
    .. [1] Bodnar, O. et al., "Bayesian estimation in random effects meta-analysis using a non-informative
       prior", Statistics in Medicine 36 (2017) 378-399.
    """
    if not (spread > 0 and worth > 0):
        raise ValueError("spread and worth must be above 0")
    precisions = np.diagonal(summary.precisions, axis1=1, axis2=2)
    seen = np.flatnonzero(precisions[0] > 0)
    if len(seen) < 2:
        return np.array([spread]), np.zeros((len(precisions), 1))
    variances = 1 / precisions[:, seen]
    middle = len(variances) // 2
    width = float(np.ptp(summary.moments[middle, seen] * variances[middle])) ** 2 + float(
        variances[middle].max()
    )
    lowest = max(1e-3 * float(variances[middle].min()), 1e-5 * width)
    grid = np.geomspace(lowest, 1e2 * width, BETWEEN_NODES)
    jeffreys = 0.5 * np.log((1 / (variances[:, None, :] + grid[None, :, None]) ** 2).sum(axis=2))
    cells = np.log(grid)
    # The lowest node stands for all that is below it, down to none.
    cells[0] += np.log(1 / np.log(grid[1] / grid[0]) + 0.5)
    log_weight = jeffreys - 0.5 * BETWEEN_WORTH * worth * np.log1p(grid / spread) + cells
    # Not brought to one, these weights would favour a small sigma^2, since v grows with it.
    return grid, log_weight - logsumexp(log_weight, axis=1, keepdims=True)


def _weigh_within(
    readings: Readings, grid: Floats, origin: float, spread: float, worth: float
) -> tuple[Floats, Floats]:
    """Log weight of each variance before the readings, and after them as far as one size shows it."""
    summary = summarise_readings(readings, grid, origin)
    thought = 0.5 * WITHIN_WORTH * worth * (np.log(grid) + spread / grid)
    log_prior = summary.log_priors - thought + np.log(grid)
    return log_prior, log_prior + _within_log_likelihood(summary)


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
