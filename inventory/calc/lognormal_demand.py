"""Lognormal demand, and the sum of several such periods."""

import math
from dataclasses import dataclass, field
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy import signal, special

from inventory.calc.ranges import FloatArray, Numbers, as_finite, as_open_fraction, as_positive

CELLS = 1 << 16


@dataclass(frozen=True)
class LognormalDemand:
    """Lognormal demand: ln D is normal with mean `mu` and standard deviation `sigma` > 0."""

    mu: Numbers
    sigma: Numbers
    is_discrete = False

    def __post_init__(self) -> None:
        as_finite("mu", self.mu)
        as_positive("sigma", self.sigma)

    @property
    def mean(self) -> Numbers:
        return cast(Numbers, np.exp(self.mu + np.square(self.sigma) / 2))

    @property
    def sd(self) -> Numbers:
        return cast(Numbers, self.mean * np.sqrt(np.expm1(np.square(self.sigma))))

    def _standardised(self, level: npt.ArrayLike) -> FloatArray:
        positive = np.maximum(np.asarray(level, dtype=np.float64), 0.0)
        with np.errstate(divide="ignore"):
            return np.asarray((np.log(positive) - self.mu) / self.sigma)

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        return cast(Numbers, special.ndtr(self._standardised(level)))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        chance = as_open_fraction("probability", probability)
        return cast(Numbers, np.exp(self.mu + self.sigma * special.ndtri(chance)))

    def loss(self, level: npt.ArrayLike) -> Numbers:
        z = self._standardised(level)
        return self.mean * special.ndtr(self.sigma - z) - np.asarray(level) * special.ndtr(-z)

    def over_periods(self, periods: int) -> "LognormalDemand | LognormalSum":
        if periods == 1:
            return self
        return LognormalSum(float(self.mu), float(self.sigma), periods)


@dataclass(frozen=True)
class LognormalSum:
    """Demand over several independent lognormal periods.

    The sum has no closed form. Its distribution function is built on a grid up to the level asked about by
    repeated convolution; demand is never negative, so nothing above that level matters below it and no tail
    is cut off. Cell masses keep each cell's mean, which makes the error fall with the square of the cell.
    """

    mu: float
    sigma: float
    periods: int
    is_discrete = False
    one: LognormalDemand = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "one", LognormalDemand(self.mu, self.sigma))

    @property
    def mean(self) -> float:
        return float(self.one.mean) * self.periods

    @property
    def sd(self) -> float:
        return float(self.one.sd) * math.sqrt(self.periods)

    def _masses(self, top: float) -> tuple[FloatArray, FloatArray]:
        """Grid from 0 to `top` and the chance of the sum at each point."""
        grid = np.linspace(0.0, top, CELLS + 1)
        # A cell's mass spread over its two ends so that its mean stays is the second difference of the loss.
        losses = np.asarray(self.one.loss(np.append(grid, grid[-1] + grid[1])))
        slopes = np.diff(losses) / grid[1]
        masses = np.diff(np.concatenate(([-1.0], slopes)))
        return grid, np.maximum(_folded(masses, self.periods), 0.0)

    def _expected_slack(self, level: float) -> float:
        """E[(level - D)+]."""
        grid, masses = self._masses(level)
        return float(masses @ (level - grid))

    def cdf(self, level: npt.ArrayLike) -> Numbers:
        return cast(Numbers, np.vectorize(self._cdf_of_one, otypes=[np.float64])(level)[()])

    def _cdf_of_one(self, level: float) -> float:
        if level <= 0:
            return 0.0
        grid, masses = self._masses(level * 1.01)
        return float(self._interpolated(grid, masses, level))

    @staticmethod
    def _interpolated(grid: FloatArray, masses: FloatArray, level: float) -> float:
        # A grid point's mass stands for half a cell to either side.
        return float(np.interp(level, grid + grid[1] / 2, np.cumsum(masses)))

    def quantile(self, probability: npt.ArrayLike) -> Numbers:
        chance = as_open_fraction("probability", probability)
        return cast(Numbers, np.vectorize(self._quantile_of_one, otypes=[np.float64])(chance)[()])

    def _quantile_of_one(self, chance: float) -> float:
        # If the sum passes n t, one of the n periods passes t: hence this level is never too low.
        top = self.periods * float(self.one.quantile(1 - (1 - chance) / self.periods))
        for _ in range(3):
            grid, masses = self._masses(top)
            level = float(np.interp(chance, np.cumsum(masses), grid + grid[1] / 2))
            top = min(top, level * 1.01)
        return level

    def loss(self, level: npt.ArrayLike) -> Numbers:
        return cast(Numbers, np.vectorize(self._loss_of_one, otypes=[np.float64])(level)[()])

    def _loss_of_one(self, level: float) -> float:
        slack = self._expected_slack(level) if level > 0 else 0.0
        return self.mean - level + slack

    def over_periods(self, periods: int) -> "LognormalSum":
        return LognormalSum(self.mu, self.sigma, self.periods * periods)


def _folded(masses: FloatArray, periods: int) -> FloatArray:
    """The masses of the sum of several periods, by doubling."""
    if periods == 1:
        return masses
    half = _folded(masses, periods // 2)
    total = signal.fftconvolve(half, half)[: CELLS + 1]
    return signal.fftconvolve(total, masses)[: CELLS + 1] if periods % 2 else total
