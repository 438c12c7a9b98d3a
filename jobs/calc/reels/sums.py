"""Sums of cuts by set bits: adding a cut to all sums at once is one shift of an integer."""

from collections.abc import Callable

SecondsLeft = Callable[[], float]


def best_subset(lengths: list[int], room: int) -> list[int]:
    """Indices of a subset of rising lengths with the largest sum that fits, long ones preferred."""
    reached = reachable_sums(lengths, room)
    return subset_of_sum(lengths, reached, reached[-1].bit_length() - 1)


def reachable_sums(lengths: list[int], room: int) -> list[int]:
    """For each number of lengths, from none to all, the sums up to the room that they reach, as set bits."""
    reached, mask = [1], (1 << (room + 1)) - 1
    for length in lengths:
        reached.append((reached[-1] | (reached[-1] << length)) & mask)
    return reached


def subset_of_sum(lengths: list[int], reached: list[int], total: int) -> list[int]:
    """Indices of a subset with this sum, which must be reachable, the last ones preferred."""
    chosen = []
    for index in range(len(lengths) - 1, -1, -1):
        rest = total - lengths[index]
        if rest >= 0 and reached[index] >> rest & 1:
            chosen.append(index)
            total = rest
    return chosen
