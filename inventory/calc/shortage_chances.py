"""How likely stock runs short by each day, and what more would have to be there, receipts being late or not.

What is taken until a day has a mean and a variance. Pieces follow a Poisson or negative binomial, shifted by
what is certain, or a binomial, so that mean and variance are right; what can be divided follows a gamma
where it is skewed to the right and a normal otherwise. Whether a receipt has come by a day is a chance of its
own: it is not spread out into a mean, since half a delivery never comes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.ranges import FloatArray, as_not_negative, as_open_fraction

# Amounts are compared to this share of themselves: plans are sums of many rounded parts.
ROUNDING = 1e-9
HALVINGS = 80
MOST_ROUNDS = 12


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

    def extra_needed(self, service: npt.ArrayLike, until: npt.ArrayLike) -> FloatArray:
        """The least that would have to be there besides so that every day before `until` is got through.

        Parameters
        ----------
        service : array_like
            Wanted chance of not running short, between 0 and 1, shape (n,) or a number [1]
        until : array_like
            The first day that no longer matters, counted from 0, shape (n,) or a number [days]

        Returns
        -------
        ndarray
            Shape (n,), >= 0; whole where there are pieces [units]
        """
        wanted = np.broadcast_to(as_open_fraction("service", service), self.on_hand.shape)
        matters = np.arange(self.taken.shape[1]) < np.broadcast_to(until, self.on_hand.shape)[:, np.newaxis]
        allowed = 1 - wanted + ROUNDING
        is_short = ((self.chance_short() > allowed[:, np.newaxis]) & matters).any(axis=1)
        by_series = self._by_series()
        has_receipts = np.zeros(len(self.on_hand), dtype=bool)
        has_receipts[list(by_series)] = True
        found = np.zeros(len(self.on_hand))
        rows = np.flatnonzero(is_short & ~has_receipts)
        if len(rows):
            found[rows] = self._extra_of_many(rows, allowed[rows], matters[rows])
        for series in np.flatnonzero(is_short & has_receipts).tolist():
            found[series] = self._extra_of_one(series, by_series[series], allowed[series], matters[series])
        return found

    def _by_series(self) -> dict[int, list[Receipt]]:
        found: dict[int, list[Receipt]] = {}
        for receipt in sorted(self.receipts, key=lambda row: row.day):
            found.setdefault(receipt.series, []).append(receipt)
        return found

    def _chance_of(self, rows: npt.NDArray[np.int_], extra: FloatArray) -> FloatArray:
        there = self.on_hand[rows] + extra
        return exceeding_chance(
            there=np.broadcast_to(there[:, np.newaxis], self.taken[rows].shape),
            mean=self.taken[rows] - self.brought[rows],
            variance=self.variance[rows],
            is_whole=self.is_whole[rows][:, np.newaxis],
        )

    def _chance_with(self, series: int, receipts: list[Receipt], extra: float) -> FloatArray:
        """Mixed over how many of the receipts have come; they come in the order in which they are due."""
        days = self.taken.shape[1]
        come = np.minimum.accumulate([receipt.chances(days) for receipt in receipts], axis=0)
        come = np.vstack([np.ones(days), come, np.zeros(days)])
        brought = np.concatenate([[0.0], np.cumsum([receipt.quantity for receipt in receipts])])
        found = np.zeros(days)
        for number, quantity in enumerate(brought):
            weight = come[number] - come[number + 1]
            if weight.any():
                found += weight * self._chance_of(np.array([series]), np.array([extra + quantity]))[0]
        return found

    def _extra_of_many(
        self, rows: npt.NDArray[np.int_], allowed: FloatArray, matters: npt.NDArray[np.bool_]
    ) -> FloatArray:
        """Search on the worst day alone, then on the day that is the worst once that is provided for."""
        extra, most = np.zeros(len(rows)), self._most(rows)
        left = np.arange(len(rows))
        days = np.where(matters, most, -1.0).argmax(axis=1)
        for _ in range(MOST_ROUNDS):
            extra[left] = self._search(
                rows[left], days[left], allowed[left], extra[left], most[left].max(axis=1)
            )
            chance = np.where(matters[left], self._chance_of(rows[left], extra[left]), 0.0)
            is_short = chance.max(axis=1) > allowed[left]
            days[left] = chance.argmax(axis=1)
            left = left[is_short]
            if not len(left):
                break
        return extra

    def _search(
        self,
        rows: npt.NDArray[np.int_],
        days: npt.NDArray[np.int_],
        allowed: FloatArray,
        least: FloatArray,
        most: FloatArray,
    ) -> FloatArray:
        mean = (self.taken - self.brought)[rows, days]
        variance, whole, there = self.variance[rows, days], self.is_whole[rows], self.on_hand[rows]

        def is_enough(extra: FloatArray) -> npt.NDArray[np.bool_]:
            chance = exceeding_chance(there=there + extra, mean=mean, variance=variance, is_whole=whole)
            return np.asarray(chance <= allowed)

        return _least_extra(is_enough, least, most, whole)

    def _extra_of_one(
        self, series: int, receipts: list[Receipt], allowed: float, matters: npt.NDArray[np.bool_]
    ) -> float:
        def is_enough(extra: FloatArray) -> npt.NDArray[np.bool_]:
            chance = self._chance_with(series, receipts, float(extra[0]))
            return np.array([bool((chance[matters] <= allowed).all())])

        row = np.array([series])
        most = self._most(row).max(axis=1)
        return float(_least_extra(is_enough, np.zeros(1), most, self.is_whole[row])[0])

    def _most(self, rows: npt.NDArray[np.int_]) -> FloatArray:
        """More than any day will ask for."""
        return np.asarray(
            np.maximum(self.taken[rows] - self.brought[rows], 0.0) + 10 * np.sqrt(self.variance[rows]) + 1
        )


def _least_extra(
    is_enough: Callable[[FloatArray], npt.NDArray[np.bool_]],
    least: FloatArray,
    most: FloatArray,
    is_whole: npt.NDArray[np.bool_],
) -> FloatArray:
    """The least amount that is enough: to the last digits, or the least whole number of pieces."""
    low, high = np.where(is_whole, np.ceil(least) - 1, least), np.where(is_whole, np.ceil(most), most)
    while not (found := is_enough(high)).all():
        high = np.where(found, high, 2 * high + 1)
    for _ in range(HALVINGS):
        middle = np.where(is_whole, np.floor((low + high) / 2), (low + high) / 2)
        enough = is_enough(middle)
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        if np.all(high - low <= np.where(is_whole, 1.0, ROUNDING * np.maximum(1.0, high))):
            break
    return high


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
        Whether u is a piece, same shape or broadcast [-]

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
