"""What looking back teaches: by how much the spread of a class of demand must grow to reach its target.

Every period that passes is a lesson: what would have been foreseen when the last order could still go out is
held against what was wanted since. Lessons add up, so the policy and its replay learn the same way.
"""

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import CLASSES
from inventory.calc.ranges import FloatArray
from inventory.calc.stock_levels import LeadTimeDemands, scaled_points

# A class of demand and whether a fill rate is aimed at, else a cycle service.
ClassAimed = tuple[str, bool]
# Between these a factor is found by straight lines.
FACTORS = np.array(
    [0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1, 1.15, 1.3, 1.5, 1.7, 2, 2.3, 2.7, 3.2, 4, 5, 6], dtype=np.float64
)
# Fewer demands than these teach nothing; a factor of 1 counts for as many as the second.
LEAST_SEEN, PRIOR_SEEN = 100, 300
# What was missed under the factors that stood moves the share allowed by half of it, by no more than 3 %.
STEERING, STEERING_LESSONS, MOST_STEERING = 0.5, 2, 0.03


@dataclass(frozen=True)
class Aimed:
    """What was foreseen and aimed at when it could still be ordered, by series, shape (n,).

    Demand over lead time and review [units], order quantity [units], share aimed at [1], whether that is a
    fill rate, and the factor that stood then, NaN where none did.
    """

    demands: LeadTimeDemands
    order_quantity: FloatArray
    share: FloatArray
    is_fill_rate: npt.NDArray[np.bool_]
    stood: FloatArray


@dataclass(frozen=True)
class Lesson:
    """What one period taught of a class: demands seen, what was wanted, of that allowed and missed.

    missed is by factor, shape (k,) as FACTORS. stood_wanted and stood_over are what was wanted, and missed
    beyond what was allowed, where a factor stood. In units times their weight for a fill rate, in lead times
    for a cycle service.
    """

    seen: int
    wanted: float
    allowed: float
    missed: FloatArray
    stood_wanted: float = 0.0
    stood_over: float = 0.0

    def __add__(self, other: "Lesson") -> "Lesson":
        return Lesson(*(mine + others for mine, others in zip(astuple(self), astuple(other), strict=True)))


def factors_by_row(
    factors: Mapping[ClassAimed, float], classes: npt.NDArray[np.object_], is_fill_rate: npt.NDArray[np.bool_]
) -> FloatArray:
    """The factor of each row's class and kind of target.

    Parameters
    ----------
    factors : mapping
        By class and whether a fill rate is aimed at [1]
    classes, is_fill_rate : ndarray
        Of each row, shape (n,) [-]

    Returns
    -------
    ndarray
        NaN where none is known, shape (n,) [1]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] As for `learnt_factor`.
    """
    found = np.full(len(classes), np.nan)
    for (name, kind), factor in factors.items():
        found[(classes == name) & (is_fill_rate == kind)] = factor
    return found


def teach_classes(
    *,
    aimed: Aimed,
    classes: npt.NDArray[np.object_],
    needed: FloatArray,
    needed_before: FloatArray,
    weights: FloatArray,
) -> dict[ClassAimed, Lesson]:
    """One lesson for each class of demand and kind of target, see `teach`.

    Parameters
    ----------
    aimed, needed, needed_before, weights
        As for `teach` [units], [1 per unit]
    classes : ndarray
        Class of each series as it was told then, shape (n,) [-]

    Returns
    -------
    dict
        Lessons by class and whether a fill rate is aimed at; without those that nobody is in [-]

    Raises
    ------
    ValueError
        As for `teach`.

    References
    ----------
    .. [1] As for `teach`.
    """
    found = {}
    for name, kind in product(CLASSES, (True, False)):
        among = (classes == name) & (aimed.is_fill_rate == kind)
        if among.any():
            found[name, kind] = teach(
                aimed=aimed, needed=needed, needed_before=needed_before, weights=weights, among=among
            )
    return found


def teach(
    *,
    aimed: Aimed,
    needed: FloatArray,
    needed_before: FloatArray,
    weights: FloatArray,
    among: npt.NDArray[np.bool_],
) -> Lesson:
    """Hold what was foreseen against what came, for series that share a kind of target.

    For a fill rate the shortage of the last period, mean of (D - y)+ - (D' - y)+ over the positions y from r
    to r + Q; for a cycle service whether D > r.

    Parameters
    ----------
    aimed : Aimed
        As described there, shape (n,) [units]
    needed, needed_before : ndarray
        Demand D over lead time and review as it came, and D' up to its last period, shape (n,) [units]
    weights : ndarray
        What a unit counts for, > 0, shape (n,) [1 per unit]
    among : ndarray
        Which series the lesson is of, shape (n,) [-]

    Returns
    -------
    Lesson
        As described there [units times weight, or lead times]

    Raises
    ------
    ValueError
        If a share or an order quantity is out of range.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., section 5.3.2
       (both kinds of service).
    """
    rows = np.flatnonzero(among)
    demands = LeadTimeDemands(aimed.demands.mean[rows], aimed.demands.sd[rows], aimed.demands.is_whole[rows])
    size, share, kind = aimed.order_quantity[rows], aimed.share[rows], aimed.is_fill_rate[rows]
    last = needed[rows] - needed_before[rows]
    counted = np.where(kind, last * weights[rows], 1.0)
    unit = np.where(kind, weights[rows], 1.0)[:, np.newaxis]

    def missed_at(factor: FloatArray) -> FloatArray:
        point = scaled_points(demands, size, share, kind, factor)
        short = [
            _mean_shortage(demand[rows][:, np.newaxis], point, size[:, np.newaxis], demands.is_whole)
            for demand in (needed, needed_before)
        ]
        cycles = (needed[rows][:, np.newaxis] > point + 1e-9).astype(np.float64)
        return np.asarray(np.where(kind[:, np.newaxis], short[0] - short[1], cycles) * unit)

    stands = ~np.isnan(aimed.stood[rows])
    as_stood = missed_at(np.where(stands, aimed.stood[rows], 1.0)[:, np.newaxis])[:, 0]
    allowed = (1 - share) * counted
    return Lesson(
        seen=int(np.count_nonzero(np.where(kind, last, needed[rows]) > 0)),
        wanted=float(counted.sum()),
        allowed=float(allowed.sum()),
        missed=missed_at(np.broadcast_to(FACTORS, (len(rows), len(FACTORS)))).sum(axis=0),
        stood_wanted=float(counted[stands].sum()),
        stood_over=float((as_stood - allowed)[stands].sum()),
    )


def learnt_factor(lessons: Sequence[Lesson]) -> float | None:
    """The factor under which no more would have been missed than was allowed.

    What was missed under the factors that stood beyond what was allowed, as a share g of what was wanted
    over k lessons, moves the share allowed by g / 2 k / (k + 2) the other way, by no more than 3 % and half
    of it. The factor is then drawn to 1 as if that had been seen in 300 demands.

    Parameters
    ----------
    lessons : sequence of Lesson
        All of one class and kind of target [units times weight, or lead times]

    Returns
    -------
    float or None
        From 0.1 to 6; None where they saw fewer than 100 demands or all that was wanted is nothing [1]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] Inversion of an empirical service level; Snyder & Shen (2019), section 5.3.2. Numbers of demands
       and the steering are this project's own.
    """
    seen = sum(lesson.seen for lesson in lessons)
    wanted = sum(lesson.wanted for lesson in lessons)
    if seen < LEAST_SEEN or wanted <= 0:
        return None
    allowed = sum(lesson.allowed for lesson in lessons) / wanted
    record = [lesson for lesson in lessons if lesson.stood_wanted > 0]
    if record:
        over = sum(lesson.stood_over for lesson in record) / sum(lesson.stood_wanted for lesson in record)
        moved = STEERING * over * len(record) / (len(record) + STEERING_LESSONS)
        allowed -= float(np.clip(moved, -MOST_STEERING, min(MOST_STEERING, allowed / 2)))
    missed = np.sum([lesson.missed for lesson in lessons], axis=0) / wanted
    # Rounding to whole pieces can turn the curve back by a hair.
    falling = np.minimum.accumulate(missed)
    factor = float(np.interp(-allowed, -falling, FACTORS))
    return (seen * factor + PRIOR_SEEN) / (seen + PRIOR_SEEN)


def _mean_shortage(
    demand: FloatArray, point: FloatArray, size: FloatArray, is_whole: npt.NDArray[np.bool_]
) -> FloatArray:
    """Mean of (D - y)+ over the positions y: r + 1 to r + Q for pieces, r to r + Q for the rest."""
    pieces = is_whole[:, np.newaxis]
    over, beyond = np.maximum(demand - point, 0.0), np.maximum(demand - point - size, 0.0)
    summed = np.where(pieces, over * (over - 1) - beyond * (beyond - 1), np.square(over) - np.square(beyond))
    return np.asarray(summed / (2 * size))
