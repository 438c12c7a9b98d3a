"""What goes into a reel allotment and what comes out."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, kw_only=True)
class Reel:
    """Reels of one kind: length, how many there are, and what opening one costs."""

    id: str
    length: Fraction
    available: int = 1
    cost: Fraction = Fraction(1)


@dataclass(frozen=True, kw_only=True)
class Cut:
    """Cuts of one length that are wanted, each in one piece."""

    id: str
    length: Fraction
    count: int = 1


@dataclass(frozen=True)
class OpenedReel:
    """One opened reel: its id, the ids of the cuts on it, and the length that stays."""

    reel: str
    cuts: tuple[str, ...]
    remnant: Fraction


@dataclass(frozen=True)
class ReelAllotment:
    """Which cuts come off which reels.

    `lower_bound` is of the cost, given the least unserved length found. `is_proven_optimal` speaks of all
    three levels: unserved length, cost, opened length.
    """

    opened: tuple[OpenedReel, ...]
    cost: Fraction
    lower_bound: Fraction
    is_proven_optimal: bool
    unserved: tuple[str, ...]
    unserved_length: Fraction
    opened_length: Fraction
