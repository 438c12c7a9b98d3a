"""Shapes of demand over a stretch of time: what a stock level can expect to meet.

Every shape answers the same questions: how likely demand stays within a level (`cdf`), which level it stays
within with a given chance (`quantile`), and how much it is expected to exceed a level by (`loss`, the first
order loss function n(x) = E[(D - x)+]). Parameters and levels may be arrays and broadcast, so one call serves
100,000 materials.

Quantities are in whatever unit the caller holds the material in; a shape has no unit of its own.
"""

import math
from dataclasses import dataclass
from typing import Protocol, cast

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.ranges import Numbers, as_not_negative, as_open_fraction, as_positive


class DemandShape(Protocol):
    """What every shape of demand can tell."""

    @property
    def mean(self) -> Numbers: ...
    @property
    def sd(self) -> Numbers: ...
    @property
    def is_discrete(self) -> bool: ...
    def cdf(self, level: npt.ArrayLike) -> Numbers: ...
    def quantile(self, probability: npt.ArrayLike) -> Numbers: ...
    def loss(self, level: npt.ArrayLike) -> Numbers: ...
    def over_periods(self, periods: int) -> "DemandShape": ...


class LeadTimeShape(DemandShape, Protocol):
    """A shape whose loss adds up in closed form from a level on, which is what a range of positions costs.

    Demand without gaps: the integral of the loss, E[((D - x)+)^2] / 2. Demand in pieces, for a whole level:
    the sum of the losses, E[(D - x)+ (D - x + 1)+] / 2.
    """

    def second_loss(self, level: npt.ArrayLike) -> Numbers: ...


def standard_normal_loss(z: npt.ArrayLike) -> Numbers:
    """Expected excess of a standard normal over z, L(z) = phi(z) - z (1 - Phi(z)).

    Parameters
    ----------
    z : float or ndarray
        Level in standard deviations from the mean, any real number, any shape [1]

    Returns
    -------
    float or ndarray
        Expected excess in standard deviations, same shape as z [1]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., Appendix C,
       eqs. (C.22)-(C.23).
    """
    level = np.asarray(z, dtype=np.float64)
    return cast(Numbers, _normal_density(level) - level * special.ndtr(-level))


def _normal_density(z: Numbers) -> Numbers:
    return cast(Numbers, np.exp(-0.5 * np.square(z)) / math.sqrt(2 * math.pi))


@dataclass(frozen=True)
class NormalDemand:
    """Normal demand. A standard deviation of 0 is demand known for certain."""

    mean: Numbers
    sd: Numbers
    is_discrete = False

    def __post_init__(self) -> None:
        as_not_negative("sd", self.sd)

    def _standardised(self, level: npt.ArrayLike) -> Numbers:
        """Distance from the mean in standard deviations; far out to either side where there is no spread."""
        distance = np.asarray(level, dtype=np.float64) - self.mean
        with np.errstate(divide="ignore", invalid="ignore"):
            z = distance / self.sd
        # Demand exactly at its certain mean stays within it, hence the far right for a distance of 0.
        return cast(Numbers, np.where(np.asarray(self.sd) > 0, z, np.where(distance >= 0, 40.0, -40.0)))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        return cast(Numbers, special.ndtr(self._standardised(level)))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        chance = as_open_fraction("probability", probability)
        return cast(Numbers, self.mean + self.sd * special.ndtri(chance))

    def loss(self, level: npt.ArrayLike) -> Numbers:
        z = self._standardised(level)
        spread = self.sd * np.asarray(standard_normal_loss(z))
        certain = np.maximum(self.mean - np.asarray(level, dtype=np.float64), 0.0)
        return cast(Numbers, np.where(np.asarray(self.sd) > 0, spread, certain))

    def second_loss(self, level: npt.ArrayLike) -> Numbers:
        z = np.asarray(self._standardised(level))
        upper = special.ndtr(-z)
        spread = 0.5 * np.square(self.sd) * ((z * z + 1) * upper - z * _normal_density(z))
        certain = 0.5 * np.square(np.maximum(self.mean - np.asarray(level, dtype=np.float64), 0.0))
        return cast(Numbers, np.where(np.asarray(self.sd) > 0, spread, certain))

    def over_periods(self, periods: int) -> "NormalDemand":
        return NormalDemand(self.mean * periods, self.sd * math.sqrt(periods))


@dataclass(frozen=True)
class GammaDemand:
    """Gamma demand: never negative, skewed to the right; shape k and scale theta, mean k theta."""

    shape: Numbers
    scale: Numbers
    is_discrete = False

    def __post_init__(self) -> None:
        as_positive("shape", self.shape)
        as_positive("scale", self.scale)

    @property
    def mean(self) -> Numbers:
        return self.shape * self.scale

    @property
    def sd(self) -> Numbers:
        return cast(Numbers, np.sqrt(self.shape) * self.scale)

    def _tail(self, level: npt.ArrayLike, order: int) -> Numbers:
        """P(D > level) under a shape larger by `order`; 1 below zero."""
        scaled = np.maximum(np.asarray(level, dtype=np.float64) / self.scale, 0.0)
        return cast(Numbers, special.gammaincc(np.asarray(self.shape) + order, scaled))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        scaled = np.maximum(np.asarray(level, dtype=np.float64) / self.scale, 0.0)
        return cast(Numbers, special.gammainc(self.shape, scaled))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        chance = as_open_fraction("probability", probability)
        return cast(Numbers, special.gammaincinv(self.shape, chance) * self.scale)

    def loss(self, level: npt.ArrayLike) -> Numbers:
        return self.mean * self._tail(level, 1) - np.asarray(level) * self._tail(level, 0)

    def second_loss(self, level: npt.ArrayLike) -> Numbers:
        x = np.asarray(level, dtype=np.float64)
        square = self.mean * (self.mean + self.scale) * self._tail(x, 2)
        return cast(Numbers, 0.5 * (square - 2 * x * self.mean * self._tail(x, 1) + x * x * self._tail(x, 0)))

    def over_periods(self, periods: int) -> "GammaDemand":
        return GammaDemand(self.shape * periods, self.scale)
