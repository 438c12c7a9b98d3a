"""Has something begun to differ: a control chart whose false alarms are known beforehand.

Each reading is first compared with those before it of its own kind, which needs nobody to know the true mean
and scatter: while nothing changes, these scores are independent and standard normal from the third reading
on. Their exponentially weighted average is then watched. A change that stays is taken for usual in the end,
so what the chart finds it finds early.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri, stdtr

Floats = NDArray[np.float64]
# Nodes of the quadrature: the run lengths stay as they are to six digits when there are twice as many.
NODES = 61
# Past eight standard deviations a score says no more than that.
LARGEST_SCORE = 8.0


@dataclass(frozen=True)
class ChartPoint:
    """The weighted average after a reading, and whether it left the limits there (up 1, down -1, else 0)."""

    average: float
    signal: int


def score_readings(*, values: Sequence[float], weights: Sequence[float] | None = None) -> list[float | None]:
    """Standard normal score of each reading against the mean and scatter of those before it.

    With weights w (x_i has variance sigma^2 / w_i), W and m the weight and weighted mean of the earlier n - 1
    readings and s^2 = sum w (x - m)^2 / (n - 2):
    t_n = (x_n - m) / (s sqrt(1 / w_n + 1 / W)), score = inverse normal of Student's t with n - 2 degrees of
    freedom at t_n. Independent and standard normal while normal readings keep their mean and scatter.

    Parameters
    ----------
    values : sequence of float (n,)
        Readings in the order of time [any unit]
    weights : sequence of float (n,), optional
        Their weights, > 0, 1 each by default [-]

    Returns
    -------
    list of float or None (n,)
        Scores [-]; None for the first two, and while all earlier readings are equal

    Raises
    ------
    ValueError
        If a value is not finite, or the weights do not fit.

    References
    ----------
    .. [1] Quesenberry, C. P., "SPC Q charts for start-up processes and short or long runs", Journal of
       Quality Technology 23 (1991) 213-224: the statistic of case IV, mean and variance unknown.
    .. [2] Hawkins, D. M., "Self-starting cusum charts for location and scale", The Statistician 36 (1987)
       299-315.
    """
    x = np.asarray(values, dtype=np.float64)
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=np.float64)
    if x.ndim != 1 or not np.all(np.isfinite(x)):
        raise ValueError("values must be finite numbers in one list")
    if w.shape != x.shape or not np.all(np.isfinite(w) & (w > 0)):
        raise ValueError("weights must be above 0, one for each value")
    scores: list[float | None] = []
    total = mean = squares = 0.0
    for number, (value, weight) in enumerate(zip(x, w, strict=True)):
        scores.append(_score(float(value), float(weight), number, total, mean, squares))
        # Welford's update with weights.
        total += float(weight)
        step = float(value) - mean
        mean += step * float(weight) / total
        squares += float(weight) * step * (float(value) - mean)
    return scores


def _score(
    value: float, weight: float, earlier: int, total: float, mean: float, squares: float
) -> float | None:
    # Readings that are equal but for rounding have no scatter.
    if earlier < 2 or squares <= 1e-24 * total * max(mean * mean, 1e-300):
        return None
    spread = math.sqrt(squares / (earlier - 1)) * math.sqrt(1 / weight + 1 / total)
    # By the lower tail, which is exact where the upper one would round to 1.
    deviation = (value - mean) / spread
    score = float(ndtri(stdtr(earlier - 1, -abs(deviation))))
    return math.copysign(min(-score, LARGEST_SCORE), deviation)


def chart_drift(*, scores: Sequence[float], weight: float, limit: float) -> list[ChartPoint]:
    """Exponentially weighted average of scores, z_n = (1 - r) z_(n-1) + r x_n, z_0 = 0, against its limits.

    It signals where |z| > L sqrt(r / (2 - r)), and begins anew behind each signal.

    Parameters
    ----------
    scores : sequence of float (n,)
        Standard normal while nothing changes [-]
    weight : float
        Weight r of a new score, above 0 and at most 1 [-]
    limit : float
        Limit L in standard deviations of the average, > 0 [-]

    Returns
    -------
    list of ChartPoint (n,)
        Averages [-] and signals

    Raises
    ------
    ValueError
        If weight or limit is out of range.

    References
    ----------
    .. [1] Roberts, S. W., "Control chart tests based on geometric moving averages", Technometrics 1 (1959)
       239-250.
    """
    edge = _edge(weight, limit)
    points, average = [], 0.0
    for score in scores:
        average = (1 - weight) * average + weight * score
        signal = int(average > edge) - int(average < -edge)
        points.append(ChartPoint(average, signal))
        average = 0.0 if signal else average
    return points


def chart_run_length(*, weight: float, limit: float, shift: float = 0.0) -> float:
    """Mean number of readings until the chart signals, after the mean of the scores shifts.

    A(z) = 1 + 1/r int_(-h)^h A(u) phi((u - (1 - r) z) / r - shift) du, h = L sqrt(r / (2 - r)), solved at
    Gauss-Legendre nodes. Without a shift, one over it is the rate of false alarms per reading.

    Parameters
    ----------
    weight : float
        Weight r of a new score, above 0 and at most 1 [-]
    limit : float
        Limit L in standard deviations of the average, > 0 [-]
    shift : float
        Shift of the mean, in standard deviations of a score [-]

    Returns
    -------
    float
        Mean run length [readings]

    Raises
    ------
    ValueError
        If weight or limit is out of range.

    References
    ----------
    .. [1] Crowder, S. V., "A simple method for studying run-length distributions of exponentially weighted
       moving average charts", Technometrics 29 (1987) 401-407.
    """
    kernel, start = _kernel(weight, limit, shift)
    lengths = np.linalg.solve(np.eye(len(kernel)) - kernel, np.ones(len(kernel)))
    return float(1 + start @ lengths)


def chart_limit(*, weight: float, run_length: float) -> float:
    """The limit that gives a chart its mean run length while nothing changes: the inverse of the above.

    Parameters
    ----------
    weight : float
        Weight r of a new score, above 0 and at most 1 [-]
    run_length : float
        Mean readings between false alarms, 10 to 100 000 [readings]

    Returns
    -------
    float
        Limit L in standard deviations of the average [-]

    Raises
    ------
    ValueError
        If weight or run length is out of range.

    References
    ----------
    .. [1] Lucas, J. M. and Saccucci, M. S., "Exponentially weighted moving average control schemes:
       properties and enhancements", Technometrics 32 (1990) 1-12.
    """
    if not 10 <= run_length <= 100_000:
        raise ValueError(f"run_length must be between 10 and 100000, not {run_length:g}")
    return float(
        brentq(lambda limit: chart_run_length(weight=weight, limit=limit) - run_length, 0.2, 6.0, xtol=1e-10)
    )


def false_alarm_chance(*, weight: float, limit: float, readings: int) -> float:
    """Chance that a chart signals within so many readings though nothing changes.

    One minus the chance to stay within the limits, carried from reading to reading over the same nodes.

    Parameters
    ----------
    weight : float
        Weight r of a new score, above 0 and at most 1 [-]
    limit : float
        Limit L in standard deviations of the average, > 0 [-]
    readings : int
        Number of readings, >= 0 [readings]

    Returns
    -------
    float
        Chance, 0 to 1 [-]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Crowder, S. V., "A simple method for studying run-length distributions of exponentially weighted
       moving average charts", Technometrics 29 (1987) 401-407.
    """
    if readings < 0:
        raise ValueError(f"readings must be at least 0, not {readings}")
    kernel, start = _kernel(weight, limit, 0.0)
    if readings == 0:
        return 0.0
    if readings == 1:
        edge = _edge(weight, limit) / weight
        return float(2 * ndtr(-edge))
    staying: Floats = np.ones(len(kernel))
    for _reading in range(readings - 1):
        staying = kernel @ staying
    return min(max(1 - float(start @ staying), 0.0), 1.0)


def _edge(weight: float, limit: float) -> float:
    if not 0 < weight <= 1:
        raise ValueError(f"weight must be above 0 and at most 1, not {weight:g}")
    if not 0 < limit < math.inf:
        raise ValueError(f"limit must be above 0, not {limit:g}")
    return limit * math.sqrt(weight / (2 - weight))


def _kernel(weight: float, limit: float, shift: float) -> tuple[Floats, Floats]:
    """From node to node the chance to get there, by the nodes' weights; and the same from 0."""
    if not math.isfinite(shift):
        raise ValueError("shift must be finite")
    edge = _edge(weight, limit)
    # A light weight moves in small steps, which need nodes close enough to be seen.
    count = max(NODES, math.ceil(8 * edge / weight))
    nodes, shares = np.polynomial.legendre.leggauss(count)
    nodes, shares = nodes * edge, shares * edge

    def density(starts: Floats) -> Floats:
        steps = (nodes[None, :] - (1 - weight) * starts[:, None]) / weight - shift
        chances: Floats = np.exp(-0.5 * steps**2) / math.sqrt(2 * math.pi) / weight * shares[None, :]
        return chances

    return density(nodes), density(np.zeros(1))[0]
