"""Chance that repeats on every Python: only `random()` is used, whose sequence the library promises."""

import random
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")


class Chance:
    """Seeded draws."""

    def __init__(self, seed: str) -> None:
        # A text seed is hashed by SHA-512, the same on every machine.
        self._source = random.Random(seed)

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._source.random()

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included."""
        return low + int(self._source.random() * (high - low + 1))

    def pick(self, options: Sequence[T]) -> T:
        return options[self.whole(0, len(options) - 1)]

    def happens(self, probability: float) -> bool:
        return self._source.random() < probability
