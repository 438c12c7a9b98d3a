"""Good packings fast: reels chosen by a small integer program, each filled as full as the cuts allow."""

from collections.abc import Iterator

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from jobs.calc.reels.problem import Goal, Packing, Pattern, Problem, Whole, trimmed
from jobs.calc.reels.repair import serve_leftovers
from jobs.calc.reels.sums import SecondsLeft, best_subset

# Shares of the cuts' length that the chosen reels have to spare; little spare wastes little and packs hardly.
SPARE = (0.0, 0.001, 0.002, 0.005, 0.01, 0.02, 0.04, 0.08, 0.15, 0.3)
SELECTION_SECONDS = 1.0


def select_reels(problem: Problem, goal: Goal, least_length: float) -> tuple[Whole | None, int]:
    """Reels that are long enough in sum and best by the goal, with a lower bound of the goal.

    That the cuts must also fit one by one is left out, so the value is a lower bound for every packing.
    """
    constraints = [LinearConstraint(problem.reel_lengths[None, :], np.ceil(least_length), np.inf)]
    constraints += [LinearConstraint(limit.by_reel[None, :], -np.inf, limit.most) for limit in goal.limits]
    found = milp(
        goal.by_reel.astype(float),
        constraints=constraints,
        integrality=np.ones(problem.types),
        bounds=Bounds(0, problem.reel_counts),
        options={"time_limit": SELECTION_SECONDS, "mip_rel_gap": 0.0},
    )
    bound = found.mip_dual_bound if found.status in (0, 1) and found.mip_dual_bound is not None else 0.0
    if found.status == 1:
        # Cut short, the solver may know less than the plain linear program.
        relaxed = milp(
            goal.by_reel.astype(float), constraints=constraints, bounds=Bounds(0, problem.reel_counts)
        )
        bound = max(bound, relaxed.fun) if relaxed.status == 0 else bound
    chosen = np.round(found.x).astype(np.int64) if found.x is not None else None
    return chosen, max(0, goal.rounded_up(float(bound)))


def find_packings(problem: Problem, goals: list[Goal], seconds_left: SecondsLeft) -> Iterator[Packing]:
    """Packings of reels chosen with more and more length to spare, then of all reels."""
    served: dict[bytes, bool] = {}
    for spare in SPARE:
        key = b""
        for chosen in _selections(problem, goals, problem.total * (1 + spare)):
            key = chosen.tobytes()
            if key in served:
                continue
            served[key] = False
            for packing in _ways_to_fill(problem, np.repeat(np.arange(problem.types), chosen), seconds_left):
                served[key] = served[key] or not packing.unserved(problem).any()
                yield packing
        # Where the shortest reels serve all, those with more to spare would only be dearer or longer.
        if served.get(key, False) or seconds_left() <= 0:
            break
    reels = _by_worth(problem)
    yield from _ways_to_fill(problem, reels, seconds_left)
    yield _fill_greedily(problem, reels)


def _selections(problem: Problem, goals: list[Goal], least_length: float) -> Iterator[Whole]:
    """The cheapest reels that are long enough: the longest of such, which pack best, then the shortest."""
    cost_goal, length_goal = goals
    cheapest, _ = select_reels(problem, cost_goal, least_length)
    if cheapest is None:
        return
    if problem.types == 1:
        yield cheapest
        return
    budget = int(problem.reel_costs @ cheapest)
    limits = [
        LinearConstraint(problem.reel_lengths[None, :], np.ceil(least_length), np.inf),
        LinearConstraint(problem.reel_costs[None, :], -np.inf, budget),
    ]
    for sign in (-1.0, 1.0):
        found = milp(
            sign * length_goal.by_reel.astype(float),
            constraints=limits,
            integrality=np.ones(problem.types),
            bounds=Bounds(0, problem.reel_counts),
            options={"time_limit": SELECTION_SECONDS},
        )
        if found.x is not None:
            yield np.round(found.x).astype(np.int64)


def _ways_to_fill(problem: Problem, reels: Whole, seconds_left: SecondsLeft) -> Iterator[Packing]:
    falling = reels[np.argsort(-problem.reel_lengths[reels], kind="stable")]
    yield _fill_greedily(problem, falling)
    yield _fill_greedily(problem, falling[::-1])
    for order in (falling, falling[::-1]) if problem.types > 1 else (falling,):
        if seconds_left() > 0:
            packing = _fill_exactly(problem, order, seconds_left)
            yield packing
            if packing.unserved(problem).any() and seconds_left() > 0:
                yield serve_leftovers(problem, order, packing, seconds_left)


def _by_worth(problem: Problem) -> Whole:
    """All reels, the cheapest per length first, no more of a type than there are cuts."""
    worth = np.lexsort((-problem.reel_lengths, problem.reel_costs / problem.reel_lengths))
    counts = np.minimum(problem.reel_counts, problem.demand.sum())
    return np.repeat(worth, counts[worth])


def _fill_greedily(problem: Problem, reels: Whole) -> Packing:
    """Each reel in turn takes the largest cuts that still fit: first fit, falling."""
    left = problem.demand.copy()
    patterns = []
    for reel in reels:
        if not left.any():
            break
        patterns.append(Pattern(int(reel), _take_largest(problem, left, int(problem.reel_lengths[reel]))))
        left = left - patterns[-1].counts
    return trimmed(problem, patterns)


def _take_largest(problem: Problem, left: Whole, room: int) -> Whole:
    counts = np.zeros_like(left)
    start = 0
    while True:
        start = max(start, int(np.searchsorted(-problem.sizes, -room)))
        waiting = np.flatnonzero(left[start:])
        if not len(waiting):
            return counts
        size = start + int(waiting[0])
        counts[size] = min(left[size], room // int(problem.sizes[size]))
        room -= int(counts[size] * problem.sizes[size])
        start = size + 1


def _fill_exactly(problem: Problem, reels: Whole, seconds_left: SecondsLeft) -> Packing:
    """Each reel takes the largest cut left and the cuts that then fill it best (minimum bin slack)."""
    left = problem.demand.copy()
    patterns = []
    for reel in reels:
        if not left.any() or seconds_left() <= 0:
            break
        patterns.append(Pattern(int(reel), fill_one(problem, left, int(problem.reel_lengths[reel]))))
        left = left - patterns[-1].counts
    return trimmed(problem, patterns)


def fill_one(problem: Problem, left: Whole, room: int) -> Whole:
    """Counts of cuts for one reel: the largest that fits, and of the rest a set that fills it best.

    Sums that can be reached are the set bits of an integer, so adding a cut is one shift. Among sets of the
    best sum the one with the largest cuts is taken, which leaves small ones for later.
    """
    counts = np.zeros_like(left)
    fitting = np.flatnonzero((left > 0) & (problem.sizes <= room))
    if not len(fitting):
        return counts
    counts[fitting[0]] = 1
    room -= int(problem.sizes[fitting[0]])
    cuts = [
        int(size)
        for size in fitting[::-1]
        for _ in range(min(int(left[size] - counts[size]), room // int(problem.sizes[size])))
    ]
    lengths = [int(problem.sizes[size]) for size in cuts]
    for index in best_subset(lengths, room):
        counts[cuts[index]] += 1
    return counts
