"""At which level an interval must be taken to hold as often as it says, where few sizes have been read.

With three sizes their scatter can hardly be told, and no weighing of scatters beforehand makes intervals hold
equally often whether sizes are alike or differ much. How often they hold depends on the design alone, who was
read with whom, and on that scatter; so it is found by drawing readings of this design at many scatters. The
level is then the mean over the scatters that the real readings leave possible.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtri, stdtr

from jobs.calc.learning_axes import Axes, turn_to_axes
from jobs.calc.learning_grids import RATIOS, weigh_ratios

Floats = NDArray[np.float64]
# With more sizes intervals hold within a percent of what they say as they are.
MOST_SIZES = 8
SCATTERS = np.array([0, 0.2, 0.5, 1, 2, 4, 10, 40])
NODES = np.concatenate([RATIOS[:1], RATIOS[1::3]])
SETS, ROUNDS = 4096, 1
# Where sizes are alike the logarithm of their scatter is put here.
LEAST_RATIO = 0.03
# Student's t is looked up: exact values would take most of the time.
DEVIATES = np.sinh(np.linspace(-9, 9, 1201))


@dataclass(frozen=True)
class Design:
    """Sizes that have readings, their X'WX in units of 1 / sigma^2, and readings beyond their means."""

    seen: tuple[int, ...]
    precision: Floats
    spare: int


def nominal_levels(design: Design, *, ratios: Floats, confidence: float) -> Floats:
    """Level at each scatter of the sizes for a span of each size seen and, last, of a size never seen.

    For scatters r of a grid readings are drawn as this design would give them, fitted, and one more span is
    held against its prediction. The level is moved until the share of spans inside is the confidence at every
    r, as near as it gets. The instruments' part is that of spans that scatter as was thought beforehand.

    Parameters
    ----------
    design : Design
        Two sizes or more, and one spare reading or more
    ratios : array (nodes,)
        Scatter of the sizes over that of their spans, >= 0 [-]
    confidence : float
        How often the interval is to hold, 0 to 1 exclusive [-]

    Returns
    -------
    array (nodes, sizes + 1)
        Levels [-]

    References
    ----------
    .. [1] Beran, R., "Calibrating prediction regions", Journal of the American Statistical Association 85
       (1990) 715-723: levels found by simulation.
    """
    # In an order of its own, so that the sizes' names and their order change nothing.
    order = np.argsort(np.diagonal(design.precision), kind="stable")
    precision = np.ascontiguousarray(np.round(design.precision[np.ix_(order, order)], 9))
    levels = _find_levels(precision.tobytes(), len(order), design.spare, confidence)
    return _at(levels[:, np.append(np.argsort(order), len(order))], ratios)


@lru_cache(maxsize=1024)
def _find_levels(precision: bytes, sizes: int, spare: int, confidence: float) -> Floats:
    axes = turn_to_axes(np.frombuffer(precision).reshape(sizes, sizes))
    weights, depths = _try(axes, spare)
    levels = np.quantile(depths, confidence, axis=1)
    for _ in range(ROUNDS):
        taken = weights @ _at(levels, NODES)
        levels = np.clip(levels + confidence - (depths <= taken).mean(axis=1), 0.5 * confidence, 0.9999)
    return levels


def _at(levels: Floats, ratios: Floats) -> Floats:
    known, asked = (np.log(np.maximum(values, LEAST_RATIO)) for values in (SCATTERS, ratios))
    return np.stack([np.interp(asked, known, column) for column in levels.T], axis=1)


def _try(axes: Axes, spare: int) -> tuple[Floats, Floats]:
    """Weights (scatters, sets, nodes) of fits to drawn readings, and how deep in the tails new spans lie.

    The depth (scatters, sets, sizes + 1) is the level of the least interval, equal on both sides, that holds
    the span. Mean 0 and sigma 1 stand for all: given r, the span's deviate is Student's t.
    """
    sizes, freedom = len(axes.values), spare + axes.rank - 1
    points = _fill_evenly(SETS, 3 * sizes + 3)
    normal = ndtri(points[:, 1:])
    own, noise, spans, unseen = np.split(normal, [sizes, 2 * sizes, 3 * sizes + 1], axis=1)
    squares = np.tile(2 * gammaincinv(spare / 2, points[:, 0]), len(SCATTERS))
    r = SCATTERS[:, None, None]
    moments = (axes.values * r * own + np.sqrt(axes.values) * noise).reshape(-1, sizes)
    truths = np.concatenate([r * (own @ axes.vectors.T), r * unseen], axis=2) + spans
    table = stdtr(freedom, DEVIATES)
    prior = np.log(np.maximum(weigh_ratios(axes, NODES**2, spare=spare), 1e-300))
    logs, below = [], []
    for ratio, before in zip(NODES, prior, strict=True):
        log, means, sds = _fit(axes, moments, squares, freedom, ratio)
        logs.append(log + before)
        below.append(np.interp((truths.reshape(means.shape) - means) / sds, DEVIATES, table))
    weights = np.exp(np.array(logs) - np.max(logs, axis=0))
    weights /= weights.sum(axis=0)
    depths = abs(2 * np.einsum("gn,gni->ni", weights, np.array(below)) - 1)
    shape = (len(SCATTERS), SETS, -1)
    return weights.T.reshape(shape), depths.reshape(shape)


def _fill_evenly(number: int, dimensions: int) -> Floats:
    """Points in the unit cube that leave less to chance than drawn ones: multiples of a root's powers."""
    root = 2.0
    for _ in range(50):
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1)
    return np.asarray((0.5 + np.arange(1, number + 1)[:, None] * steps) % 1, dtype=np.float64)


def _fit(
    axes: Axes, moments: Floats, squares: Floats, freedom: int, ratio: float
) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of one scatter (sets,), and means and sds of new spans (sets, sizes + 1)."""
    values, loads, turn = axes.values, axes.loads, axes.vectors
    damping = 1 / (1 + values * ratio**2)
    total = (loads**2 * values) @ damping
    mean = moments @ (loads * damping) / total
    seen = values > 0
    squares = squares + moments[:, seen] ** 2 @ (damping[seen] / values[seen]) - total * mean**2
    pull = turn @ (loads * damping)
    means = (moments * (ratio**2 * damping)) @ turn.T + mean[:, None] * pull
    variances = 1 + turn**2 @ (ratio**2 * damping) + pull**2 / total
    scale = np.sqrt(squares / freedom)[:, None]
    every = np.append(variances, 1 + ratio**2 + 1 / total)
    log = 0.5 * (np.log(damping).sum() - np.log(total) - freedom * np.log(squares))
    return log, np.concatenate([means, mean[:, None]], axis=1), scale * np.sqrt(every)
