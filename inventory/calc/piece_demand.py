"""Demand in whole pieces: Poisson, negative binomial, or a table of chances."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.bisection import least_whole, reaches
from inventory.calc.demand_shapes import DemandShape
from inventory.calc.ranges import (
    FloatArray,
    Numbers,
    as_finite,
    as_not_negative,
    as_open_fraction,
    as_positive,
)

# Chances typed with a few decimals seldom add up to 1 exactly.
SUM_TOLERANCE = 1e-6
# Adding two tables looks at every pair of their values.
MOST_SUMS = 20_000_000


def _whole_quantile(shape: DemandShape, probability: npt.ArrayLike) -> Numbers:
    """The least whole level within which demand stays with the given chance."""
    chance = as_open_fraction("probability", probability)
    beyond = np.ceil(np.asarray(shape.mean) + 10 * np.asarray(shape.sd)) + 1

    def is_enough(level: FloatArray) -> npt.NDArray[np.bool_]:
        return reaches(shape.cdf(level), chance)

    beyond = np.broadcast_to(beyond, np.broadcast(beyond, np.asarray(chance)).shape)
    return least_whole(is_enough, low=np.full(beyond.shape, -1.0), high=np.array(beyond, dtype=np.float64))


@dataclass(frozen=True)
class PoissonDemand:
    """Poisson demand: whole pieces, each wanted on its own. A mean of 0 is no demand."""

    mean: Numbers
    is_discrete = True

    def __post_init__(self) -> None:
        as_not_negative("mean", self.mean)

    @property
    def sd(self) -> Numbers:
        return cast(Numbers, np.sqrt(self.mean))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        floor = np.floor(np.asarray(level, dtype=np.float64))
        inside = special.gammaincc(np.maximum(floor, 0.0) + 1, self.mean)
        return cast(Numbers, np.where(floor < 0, 0.0, inside))

    def tail(self, count: Numbers) -> Numbers:
        """P(D >= count) for a whole count."""
        return cast(Numbers, np.where(count <= 0, 1.0, special.gammainc(np.maximum(count, 1.0), self.mean)))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        return _whole_quantile(self, probability)

    def loss(self, level: npt.ArrayLike) -> Numbers:
        x = np.asarray(level, dtype=np.float64)
        floor = np.floor(x)
        return self.mean * self.tail(floor) - x * self.tail(floor + 1)

    def second_loss(self, level: npt.ArrayLike) -> Numbers:
        """Sum of the losses from a whole level on."""
        x = np.asarray(level, dtype=np.float64)
        pairs = np.square(self.mean) * self.tail(x - 2)
        return cast(
            Numbers, 0.5 * (pairs - 2 * (x - 1) * self.mean * self.tail(x - 1) + x * (x - 1) * self.tail(x))
        )

    def over_periods(self, periods: int) -> "PoissonDemand":
        return PoissonDemand(self.mean * periods)


@dataclass(frozen=True)
class NegativeBinomialDemand:
    """Negative binomial demand: whole pieces, more spread than Poisson.

    r > 0 need not be whole, 0 < p <= 1; the count of failures before the r-th success, mean r (1 - p) / p.
    """

    r: Numbers
    p: Numbers
    is_discrete = True

    def __post_init__(self) -> None:
        as_positive("r", self.r)
        as_positive("p", self.p)
        if np.any(np.asarray(self.p) > 1):
            raise ValueError("p must be a probability above 0 and at most 1")

    @property
    def mean(self) -> Numbers:
        return self.r * (1 - self.p) / self.p

    @property
    def sd(self) -> Numbers:
        return cast(Numbers, np.sqrt(self.mean / self.p))

    def _tail(self, count: Numbers, order: int) -> Numbers:
        """P(D >= count) for a whole count, under an r larger by `order`."""
        inside = special.betainc(np.maximum(count, 1.0), np.asarray(self.r) + order, 1 - np.asarray(self.p))
        return cast(Numbers, np.where(count <= 0, 1.0, inside))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        floor = np.floor(np.asarray(level, dtype=np.float64))
        inside = special.betainc(self.r, np.maximum(floor, 0.0) + 1, self.p)
        return cast(Numbers, np.where(floor < 0, 0.0, inside))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        return _whole_quantile(self, probability)

    def loss(self, level: npt.ArrayLike) -> Numbers:
        x = np.asarray(level, dtype=np.float64)
        floor = np.floor(x)
        return self.mean * self._tail(floor, 1) - x * self._tail(floor + 1, 0)

    def second_loss(self, level: npt.ArrayLike) -> Numbers:
        """Sum of the losses from a whole level on."""
        x = np.asarray(level, dtype=np.float64)
        pairs = self.mean * (self.mean + (1 - self.p) / self.p) * self._tail(x - 2, 2)
        once = 2 * (x - 1) * self.mean * self._tail(x - 1, 1)
        return cast(Numbers, 0.5 * (pairs - once + x * (x - 1) * self._tail(x, 0)))

    def over_periods(self, periods: int) -> "NegativeBinomialDemand":
        return NegativeBinomialDemand(self.r * periods, self.p)


@dataclass(frozen=True)
class TableDemand:
    """Demand given by a table of chances: `values` rising, `chances` of the same length adding up to 1."""

    values: FloatArray
    chances: FloatArray
    is_discrete = True

    @classmethod
    def of(cls, pmf: Sequence[float] | Mapping[str, float] | Mapping[float, float]) -> "TableDemand":
        """Make a table of the chances of 0, 1, 2, ... or of `{value: chance}`.

        Raises
        ------
        ValueError
            If a chance is negative or they do not add up to 1.
        """
        if isinstance(pmf, Mapping):
            values = np.array([float(as_finite("pmf", value)) for value in pmf], dtype=np.float64)
            chances = np.array(list(pmf.values()), dtype=np.float64)
        else:
            values, chances = np.arange(len(pmf), dtype=np.float64), np.array(pmf, dtype=np.float64)
        as_not_negative("pmf", chances)
        total = float(chances.sum())
        if abs(total - 1) > SUM_TOLERANCE:
            raise ValueError(f"pmf must add up to 1, got {total:g}")
        order = np.argsort(values, kind="stable")
        return cls(values[order], chances[order] / total)

    @property
    def mean(self) -> float:
        return float(self.values @ self.chances)

    @property
    def sd(self) -> float:
        return float(np.sqrt(np.square(self.values - self.mean) @ self.chances))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        summed = np.concatenate(([0.0], np.cumsum(self.chances)))
        return cast(Numbers, summed[np.searchsorted(self.values, level, side="right")])

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        chance = np.asarray(as_open_fraction("probability", probability))
        is_enough = reaches(np.cumsum(self.chances), chance[..., np.newaxis])
        # The last value always is enough, whatever the rounding of the sum.
        is_enough[..., -1] = True
        return cast(Numbers, self.values[np.argmax(is_enough, axis=-1)])

    def loss(self, level: npt.ArrayLike) -> Numbers:
        excess = self.values - np.asarray(level, dtype=np.float64)[..., np.newaxis]
        return cast(Numbers, np.maximum(excess, 0.0) @ self.chances)

    def over_periods(self, periods: int) -> "TableDemand":
        if periods == 1:
            return self
        half = self.over_periods(periods // 2)
        total = half._plus(half)
        return total._plus(self) if periods % 2 else total

    def _plus(self, other: "TableDemand") -> "TableDemand":
        if len(self.values) * len(other.values) > MOST_SUMS:
            raise ValueError("lead_time must be shorter for a table of so many values")
        sums = np.add.outer(self.values, other.values).ravel()
        weights = np.multiply.outer(self.chances, other.chances).ravel()
        values, places = np.unique(sums, return_inverse=True)
        return TableDemand(values, np.bincount(places.ravel(), weights=weights).astype(np.float64))
