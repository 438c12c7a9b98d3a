"""Lengths and costs as whole numbers, and for very fine lengths a coarser grid from both sides."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from math import gcd, lcm
from typing import Any

import numpy as np

from jobs.calc.reels.kinds import Cut, OpenedReel, Reel
from jobs.calc.reels.problem import Packing, Problem

LARGEST_WHOLE = 10**13
MOST_GRID_UNITS = 500_000


class Scale:
    """Equal reels and equal cuts taken together, in whole units, with the way back to ids.

    What is compared is told in a unit that measures reels and cuts. Packing is done in the largest unit that
    all cuts are whole multiples of: reels are rounded down to it, since no sum of cuts ends in between.
    """

    def __init__(self, reels: Sequence[Reel], cuts: Sequence[Cut]) -> None:
        longest = max((reel.length for reel in reels if reel.available), default=Fraction(0))
        self.too_long = [cut for cut in cuts if cut.length > longest]
        fitting = [cut for cut in cuts if cut.length <= longest and cut.count]
        self._cut_unit = _common_unit(cut.length for cut in fitting)
        self._length_unit = _common_unit([self._cut_unit, *(reel.length for reel in reels)])
        self._cost_unit = _common_unit(reel.cost for reel in reels)
        shortest = min((cut.length for cut in fitting), default=Fraction(0))
        useful = [reel for reel in reels if reel.available and reel.length >= shortest]
        self._reels = _group(useful, lambda reel: (reel.length, reel.cost))
        self._cuts = _group(fitting, lambda cut: cut.length)
        self.is_empty = not fitting

    def exact(self) -> Problem:
        """The problem in a unit that measures reels and cuts."""
        return self._in_units(self._length_unit)

    def for_packing(self) -> Problem:
        """The problem in the unit of the cuts; the same types and sizes in the same order."""
        return self._in_units(self._cut_unit)

    def _in_units(self, unit: Fraction) -> Problem:
        lengths = sorted(self._cuts, reverse=True)
        kinds = sorted(self._reels)
        return Problem(
            reel_lengths=_wholes(length // unit for length, _ in kinds),
            reel_costs=_wholes(cost / self._cost_unit for _, cost in kinds),
            reel_counts=_wholes(sum(reel.available for reel in self._reels[kind]) for kind in kinds),
            sizes=_wholes(length / unit for length in lengths),
            demand=_wholes(sum(cut.count for cut in self._cuts[length]) for length in lengths),
        )

    def cost_of(self, whole: int) -> Fraction:
        return whole * self._cost_unit

    def units_in(self, length: Fraction) -> int:
        """The length in units, rounded up."""
        return -int(-length // self._length_unit)

    def tell(self, packing: Packing, problem: Problem) -> tuple[list[OpenedReel], list[str]]:
        """The packing in ids, and the ids of what is unserved."""
        kinds, lengths = sorted(self._reels), sorted(self._cuts, reverse=True)
        reels = {
            kind: [
                reel.id
                for reel in self._reels[kind]
                for _ in range(min(reel.available, len(packing.patterns)))
            ]
            for kind in kinds
        }
        cuts = {
            length: [cut.id for cut in self._cuts[length] for _ in range(cut.count)] for length in lengths
        }
        opened = []
        for pattern in packing.patterns:
            kind = kinds[pattern.reel]
            taken = [
                cuts[lengths[size]].pop(0)
                for size in np.flatnonzero(pattern.counts)
                for _ in range(int(pattern.counts[size]))
            ]
            used = int(problem.sizes @ pattern.counts) * self._length_unit
            opened.append(OpenedReel(reels[kind].pop(0), tuple(taken), kind[0] - used))
        return opened, [cut for length in lengths for cut in cuts[length]]


def coarsened(problem: Problem) -> tuple[Problem, Problem]:
    """An inner problem, whose packings hold, and an outer one, whose bounds hold; the same if exact."""
    if problem.longest <= MOST_GRID_UNITS:
        return problem, problem
    unit = -(-problem.longest // MOST_GRID_UNITS)
    rounded_up, rounded_down = -(-problem.sizes // unit), problem.sizes // unit
    reels = problem.reel_lengths // unit
    rest = (problem.reel_costs, problem.reel_counts)
    return (
        Problem(reels, *rest, rounded_up, problem.demand),
        Problem(reels, *rest, np.maximum(rounded_down, 1), problem.demand),
    )


def _group(things: Iterable[Any], key: Callable[[Any], Any]) -> dict[Any, list[Any]]:
    groups: dict[Any, list[Any]] = defaultdict(list)
    for thing in things:
        groups[key(thing)].append(thing)
    return groups


def _common_unit(values: Iterable[Fraction]) -> Fraction:
    """The largest amount that all values are whole multiples of."""
    wanted = [value for value in values if value]
    if not wanted:
        return Fraction(1)
    below = lcm(*(value.denominator for value in wanted))
    return Fraction(gcd(*(int(value * below) for value in wanted)), below)


def _wholes(values: Iterable[Fraction | int]) -> np.ndarray:
    found = [int(value) for value in values]
    if max(found, default=0) > LARGEST_WHOLE:
        raise ValueError("lengths and costs must not be given so finely: round them to fewer digits")
    return np.array(found, dtype=np.int64)
