"""The last wish: remnants long enough to use, among allotments that are equal otherwise."""

from itertools import combinations

import numpy as np

from jobs.calc.reels.problem import Packing, Pattern, Problem, Whole
from jobs.calc.reels.sums import SecondsLeft, reachable_sums, subset_of_sum

MOST_ROUNDS = 20
MOST_PAIRS = 20_000
MOST_UNITS = 2_000_000


def remnant_of(problem: Problem, pattern: Pattern) -> int:
    return int(problem.reel_lengths[pattern.reel] - problem.sizes @ pattern.counts)


def lost_length(problem: Problem, packing: Packing, minimum: int) -> int:
    """Length of the remnants that are too short to use."""
    remnants = [remnant_of(problem, pattern) for pattern in packing.patterns]
    return sum(remnant for remnant in remnants if remnant < minimum)


def spare_remnants(problem: Problem, packing: Packing, minimum: int, seconds_left: SecondsLeft) -> Packing:
    """Share the cuts of two reels anew, one filled as far as it goes, as long as less is lost.

    The opened reels and the cuts served stay the same, so nothing that ranks higher changes.
    """
    patterns = list(packing.patterns)
    if problem.longest > MOST_UNITS:
        return packing
    for _ in range(MOST_ROUNDS):
        has_gained = False
        for tried, (i, j) in enumerate(combinations(range(len(patterns)), 2)):
            if tried >= MOST_PAIRS or seconds_left() <= 0:
                break
            shared = _share_anew(problem, patterns[i], patterns[j], minimum)
            if shared is not None:
                patterns[i], patterns[j] = shared
                has_gained = True
        if not has_gained:
            break
    return Packing(tuple(patterns))


def _share_anew(
    problem: Problem, first: Pattern, second: Pattern, minimum: int
) -> tuple[Pattern, Pattern] | None:
    """The two patterns with their cuts shared so that least is lost; None where nothing is gained."""
    lost = lost_length(problem, Packing((first, second)), minimum)
    if not lost:
        return None
    together = first.counts + second.counts
    sizes = [int(size) for size in np.flatnonzero(together)[::-1] for _ in range(int(together[size]))]
    lengths = [int(problem.sizes[size]) for size in sizes]
    rooms = [int(problem.reel_lengths[pattern.reel]) for pattern in (first, second)]
    reached = reachable_sums(lengths, rooms[0])
    sums = _bits(reached[-1])
    # Both reels stay open: what they carry together is shared, nothing is closed here.
    sums = sums[(sums > 0) & (sums < sum(lengths)) & (sums >= sum(lengths) - rooms[1])]
    if not len(sums):
        return None
    remnants = np.array([rooms[0] - sums, rooms[1] - sum(lengths) + sums])
    losses = np.where(remnants < minimum, remnants, 0).sum(axis=0)
    # Among equal losses the longest single remnant is of most use.
    best = int(np.lexsort((-remnants.max(axis=0), losses))[0])
    if losses[best] >= lost:
        return None
    counts = np.zeros_like(together)
    for index in subset_of_sum(lengths, reached, int(sums[best])):
        counts[sizes[index]] += 1
    return Pattern(first.reel, counts), Pattern(second.reel, together - counts)


def _bits(number: int) -> Whole:
    """Positions of the set bits."""
    raw = np.frombuffer(number.to_bytes(number.bit_length() // 8 + 1, "little"), dtype=np.uint8)
    return np.flatnonzero(np.unpackbits(raw, bitorder="little"))
