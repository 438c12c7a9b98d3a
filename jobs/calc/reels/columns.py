"""Column generation: a strong lower bound, its duals, and patterns from which good packings are made."""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csc_array

from jobs.calc.reels.problem import Floats, Goal, Packing, Pattern, Problem, trimmed
from jobs.calc.reels.sums import SecondsLeft

# Weight of the best duals so far in the duals that are priced; without it they swing and the bound is slow.
SMOOTHING = 0.6
PATTERNS_A_ROUND = 12
NEAR_FULL = 60
TOLERANCE = 1e-7
MOST_ROUNDS = 600


@dataclass(frozen=True)
class Duals:
    """Prices of cuts, reel types and limits, all at least 0, and the lower bound they prove."""

    cuts: Floats
    reels: Floats
    limits: Floats
    bound: float = -np.inf


@dataclass
class Columns:
    """Patterns found so far, and the linear program over them."""

    problem: Problem
    goal: Goal
    patterns: list[Pattern] = field(default_factory=list)
    best: Duals = field(init=False)
    _seen: set[tuple[int, bytes]] = field(default_factory=set)

    def __post_init__(self) -> None:
        sizes, types = len(self.problem.sizes), self.problem.types
        self.best = Duals(np.zeros(sizes), np.zeros(types), np.zeros(len(self.goal.limits)), 0.0)

    def add(self, pattern: Pattern) -> bool:
        key = (pattern.reel, pattern.counts.tobytes())
        if key in self._seen:
            return False
        self._seen.add(key)
        self.patterns.append(pattern)
        return True

    def matrices(self) -> tuple[Floats, csc_array, Floats]:
        """Costs, rows and right-hand sides of: cover the cuts, keep to the reels there are, keep the limits.

        Columns are the patterns, followed by one for each size that may be left unserved.
        """
        problem, goal = self.problem, self.goal
        reels = np.array([pattern.reel for pattern in self.patterns])
        cover = np.array([pattern.counts for pattern in self.patterns]).T
        kinds = (np.arange(problem.types)[:, None] == reels).astype(float)
        limits = np.array([limit.by_reel[reels] for limit in goal.limits]).reshape(-1, len(reels))
        costs = goal.by_reel[reels].astype(float)
        if goal.may_leave:
            sizes = len(problem.sizes)
            cover = np.hstack([cover, np.eye(sizes)])
            kinds = np.hstack([kinds, np.zeros((problem.types, sizes))])
            left = np.array([limit.by_size for limit in goal.limits]).reshape(-1, sizes)
            limits = np.hstack([limits, left])
            costs = np.concatenate([costs, goal.by_size])
        rows = csc_array(np.vstack([-cover, kinds, limits]))
        most = [limit.most for limit in goal.limits]
        return costs, rows, np.concatenate([-problem.demand, problem.reel_counts, most]).astype(float)

    def solve(self, seconds: float) -> tuple[float, Duals] | None:
        """The linear program's value and duals; None where it has no solution yet or the time was short."""
        costs, rows, right = self.matrices()
        limit = {"time_limit": min(max(0.05, seconds), 3600.0)}
        found = linprog(costs, A_ub=rows, b_ub=right, method="highs-ds", options=limit)
        if found.status != 0:
            return None
        prices = np.maximum(-found.ineqlin.marginals, 0)
        sizes, types = len(self.problem.sizes), self.problem.types
        return float(found.fun), Duals(prices[:sizes], prices[sizes : sizes + types], prices[sizes + types :])

    def drop_dear(self, duals: Duals) -> None:
        """Forget the patterns that are furthest from use, so that the linear program stays small."""
        most = 4 * (len(self.problem.sizes) + self.problem.types)
        if len(self.patterns) <= 2 * most:
            return
        fixed = fixed_costs(self.goal, duals)
        reduced = [fixed[pattern.reel] - duals.cuts @ pattern.counts for pattern in self.patterns]
        kept = np.sort(np.argsort(reduced, kind="stable")[:most])
        self.patterns = [self.patterns[index] for index in kept]
        self._seen = {(pattern.reel, pattern.counts.tobytes()) for pattern in self.patterns}

    def best_packing(self, seconds: float) -> Packing | None:
        """The best packing made of these patterns only, as far as the time goes."""
        costs, rows, right = self.matrices()
        found = milp(
            costs,
            constraints=[LinearConstraint(rows, -np.inf, right)],
            integrality=np.ones(len(costs)),
            bounds=Bounds(0, np.inf),
            options={"time_limit": max(0.05, seconds), "mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None
        times = np.round(found.x[: len(self.patterns)]).astype(int)
        chosen = [pattern for pattern, uses in zip(self.patterns, times, strict=True) for _ in range(uses)]
        return trimmed(self.problem, chosen)


def fixed_costs(goal: Goal, duals: Duals) -> Floats:
    """What opening a reel of each type costs at these prices, before what its cuts earn."""
    by_limit = sum(
        (price * limit.by_reel for price, limit in zip(duals.limits, goal.limits, strict=True)),
        np.zeros(len(goal.by_reel)),
    )
    return np.asarray(goal.by_reel + duals.reels + by_limit, dtype=np.float64)


def leaving_costs(goal: Goal, duals: Duals) -> Floats:
    """What leaving a cut of each size unserved costs at these prices."""
    by_limit = sum(
        (price * limit.by_size for price, limit in zip(duals.limits, goal.limits, strict=True)),
        np.zeros(len(goal.by_size)),
    )
    return np.asarray(goal.by_size + by_limit, dtype=np.float64)


class Knapsack:
    """The most that cuts can earn in every length up to the longest reel, by dynamic programming."""

    def __init__(self, problem: Problem, prices: Floats) -> None:
        self._problem = problem
        longest = problem.longest
        self._items = _bundles(problem, prices)
        self.earned = np.zeros(longest + 1)
        self._takes = np.zeros((len(self._items), longest + 1), dtype=np.bool_)
        for row, (_, _, length, price) in enumerate(self._items):
            taken = self.earned[: longest + 1 - length] + price
            better = taken > self.earned[length:] + 1e-12
            self._takes[row, length:] = better
            np.copyto(self.earned[length:], taken, where=better)

    def pattern(self, reel: int, room: int) -> Pattern:
        """The cuts that earn the most in a length."""
        counts = np.zeros_like(self._problem.demand)
        for row in range(len(self._items) - 1, -1, -1):
            if self._takes[row, room]:
                size, copies, length, _ = self._items[row]
                counts[size] += copies
                room -= length
        return Pattern(reel, counts)


def _bundles(problem: Problem, prices: Floats) -> list[tuple[int, int, int, float]]:
    """Each size's copies in bundles of 1, 2, 4, ...: size, copies, length, price."""
    bundles = []
    for size in np.flatnonzero(prices > 0):
        length = int(problem.sizes[size])
        left, copies = min(int(problem.demand[size]), problem.longest // length), 1
        while left > 0:
            copies = min(copies, left)
            bundles.append((int(size), copies, length * copies, float(prices[size]) * copies))
            left -= copies
            copies *= 2
    return bundles


def lagrangian_bound(problem: Problem, goal: Goal, duals: Duals, earned: Floats, value: float) -> float:
    """The lower bound that these prices prove for every packing at least as good as `value`."""
    constant = float(duals.cuts @ problem.demand - duals.reels @ problem.reel_counts)
    constant -= sum(price * limit.most for price, limit in zip(duals.limits, goal.limits, strict=True))
    if goal.may_leave:
        constant += float(np.minimum(0, leaving_costs(goal, duals) - duals.cuts) @ problem.demand)
    reduced = np.minimum(0, fixed_costs(goal, duals) - earned[problem.reel_lengths])
    most_reels = np.minimum(problem.reel_counts, problem.demand.sum())
    by_count = float(reduced @ most_reels)
    # A packing no dearer than `value` opens few reels that cost something.
    is_dear = goal.by_reel > 0
    by_value = float(reduced[~is_dear] @ most_reels[~is_dear])
    if is_dear.any():
        by_value += value * float((reduced[is_dear] / goal.by_reel[is_dear]).min())
    return constant + max(by_count, by_value)


def generate(
    columns: Columns, start: Packing, value: int, seconds_left: SecondsLeft, *, is_final: bool
) -> Duals:
    """Add patterns until the bound meets the linear program's value, both rounded, or the time is up.

    A final generation goes on until the two meet without rounding: that leaves the least slack for a network.
    """
    goal = columns.goal
    _add_first(columns, start)
    best = columns.best
    for _ in range(MOST_ROUNDS):
        solved = columns.solve(seconds_left())
        if solved is None or seconds_left() <= 0:
            break
        master_value, duals = solved
        best, has_new = _price(columns, _blend(best, duals), best, value)
        if not has_new:
            best, has_new = _price(columns, duals, best, value)
        is_met = goal.rounded_up(best.bound) >= goal.rounded_up(master_value) and not is_final
        if not has_new or is_met or goal.rounded_up(best.bound) >= value:
            break
        columns.drop_dear(duals)
    columns.best = best
    return best


def _add_first(columns: Columns, start: Packing) -> None:
    for pattern in start.patterns:
        columns.add(pattern)
    problem = columns.problem
    for size, length in enumerate(problem.sizes):
        reel = int(np.argmax(problem.reel_lengths))
        counts = np.zeros_like(problem.demand)
        counts[size] = min(int(problem.demand[size]), int(problem.reel_lengths[reel] // length))
        columns.add(Pattern(reel, counts))


def _blend(best: Duals, duals: Duals) -> Duals:
    if best.bound <= 0:
        return duals
    return Duals(
        *(
            SMOOTHING * getattr(best, name) + (1 - SMOOTHING) * getattr(duals, name)
            for name in ("cuts", "reels", "limits")
        )
    )


def _price(columns: Columns, duals: Duals, best: Duals, value: float) -> tuple[Duals, bool]:
    """Patterns that pay at these prices are added; the better of the two bounds is kept with its prices."""
    problem, goal = columns.problem, columns.goal
    knapsack = Knapsack(problem, duals.cuts)
    bound = lagrangian_bound(problem, goal, duals, knapsack.earned, value)
    if bound > best.bound:
        best = Duals(duals.cuts, duals.reels, duals.limits, bound)
    fixed = fixed_costs(goal, duals)
    profit = knapsack.earned[problem.reel_lengths] - fixed
    added = 0
    scale = max(1.0, float(np.abs(fixed).max()))
    for reel in np.argsort(-profit):
        if profit[reel] <= TOLERANCE * scale or added >= PATTERNS_A_ROUND:
            break
        added += _add_near_full(columns, knapsack, int(reel), fixed[reel], PATTERNS_A_ROUND - added)
    return best, added > 0


def _add_near_full(columns: Columns, knapsack: Knapsack, reel: int, fixed: float, most: int) -> int:
    """Paying patterns of one reel type that fill it or nearly: different fills give different patterns."""
    full = int(columns.problem.reel_lengths[reel])
    added = 0
    for room in range(full, max(0, full - NEAR_FULL), -1):
        if knapsack.earned[room] <= fixed + TOLERANCE or added >= most:
            break
        if room == full or knapsack.earned[room] < knapsack.earned[room + 1]:
            added += columns.add(knapsack.pattern(reel, room))
    return added
