"""What of a write-down still stands on the goods, wherever they went, since no more may be put back."""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class GoodsStep:
    """What happened to goods, between heaps; a heap None is outside, where nothing is kept track of.

    `quantity` moves from source to target, or comes from outside, or goes there. `written_down` is taken
    off the source's value alone, below zero where it was put back.
    """

    source: Hashable | None = None
    target: Hashable | None = None
    quantity: int = 0
    written_down: int = 0


def standing_write_downs(
    *, opening: Mapping[Hashable, int], steps: Iterable[GoodsStep]
) -> dict[Hashable, Fraction]:
    """Follow write-downs with the goods that carry them: what leaves takes its share by quantity along.

    Parameters
    ----------
    opening : mapping to int
        Quantity of each heap before the first step, none of it written down [smallest unit of goods]
    steps : iterable of GoodsStep
        In the order of the book; quantity >= 0 [smallest unit of goods], written_down [smallest unit of
        money]

    Returns
    -------
    dict to Fraction
        By heap, what may still be put back; below zero where more was [smallest unit of money]

    Raises
    ------
    ValueError
        If a quantity is negative.

    References
    ----------
    .. [1] IAS 2 Inventories, paragraph 33 (a reversal is limited to the amount of the original write-down,
       so that the carrying amount is the lower of cost and the revised net realisable value).
    """
    held: dict[Hashable, int] = defaultdict(int, opening)
    standing: dict[Hashable, Fraction] = defaultdict(Fraction)
    for step in steps:
        if step.quantity < 0:
            raise ValueError(f"quantity must be 0 or more, got {step.quantity}")
        if step.source is not None:
            standing[step.source] += step.written_down
        if not step.quantity or step.source == step.target:
            continue
        share = Fraction(0)
        if step.source is not None:
            there = held[step.source]
            share = standing[step.source] * min(Fraction(step.quantity, there) if there > 0 else 1, 1)
            standing[step.source] -= share
            held[step.source] = max(there - step.quantity, 0)
        if step.target is not None:
            standing[step.target] += share
            held[step.target] += step.quantity
    return dict(standing)
