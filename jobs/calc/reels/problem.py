"""Reel allotment in whole numbers: reel types, cut sizes, packings, and what a stage is after."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Problem:
    """Reels of T types and cuts of n sizes, all in whole units; sizes fall, and each fits some reel."""

    reel_lengths: Whole
    reel_costs: Whole
    reel_counts: Whole
    sizes: Whole
    demand: Whole

    @property
    def types(self) -> int:
        return len(self.reel_lengths)

    @property
    def longest(self) -> int:
        return int(self.reel_lengths.max())

    @property
    def total(self) -> int:
        return int(self.sizes @ self.demand)


@dataclass(frozen=True)
class Pattern:
    """One opened reel: its type, and how many cuts of each size come off it."""

    reel: int
    counts: Whole


@dataclass(frozen=True)
class Packing:
    """A whole answer: one pattern for every opened reel. What no pattern serves is unserved."""

    patterns: tuple[Pattern, ...]

    def opened(self, problem: Problem) -> Whole:
        opened = np.zeros(problem.types, dtype=np.int64)
        for pattern in self.patterns:
            opened[pattern.reel] += 1
        return opened

    def unserved(self, problem: Problem) -> Whole:
        served = sum((pattern.counts for pattern in self.patterns), np.zeros_like(problem.demand))
        return problem.demand - served

    def rank(self, problem: Problem) -> tuple[int, int, int]:
        """What is compared, smaller first: unserved length, cost, opened length."""
        opened = self.opened(problem)
        return (
            int(self.unserved(problem) @ problem.sizes),
            int(opened @ problem.reel_costs),
            int(opened @ problem.reel_lengths),
        )


@dataclass(frozen=True)
class Limit:
    """A linear limit on reels opened and cuts left unserved."""

    by_reel: Whole
    by_size: Whole
    most: int


@dataclass(frozen=True)
class Goal:
    """What one stage minimises, within the limits that the stages before it have set.

    `level` is its place in a packing's rank. Without `may_leave` every cut must be served.
    """

    level: int
    by_reel: Whole
    by_size: Whole
    limits: tuple[Limit, ...]
    may_leave: bool

    @property
    def step(self) -> int:
        """All values of the goal are multiples of this."""
        return max(1, int(np.gcd.reduce(np.concatenate([self.by_reel, self.by_size]))))

    def rounded_up(self, bound: float) -> int:
        """A lower bound raised to the next value the goal can take; rounding of the solver is forgiven."""
        # No goal is ever below 0; a solver that ran out of time may have proven nothing at all.
        if not bound > 0:
            return 0
        forgiven = 1e-6 * max(1.0, abs(bound) * 1e-3)
        return int(np.ceil((bound - forgiven) / self.step)) * self.step


def set_goals(problem: Problem, unserved: int) -> list[Goal]:
    """The stages after the least unserved length is known: cost, then opened length."""
    nothing_by_reel, nothing_by_size = np.zeros_like(problem.reel_costs), np.zeros_like(problem.sizes)
    may_leave = unserved > 0
    limits = (Limit(nothing_by_reel, problem.sizes, unserved),) if may_leave else ()
    cost = Goal(1, problem.reel_costs, nothing_by_size, limits, may_leave)
    length = Goal(2, problem.reel_lengths, nothing_by_size, limits, may_leave)
    return [cost, length]


def serve_most(problem: Problem) -> Goal:
    """The first stage: the least unserved length."""
    return Goal(0, np.zeros_like(problem.reel_costs), problem.sizes, (), may_leave=True)


def within(goal: Goal, problem: Problem, most_cost: int) -> Goal:
    """The goal with the cost of the stage before it as a limit."""
    limit = Limit(problem.reel_costs, np.zeros_like(problem.sizes), most_cost)
    return Goal(goal.level, goal.by_reel, goal.by_size, (*goal.limits, limit), goal.may_leave)


def trimmed(problem: Problem, patterns: Sequence[Pattern]) -> Packing:
    """A packing without cuts beyond the demand and without reels that then carry nothing."""
    left = problem.demand.copy()
    kept = []
    for pattern in patterns:
        counts = np.minimum(pattern.counts, left)
        if counts.any():
            left -= counts
            kept.append(Pattern(pattern.reel, counts))
    return Packing(tuple(kept))
