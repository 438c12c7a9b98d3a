"""How likely stock runs short by each day, and what more would have to be there, receipts being late or not.

What is taken until a day has a mean and a variance. Pieces follow a Poisson or negative binomial, shifted by
what is certain, or a binomial, so that mean and variance are right; what can be divided follows a gamma
where it is skewed to the right and a normal otherwise. Whether a receipt has come by a day is a chance of its
own: it is not spread out into a mean, since half a delivery never comes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

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
    """So much that is to come on a day counted from 0 (today), give or take; owed to one series.

    It has not come by the end of yesterday, so its day is a normal one cut off there. `certainty` is the
    chance that it comes at all.
    """

    series: int
    day: float
    sd_days: float
    quantity: float
    certainty: float = 1.0

    def chances(self, days: int) -> FloatArray:
        """Chance that it has come by the morning of each day, shape (days,)."""
        when = np.arange(days, dtype=np.float64)
        if self.sd_days <= 0:
            return np.asarray(self.certainty * (when >= self.day).astype(np.float64))
        # By the end of the day on which it is due half of all deliveries have come.
        day = max(self.day, 0.0)
        before, left = special.ndtr((-1 - day) / self.sd_days), special.ndtr((1 + day) / self.sd_days)
        come = (special.ndtr((when - day) / self.sd_days) - before) / left
        return np.asarray(self.certainty * come)


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
        return self._as_it_stands if not more.any() else self._chance_of(np.arange(len(more)), more)

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
        chances = np.where(matters, self.chance_short(), 0.0)
        rows = np.flatnonzero((chances > allowed[:, np.newaxis]).any(axis=1))
        found = np.zeros(len(self.on_hand))
        if len(rows):
            found[rows] = self._extra_of(rows, allowed[rows], matters[rows])
        return found

    @cached_property
    def _as_it_stands(self) -> FloatArray:
        return self._chance_of(np.arange(len(self.on_hand)), np.zeros(len(self.on_hand)))

    @cached_property
    def _arrivals(self) -> "Arrivals":
        return Arrivals.of(self.receipts, *self.taken.shape)

    def _chance_of(self, rows: npt.NDArray[np.int_], extra: FloatArray) -> FloatArray:
        """Mixed over how many of the receipts have come, each case weighed by its chance."""
        cases, owners = self._arrivals.of_rows(rows)
        at = rows[owners]
        there = (self.on_hand[at] + extra[owners])[:, np.newaxis] + self._arrivals.brought(cases)
        chance = exceeding_chance(
            there=there,
            mean=self.taken[at] - self.brought[at],
            variance=self.variance[at],
            is_whole=self.is_whole[at][:, np.newaxis],
        )
        chance *= self._arrivals.weights(cases)
        return np.asarray(np.add.reduceat(chance, _starts(owners))) if len(rows) else chance

    def _extra_of(
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
        """The least that does on one day of each series."""
        cases, owners = self._arrivals.of_rows(rows)
        at, on = rows[owners], days[owners]
        mean, variance = (self.taken - self.brought)[at, on], self.variance[at, on]
        there, weights = (
            self.on_hand[at] + self._arrivals.brought(cases, on),
            self._arrivals.weights(cases, on),
        )
        starts, whole = _starts(owners), self.is_whole[at]

        def is_enough(extra: FloatArray) -> npt.NDArray[np.bool_]:
            chance = exceeding_chance(
                there=there + extra[owners], mean=mean, variance=variance, is_whole=whole
            )
            return np.asarray(np.add.reduceat(chance * weights, starts) <= allowed)

        return _least_extra(is_enough, least, most, self.is_whole[rows])

    def _most(self, rows: npt.NDArray[np.int_]) -> FloatArray:
        """More than any day will ask for."""
        return np.asarray(
            np.maximum(self.taken[rows] - self.brought[rows], 0.0) + 10 * np.sqrt(self.variance[rows]) + 1
        )


@dataclass(frozen=True)
class Arrivals:
    """How many of its receipts a series has had by each day: a case for none, one, two, ... of them.

    On each day those come first that are likeliest to have come by then, so that every receipt keeps its own
    chance whatever the others do. `first` and `count` say which cases are whose. `chances` and `amounts` hold
    the weights of the cases and what their receipts bring, of those series alone that await something: `row`
    says where, -1 for the one case of a series that awaits nothing.
    """

    first: npt.NDArray[np.int_]
    count: npt.NDArray[np.int_]
    row: npt.NDArray[np.int_]
    chances: FloatArray
    amounts: FloatArray

    @classmethod
    def of(cls, receipts: Sequence[Receipt], series: int, days: int) -> "Arrivals":
        awaited: dict[int, list[Receipt]] = {}
        for receipt in sorted(receipts, key=lambda row: row.day):
            awaited.setdefault(receipt.series, []).append(receipt)
        count = np.ones(series, dtype=int)
        for number, due in awaited.items():
            count[number] += len(due)
        first = np.cumsum(count) - count
        row = np.full(int(count.sum()), -1)
        weights: list[FloatArray] = [np.zeros((0, days))]
        amounts: list[FloatArray] = [np.zeros((0, days))]
        known = 0
        for number, due in awaited.items():
            cases = slice(first[number], first[number] + count[number])
            come = np.array([receipt.chances(days) for receipt in due])
            order = np.argsort(-come, axis=0, kind="stable")
            come = np.take_along_axis(come, order, axis=0)
            weights.append(-np.diff(come, axis=0, prepend=1.0, append=0.0))
            quantities = np.array([receipt.quantity for receipt in due])[order]
            amounts.append(np.vstack([np.zeros(days), np.cumsum(quantities, axis=0)]))
            row[cases] = np.arange(known, known + count[number])
            known += int(count[number])
        return cls(first, count, row, np.vstack(weights), np.vstack(amounts))

    def of_rows(self, rows: npt.NDArray[np.int_]) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
        """The cases of these series, one after the other, and for each which of the series it is of."""
        count = self.count[rows]
        owners = np.repeat(np.arange(len(rows)), count)
        within = np.arange(len(owners)) - np.repeat(np.cumsum(count) - count, count)
        return self.first[rows][owners] + within, owners

    def weights(self, cases: npt.NDArray[np.int_], days: npt.NDArray[np.int_] | None = None) -> FloatArray:
        """Chance of each case on every day, shape (cases, days), or on one day each, shape (cases,)."""
        return self._looked_up(self.chances, 1.0, cases, days)

    def brought(self, cases: npt.NDArray[np.int_], days: npt.NDArray[np.int_] | None = None) -> FloatArray:
        """What the receipts of each case bring, shaped likewise."""
        return self._looked_up(self.amounts, 0.0, cases, days)

    def _looked_up(
        self,
        table: FloatArray,
        usual: float,
        cases: npt.NDArray[np.int_],
        days: npt.NDArray[np.int_] | None,
    ) -> FloatArray:
        row = self.row[cases]
        is_known = row >= 0
        found = np.full((len(cases), table.shape[1]) if days is None else len(cases), usual)
        chosen = row[is_known]
        found[is_known] = table[chosen] if days is None else table[chosen, days[is_known]]
        return found


def _starts(owners: npt.NDArray[np.int_]) -> npt.NDArray[np.int_]:
    """Where each owner's cases begin."""
    return np.flatnonzero(np.diff(owners, prepend=-1))


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
    most = np.floor(stock - certain + ROUNDING)
    found = np.where(most < 0, 1.0, 0.0)
    # Each distribution is asked only for what follows it: the beta function is most of the work.
    is_open = (most >= 0) & (left >= ROUNDING)
    ratio = np.divide(variance, left, out=np.ones_like(left), where=is_open)
    is_poisson = ~is_wide & (np.abs(ratio - 1) < 1e-6)
    for chosen, chance in (
        (is_open & is_wide, _more_by_negative_binomial),
        (is_open & is_poisson, lambda count, left, _ratio: special.gammainc(count, left)),
        (is_open & ~is_wide & ~is_poisson, _more_by_binomial),
    ):
        if chosen.any():
            found[chosen] = chance(most[chosen] + 1, left[chosen], ratio[chosen])
    return found


def _more_by_negative_binomial(count: FloatArray, mean: FloatArray, ratio: FloatArray) -> FloatArray:
    """P(N >= count), `ratio` being variance over mean, above 1."""
    over = np.maximum(ratio - 1, 1e-300)
    return np.asarray(special.betainc(count, mean / over, 1 - 1 / ratio))


def _more_by_binomial(count: FloatArray, mean: FloatArray, ratio: FloatArray) -> FloatArray:
    """P(N >= count), `ratio` being variance over mean, below 1; as many trials as that takes."""
    chance = np.clip(1 - ratio, 0.0, 1.0)
    trials = mean / chance
    found = special.betainc(count, np.maximum(trials - count + 1, 1e-12), chance)
    return np.where(count - 1 < trials, found, 0.0)


def _more_of_what_is_divisible(stock: FloatArray, mean: FloatArray, variance: FloatArray) -> FloatArray:
    sd = np.sqrt(variance)
    found = (stock < mean).astype(np.float64)
    # Net of what comes back it may be below nothing, which a gamma never is.
    is_skewed = (mean > 0) & (sd > mean / 2)
    plain, skewed = (sd > 0) & ~is_skewed, (sd > 0) & is_skewed
    found[plain] = special.ndtr((mean[plain] - stock[plain]) / sd[plain])
    middle, spread = mean[skewed], variance[skewed]
    tail = special.gammaincc(np.square(middle) / spread, np.maximum(stock[skewed], 0.0) * middle / spread)
    found[skewed] = np.where(stock[skewed] < 0, 1.0, tail)
    return found
