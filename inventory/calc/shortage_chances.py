"""How likely stock runs short by each day, and what more would have to be there, receipts being late or not.

What is taken until a day has a mean and a variance. Pieces follow a Poisson or negative binomial, shifted by
what is certain, or a binomial, so that mean and variance are right; what can be divided follows a gamma
where it is skewed to the right and a normal otherwise. Whether a receipt has come by a day is a chance of its
own: it is not spread out into a mean, since half a delivery never comes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.bisection import least_whole
from inventory.calc.ranges import FloatArray, as_not_negative, as_open_fraction

# Amounts are compared to this share of themselves: plans are sums of many rounded parts.
ROUNDING = 1e-9
HALVINGS = 60


@dataclass(frozen=True)
class Receipt:
    """So much that is to come on a day counted from 0, give or take; owed to one series."""

    series: int
    day: float
    sd_days: float
    quantity: float

    def chances(self, days: int) -> FloatArray:
        """Chance that it has come by the morning of each day, shape (days,)."""
        when = np.arange(days, dtype=np.float64)
        if self.sd_days <= 0:
            return (when >= self.day).astype(np.float64)
        # By the end of the day on which it is due half of all deliveries have come.
        return np.asarray(special.ndtr((when - self.day) / self.sd_days))


@dataclass(frozen=True)
class Outlook:
    """Stock of many series over the days ahead, without what is to be ordered.

    on_hand: shape (n,), >= 0. taken, brought: what is expected to be taken until each day, and to come back
    until it; variance of both together; all cumulative, shape (n, days). is_whole: counted in pieces,
    shape (n,). Receipts in any order. Amounts in stock units.
    """

    on_hand: FloatArray
    taken: FloatArray
    brought: FloatArray
    variance: FloatArray
    is_whole: npt.NDArray[np.bool_]
    receipts: Sequence[Receipt] = ()

    def levels(self) -> FloatArray:
        """Mean stock on each day, receipts weighted by the chance that they have come [units]."""
        level = self.on_hand[:, np.newaxis] + self.brought - self.taken
        for receipt in self.receipts:
            level[receipt.series] += receipt.quantity * receipt.chances(level.shape[1])
        return level

    def spreads(self) -> FloatArray:
        """Standard deviation of the stock on each day, that of the receipts' coming included [units]."""
        variance = self.variance.copy()
        for receipt in self.receipts:
            chance = receipt.chances(variance.shape[1])
            variance[receipt.series] += receipt.quantity**2 * chance * (1 - chance)
        return np.sqrt(variance)

    def chance_short(self, extra: npt.ArrayLike = 0.0) -> FloatArray:
        """Chance that stock is below nothing on each day if `extra` more were there (see the module)."""
        more = np.broadcast_to(np.asarray(extra, dtype=np.float64), self.on_hand.shape)
        found = self._chance_of(np.arange(len(self.on_hand)), more)
        for series, receipts in self._by_series().items():
            found[series] = self._chance_with(series, receipts, float(more[series]))
        return found

    def lacking(self, service: npt.ArrayLike) -> FloatArray:
        """What more would have to be there so that each day is got through with the wanted chance.

        Parameters
        ----------
        service : array_like
            Wanted chance of not running short, between 0 and 1, shape (n,) or a number [1]

        Returns
        -------
        ndarray
            The most that any day up to each lacks, >= 0, shape (n, days); whole where pieces are [units]
        """
        wanted = np.broadcast_to(as_open_fraction("service", service), self.on_hand.shape)
        is_short = self.chance_short() > (1 - wanted)[:, np.newaxis] + ROUNDING
        found = np.zeros_like(self.taken)
        by_series = self._by_series()
        for series in np.flatnonzero(is_short.any(axis=1)):
            receipts = by_series.get(int(series), [])
            found[series] = self._lacking_of(int(series), receipts, float(wanted[series]), is_short[series])
        return np.maximum.accumulate(found, axis=1)

    def _by_series(self) -> dict[int, list[Receipt]]:
        found: dict[int, list[Receipt]] = {}
        for receipt in sorted(self.receipts, key=lambda row: row.day):
            found.setdefault(receipt.series, []).append(receipt)
        return found

    def _chance_of(self, rows: npt.NDArray[np.int_], extra: npt.ArrayLike) -> FloatArray:
        there = self.on_hand[rows] + extra
        return exceeding_chance(
            there=np.broadcast_to(there[:, np.newaxis], self.taken[rows].shape),
            mean=self.taken[rows] - self.brought[rows],
            variance=self.variance[rows],
            is_whole=self.is_whole[rows][:, np.newaxis],
        )

    def _chance_with(self, series: int, receipts: list[Receipt], extra: npt.ArrayLike) -> FloatArray:
        """Mixed over how many of the receipts have come; they come in the order in which they are due."""
        days = self.taken.shape[1]
        come = np.minimum.accumulate([receipt.chances(days) for receipt in receipts], axis=0)
        come = np.vstack([np.ones(days), come, np.zeros(days)])
        brought = np.concatenate([[0.0], np.cumsum([receipt.quantity for receipt in receipts])])
        found = np.zeros(np.broadcast_shapes((days,), np.shape(extra)))
        for number, quantity in enumerate(brought):
            weight = come[number] - come[number + 1]
            if weight.any():
                found = found + weight * self._chance_of_one(series, extra + quantity)
        return found

    def _chance_of_one(self, series: int, extra: npt.ArrayLike) -> FloatArray:
        there = self.on_hand[series] + np.asarray(extra, dtype=np.float64)
        shape = np.broadcast_shapes(there.shape, self.taken[series].shape)
        return exceeding_chance(
            there=np.broadcast_to(there, shape),
            mean=np.broadcast_to(self.taken[series] - self.brought[series], shape),
            variance=np.broadcast_to(self.variance[series], shape),
            is_whole=np.broadcast_to(self.is_whole[series], shape),
        )

    def _lacking_of(
        self, series: int, receipts: list[Receipt], wanted: float, is_short: npt.NDArray[np.bool_]
    ) -> FloatArray:
        def is_enough(extra: FloatArray) -> npt.NDArray[np.bool_]:
            chance = (
                self._chance_with(series, receipts, extra) if receipts else self._chance_of_one(series, extra)
            )
            return np.asarray(chance <= 1 - wanted + ROUNDING) | ~is_short

        shape = self.taken[series].shape
        most = (
            np.maximum(self.taken[series] - self.brought[series], 0) + 10 * np.sqrt(self.variance[series]) + 1
        )
        if self.is_whole[series]:
            found = least_whole(is_enough, low=np.zeros(shape), high=np.ceil(most))
            return np.where(is_short, np.asarray(found), 0.0)
        low, high = np.zeros(shape), most
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            enough = is_enough(middle)
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        return np.where(is_short, high, 0.0)


def exceeding_chance(
    *, there: npt.ArrayLike, mean: npt.ArrayLike, variance: npt.ArrayLike, is_whole: npt.ArrayLike
) -> FloatArray:
    """Chance that more is taken than there is, P(X > there), X with this mean and variance.

    Pieces: X = c + N. Where the variance is below the mean c = floor(mean - variance) and N is binomial, or
    Poisson where its moments are equal; where it is above, c = 0 and N is negative binomial. What can be
    divided: gamma where the standard deviation is above half a positive mean, normal elsewhere. Certain where
    the variance is 0.

    Parameters
    ----------
    there, mean : array_like
        Stock and mean taken, any real numbers, same shape [any unit u]
    variance : array_like
        >= 0, same shape [u^2]
    is_whole : array_like
        Whether u is a piece, same shape or broadcast

    Returns
    -------
    ndarray
        Chances, same shape [1]

    Raises
    ------
    ValueError
        If a variance is negative.

    References
    ----------
    .. [1] Johnson, N. L., Kemp, A. W. & Kotz, S. (2005), Univariate Discrete Distributions, 3rd ed.,
       chapters 4 and 5 (moments of Poisson and negative binomial).
    .. [2] Burgin, T. A. (1975), The gamma distribution and inventory control, Operational Research Quarterly
       26:507-525.
    """
    stock, centre = np.asarray(there, dtype=np.float64), np.asarray(mean, dtype=np.float64)
    spread = np.asarray(as_not_negative("variance", variance), dtype=np.float64)
    whole = np.broadcast_to(np.asarray(is_whole, dtype=bool), centre.shape)
    found = np.zeros(centre.shape)
    slack = ROUNDING * np.maximum(1.0, np.abs(centre))
    pieces, rest = whole, ~whole
    if pieces.any():
        found[pieces] = _more_pieces(stock[pieces], centre[pieces], spread[pieces])
    if rest.any():
        found[rest] = _more_of_what_is_divisible(stock[rest] + slack[rest], centre[rest], spread[rest])
    return found


def _more_pieces(stock: FloatArray, mean: FloatArray, variance: FloatArray) -> FloatArray:
    is_wide = (variance > mean * (1 + ROUNDING)) & (mean > 0)
    certain = np.where(is_wide, 0.0, np.floor(mean - variance + ROUNDING))
    # What comes back may outweigh what is taken: then the shift goes below nothing.
    left = np.maximum(mean - certain, 0.0)
    left = np.where(left < ROUNDING, 0.0, left)
    most = np.floor(stock - certain + ROUNDING)
    count = np.maximum(most, 0.0) + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = variance / left
        chance = np.clip(1 - ratio, 0.0, 1.0)
        trials = left / chance
        narrow = np.where(
            count - 1 < trials, special.betainc(count, np.maximum(trials - count + 1, 1e-12), chance), 0.0
        )
        wide = special.betainc(count, left / np.maximum(ratio - 1, 1e-300), 1 - 1 / np.maximum(ratio, 1.0))
    is_poisson = np.abs(ratio - 1) < 1e-6
    found = np.where(is_wide, wide, np.where(is_poisson, special.gammainc(count, left), narrow))
    return np.asarray(np.where(most < 0, 1.0, np.where(left > 0, found, 0.0)))


def _more_of_what_is_divisible(stock: FloatArray, mean: FloatArray, variance: FloatArray) -> FloatArray:
    sd = np.sqrt(variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        normal = special.ndtr(-(stock - mean) / sd)
        shape = np.square(mean) / variance
        gamma = special.gammaincc(shape, np.maximum(stock, 0.0) * mean / variance)
    # Net of what comes back it may be below nothing, which a gamma never is.
    is_skewed = (mean > 0) & (sd > mean / 2)
    found = np.where(is_skewed, np.where(stock < 0, 1.0, gamma), normal)
    return np.asarray(np.where(sd > 0, found, (stock < mean).astype(np.float64)))
