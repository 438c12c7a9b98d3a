"""Serving what a filling left over: room is gathered from many reels on one, where a cut then fits."""

import numpy as np

from jobs.calc.reels.problem import Packing, Pattern, Problem, Whole, trimmed
from jobs.calc.reels.sums import SecondsLeft, best_subset

IDLE_ROUNDS = 25
# Rounds grow with the reels; a few thousand sharings are enough where sharing helps at all.
MOST_SHARINGS = 3000


def serve_leftovers(
    problem: Problem, reels: Whole, packing: Packing, seconds_left: SecondsLeft, *, seed: int = 0
) -> Packing:
    """The packing on the same reels with less left over, as far as sharing cuts anew leads.

    Among equally full ways to fill a reel one is taken at random: what is left over then changes even where
    it does not shrink, until it is something that fits.
    """
    work = _Work(problem, reels, packing, np.random.default_rng(seed))
    idle = 0
    for _ in range(1 + MOST_SHARINGS // max(1, len(reels))):
        if not work.left.any() or idle >= IDLE_ROUNDS or seconds_left() <= 0:
            break
        before = work.left_length
        work.refill_all(seconds_left)
        work.gather()
        idle = 0 if work.left_length < before else idle + 1
    return work.packing()


class _Work:
    """Counts of cuts on each chosen reel, empty ones too, and of what is left over."""

    def __init__(self, problem: Problem, reels: Whole, packing: Packing, random: np.random.Generator) -> None:
        self._problem = problem
        self._random = random
        self.reels = [int(reel) for reel in reels]
        self._counts = self._match(packing)
        self.left = packing.unserved(problem)

    @property
    def left_length(self) -> int:
        return int(self.left @ self._problem.sizes)

    def packing(self) -> Packing:
        return trimmed(
            self._problem,
            [Pattern(reel, counts) for reel, counts in zip(self.reels, self._counts, strict=True)],
        )

    def refill_all(self, seconds_left: SecondsLeft) -> None:
        """Each reel with one that follows it in a random round, and with what is left over."""
        order = self._random.permutation(len(self.reels)).tolist()
        for first, second in zip(order, order[1:] + order[:1], strict=True):
            if first != second and self.left.any() and seconds_left() > 0:
                self._refill_two(first, second)

    def _refill_two(self, first: int, second: int) -> None:
        together = self._counts[first] + self._counts[second] + self.left
        one = self._fullest(together, self._room(first))
        two = self._fullest(together - one, self._room(second))
        left = together - one - two
        if left @ self._problem.sizes <= self.left_length:
            self._counts[first], self._counts[second], self.left = one, two, left

    def refill(self, index: int) -> None:
        """Fill one reel as well as its own cuts and those left over allow."""
        if not self.left.any():
            return
        together = self._counts[index] + self.left
        filled = self._fullest(together, self._room(index))
        if filled @ self._problem.sizes >= self._counts[index] @ self._problem.sizes:
            self._counts[index], self.left = filled, together - filled

    def gather(self) -> None:
        """Make the other reels as full as they go with the cuts of one, whose own room grows by that."""
        remnants = [self._remnant(index) for index in range(len(self.reels))]
        gatherer = int(np.argmax(remnants))
        for index in self._random.permutation(len(self.reels)):
            if index != gatherer and remnants[index] > 0:
                self._shift(int(index), gatherer)
        self.refill(gatherer)

    def _shift(self, index: int, gatherer: int) -> None:
        together = self._counts[index] + self._counts[gatherer]
        filled = self._fullest(together, self._room(index))
        rest = together - filled
        if rest @ self._problem.sizes <= self._counts[gatherer] @ self._problem.sizes:
            self._counts[index], self._counts[gatherer] = filled, rest

    def _room(self, index: int) -> int:
        return int(self._problem.reel_lengths[self.reels[index]])

    def _remnant(self, index: int) -> int:
        return self._room(index) - int(self._counts[index] @ self._problem.sizes)

    def _fullest(self, counts: Whole, room: int) -> Whole:
        sizes = self._random.permutation(np.repeat(np.arange(len(counts)), counts)).tolist()
        lengths = [int(self._problem.sizes[size]) for size in sizes]
        filled = np.zeros_like(counts)
        for position in best_subset(lengths, room):
            filled[sizes[position]] += 1
        return filled

    def _match(self, packing: Packing) -> list[Whole]:
        waiting: dict[int, list[Whole]] = {}
        for pattern in packing.patterns:
            waiting.setdefault(pattern.reel, []).append(pattern.counts)
        nothing = np.zeros_like(self._problem.demand)
        return [waiting[reel].pop() if waiting.get(reel) else nothing for reel in self.reels]
