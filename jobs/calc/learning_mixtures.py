"""Mixtures of normals, which is what a fit over a grid of variances predicts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]
# Ends of intervals, in parts of the least spread of a node.
PRECISION, MOST_STEPS = 1e-9, 100


@dataclass(frozen=True)
class RatioPrediction:
    """Mean, standard deviation and interval of a ratio [-]."""

    mean: float
    sd: float
    interval: tuple[float, float]


def describe_mixtures(
    weights: Floats, means: Floats, sds: Floats, levels: Floats, limits: tuple[float, float] | None = None
) -> list[RatioPrediction]:
    """Mean, standard deviation and interval of mixtures of normals that share their weights.

    Parameters
    ----------
    weights : array (nodes,)
        Weights, their sum 1 [-]
    means, sds : array (nodes, mixtures)
        Means and standard deviations, > 0 [-]
    levels : array (mixtures,)
        Probability of each interval, equal on both sides, 0 to 1 exclusive [-]
    limits : tuple of float, optional
        Least and greatest value that can be; what lies outside counts as lying on them [-]

    Returns
    -------
    list of RatioPrediction
        One for each mixture [-]

    Raises
    ------
    ValueError
        If the limits do not rise.

    References
    ----------
    .. [1] McLachlan, G. and Peel, D., "Finite Mixture Models" (2000), ch. 1.
    """
    low, high = limits or (-np.inf, np.inf)
    if not low < high:
        raise ValueError(f"limits must rise, not {low:g} to {high:g}")
    ends = np.clip(_mixture_quantiles(weights, means, sds, levels), low, high)
    if limits is None:
        mean = weights @ means
        variance = weights @ (sds**2 + (means - mean) ** 2)
    else:
        mean, variance = _drawn_in_moments(weights, means, sds, low, high)
    spread = np.sqrt(np.maximum(variance, 0.0))
    return [
        RatioPrediction(mean=float(m), sd=float(sd), interval=(float(least), float(most)))
        for m, sd, (least, most) in zip(mean, spread, ends, strict=True)
    ]


def _mixture_quantiles(weights: Floats, means: Floats, sds: Floats, levels: Floats) -> Floats:
    """Both ends (totals, 2) of each mixture's interval: Newton's method, halving where it would leave."""
    chances = 0.5 + 0.5 * np.stack([-levels, levels], axis=1)
    means, sds = means[..., None], sds[..., None]
    points = means + sds * ndtri(chances)
    # The mixture's quantile lies between those of its parts.
    low, high = points.min(axis=0), points.max(axis=0)
    least, found = PRECISION * sds.min(axis=0), np.tensordot(weights, points, 1)
    for _ in range(MOST_STEPS):
        deviates = (found - means) / sds
        excess = np.tensordot(weights, ndtr(deviates), 1) - chances
        slope = np.tensordot(weights, np.exp(-0.5 * deviates**2) / sds, 1) / np.sqrt(2 * np.pi)
        low, high = np.where(excess < 0, found, low), np.where(excess < 0, high, found)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            tried = found - excess / slope
        # Rounding must not send it back and forth over the ends.
        tried = np.where((tried >= low) & (tried <= high), tried, 0.5 * (low + high))
        if np.all(abs(tried - found) <= least):
            return np.asarray(tried, dtype=np.float64)
        found = tried
    return np.asarray(found, dtype=np.float64)


def _drawn_in_moments(
    weights: Floats, means: Floats, sds: Floats, low: float, high: float
) -> tuple[Floats, Floats]:
    """Mean and variance of each mixture when what lies outside the limits counts as lying on them."""
    a, b = (low - means) / sds, (high - means) / sds
    inside = ndtr(b) - ndtr(a)
    density_a, density_b = (np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) for z in (a, b))
    first = means * inside + sds * (density_a - density_b)
    second = (means**2 + sds**2) * inside + sds * ((means + low) * density_a - (means + high) * density_b)
    first += low * ndtr(a) + high * ndtr(-b)
    second += low**2 * ndtr(a) + high**2 * ndtr(-b)
    mean = weights @ first
    return mean, weights @ second - mean**2
