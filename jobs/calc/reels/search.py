"""The staged search: least unserved length, then cost, then opened length, each with a bound."""

from dataclasses import dataclass, field
from math import inf

import numpy as np

from jobs.calc.reels import columns, network
from jobs.calc.reels.filling import find_packings, select_reels
from jobs.calc.reels.problem import Goal, Packing, Problem, serve_most, set_goals, within
from jobs.calc.reels.sums import SecondsLeft

# Reels up to this many units are searched exactly; finer ones by filling and by sums.
MOST_UNITS = 60_000
# With more sizes than this a single linear program takes longer than people wait.
MOST_SIZES = 600
# Filling finds most good packings at once or not at all; where an exact search can follow, it gets little
# time.
FILLING_SHARE = 0.25
FILLING_SECONDS = 0.5
RESTRICTED_SHARE = 0.3
COLUMNS_SHARE = 0.5
LONGEST_STEP_SECONDS = 3600.0


@dataclass
class Search:
    """One search. `problem` says what is compared; packing is done in the units of `inner` and `outer`.

    The two are the same unless lengths are very fine: then a packing of `inner` is one of `problem`, and a
    bound for `outer` holds for it. All three share their types and sizes, so patterns and prices of one speak
    of the others.
    """

    problem: Problem
    inner: Problem
    outer: Problem
    seconds_left: SecondsLeft
    best: Packing = field(default_factory=lambda: Packing(()))
    cost_bound: int = 0
    is_proven: bool = True

    def run(self) -> None:
        """Search all stages, as far as the time goes."""
        self._fill()
        if self._rank[0] > 0:
            self._stage(serve_most(self.problem), self._least_unserved())
        cost, length = set_goals(self.problem, self._rank[0])
        self.cost_bound = self._stage(cost, self._sum_bound(cost))
        length = within(length, self.problem, self._rank[1])
        self._stage(length, self._sum_bound(length))

    @property
    def _is_searchable(self) -> bool:
        is_small = self.inner.longest <= MOST_UNITS and len(self.inner.sizes) <= MOST_SIZES
        return self.inner is self.outer and is_small

    @property
    def _rank(self) -> tuple[int, int, int]:
        return self.best.rank(self.problem)

    def _consider(self, packing: Packing | None) -> None:
        if packing is not None and packing.rank(self.problem) < self._rank:
            self.best = packing

    def _share(self, share: float) -> SecondsLeft:
        """A clock that is up when a share of what is left now is spent."""
        kept = self.seconds_left() * (1 - share)
        return lambda: self.seconds_left() - kept if kept < inf else inf

    def _seconds(self, share: float = 1.0) -> float:
        return min(self.seconds_left() * share, LONGEST_STEP_SECONDS)

    def _fill(self) -> None:
        """Fill reels until a packing meets the bounds that sums give."""
        goals = set_goals(self.problem, 0)
        cost = self._sum_bound(goals[0])
        length = self._sum_bound(within(goals[1], self.problem, cost))
        share = FILLING_SHARE
        if self._is_searchable and self.seconds_left() > 0:
            share = min(share, FILLING_SECONDS / self.seconds_left())
        for packing in find_packings(self.inner, goals, self._share(share)):
            self._consider(packing)
            if self._rank <= (0, cost, length):
                break

    def _least_unserved(self) -> int:
        lengths = np.minimum(self.problem.reel_counts, self.problem.demand.sum()) @ self.problem.reel_lengths
        return max(0, self.problem.total - int(lengths))

    def _sum_bound(self, goal: Goal) -> int:
        unserved = max((limit.most for limit in goal.limits if limit.by_size.any()), default=0)
        return select_reels(self.outer, goal, self._served_in_outer(unserved))[1]

    def _served_in_outer(self, unserved: int) -> float:
        """The least length to be served, in units of the outer problem."""
        if not unserved:
            return self.outer.total
        served = (self.problem.total - unserved) * self.outer.total // self.problem.total
        # On a coarse grid each cut may have lost up to one unit.
        return served if self.inner is self.outer else max(0, served - int(self.outer.demand.sum()))

    def _stage(self, goal: Goal, bound: int) -> int:
        """Better packings for one goal, and the bound that holds for it."""
        value = self._rank[goal.level]
        if bound < value and self._is_searchable:
            bound = self._search_exactly(goal, bound)
        self.is_proven = self.is_proven and bound >= self._rank[goal.level]
        return min(bound, self._rank[goal.level])

    def _search_exactly(self, goal: Goal, bound: int) -> int:
        """Column generation, then packings of its patterns, then the network of all patterns that matter."""
        found = columns.Columns(self.inner, goal)
        for is_final in (False, True):
            prices = columns.generate(
                found, self.best, self._rank[goal.level], self._share(COLUMNS_SHARE), is_final=is_final
            )
            bound = max(bound, goal.rounded_up(prices.bound))
            if bound < self._rank[goal.level] and found.patterns:
                self._consider(found.best_packing(self._seconds(RESTRICTED_SHARE)))
            if bound >= self._rank[goal.level] or self.seconds_left() <= 0:
                return bound
        return self._search_network(goal, prices, bound)

    def _search_network(self, goal: Goal, prices: columns.Duals, bound: int) -> int:
        aim = self._rank[goal.level] - goal.step
        if not network.is_small_enough(self.inner):
            return bound
        arcs = network.build(self.inner, goal, prices, aim - prices.bound)
        if arcs.arcs > network.MOST_ARCS:
            return bound
        outcome = network.improve(self.inner, goal, arcs, aim=aim, seconds=self._seconds())
        self._consider(outcome.packing)
        reached = aim + goal.step if outcome.bound == inf else goal.rounded_up(outcome.bound)
        return max(bound, min(reached, aim + goal.step))
