"""Stock that lives through recorded demand under a rule, period by period.

Each period: what has been delivered comes in and serves who waits, then demand takes what is there and the
rest waits, then, where the stock is looked at, the position (on hand + on order - waiting) is held against
the reorder point: at it or below as many order quantities are ordered as bring it above.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import demand_pattern
from inventory.calc.ranges import FloatArray, as_not_negative, as_whole

# What is foreseen from fewer periods teaches nothing.
LEAST_KNOWN = 4
Periods = npt.NDArray[np.int_]
# Reorder points and order quantities after a period.
Rule = Callable[[int], tuple[FloatArray, FloatArray]]
NEGLIGIBLE = 1e-9


@dataclass(frozen=True)
class FillUp:
    """Levels set by hand up to which stock is filled, NaN where none was, and packs; shape (n,) [units]."""

    maximum: FloatArray
    pack: FloatArray

    def orders(self, position: FloatArray, usual: FloatArray) -> FloatArray:
        """What brings the position up to the maximum in whole packs, or what is usual without one."""
        packs = np.ceil((self.maximum - position) / self.pack - NEGLIGIBLE)
        return np.where(np.isnan(self.maximum), usual, np.maximum(packs, 1.0) * self.pack)


@dataclass
class ReplayedStock:
    """Stock of many series as it goes along, and what was seen of it; arrays of shape (n, periods).

    `wait` says how many periods an order takes that goes out at the end of a period, `is_looked_at` after
    which periods one may go out. `cycles` counts deliveries, `cycles_short` those before which something was
    lacking since the one before.
    """

    demand: FloatArray
    wait: Periods
    is_looked_at: npt.NDArray[np.bool_]
    start: int
    fill_up: FillUp | None = None
    filled: FloatArray = field(init=False)
    on_hand: FloatArray = field(init=False)
    waiting: FloatArray = field(init=False)
    ordered: FloatArray = field(init=False)
    cycles: FloatArray = field(init=False)
    cycles_short: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        for name in ("filled", "on_hand", "waiting", "ordered", "cycles", "cycles_short"):
            setattr(self, name, np.zeros_like(self.demand))
        self._due = np.zeros((len(self.demand), self.demand.shape[1] + int(self.wait.max(initial=0)) + 2))
        self._lacked = np.zeros(len(self.demand), dtype=bool)

    def run(self, rule: Rule) -> "ReplayedStock":
        """Live through all periods from `start` on, beginning with the highest position on hand."""
        point, size = rule(self.start - 1)
        held = np.maximum(point + size, 0.0)
        if self.fill_up is not None:
            held = np.where(np.isnan(self.fill_up.maximum), held, self.fill_up.maximum)
        position, waiting, every = held, np.zeros(len(held)), np.arange(len(held))
        for period in range(self.start, self.demand.shape[1]):
            held, waiting = self._serve(period, held, waiting)
            position = position - self.demand[:, period]
            if not self.is_looked_at[:, period].any():
                continue
            order = self._order(period, position, *rule(period))
            self.ordered[:, period] = order
            self._due[every, period + self.wait[:, period] + 1] += order
            position = position + order
        return self

    def _serve(self, period: int, held: FloatArray, waiting: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What is held and what waits after a period's delivery and demand."""
        arrived, wanted = self._due[:, period] > 0, self.demand[:, period]
        self.cycles[:, period], self.cycles_short[:, period] = arrived, arrived & self._lacked
        self._lacked &= ~arrived
        there = held - waiting + self._due[:, period]
        held, waiting = np.maximum(there, 0.0), np.maximum(-there, 0.0)
        self.filled[:, period] = np.minimum(held, wanted)
        lacking = wanted - self.filled[:, period]
        held, waiting = held - self.filled[:, period], waiting + lacking
        self.on_hand[:, period], self.waiting[:, period] = held, waiting
        self._lacked |= lacking > NEGLIGIBLE
        return held, waiting

    def _order(self, period: int, position: FloatArray, point: FloatArray, size: FloatArray) -> FloatArray:
        order = (np.floor(np.maximum(point - position, -NEGLIGIBLE) / size + NEGLIGIBLE) + 1) * size
        if self.fill_up is not None:
            order = self.fill_up.orders(position, order)
        return np.where(self.is_looked_at[:, period] & (position <= point + NEGLIGIBLE), order, 0.0)


@dataclass(frozen=True)
class ReplayResult:
    """What was reached from the first period judged on, by series; classes as told from those learnt from.

    demanded, filled, stock and waiting (mean on hand and on backorder after each period), orders (number),
    short (periods in which not all that was wanted was there), cycles (deliveries) and cycles_short (those
    before which something was lacking), shape (n,).
    """

    classes: npt.NDArray[np.object_]
    demanded: FloatArray
    filled: FloatArray
    stock: FloatArray
    waiting: FloatArray
    orders: FloatArray
    short: FloatArray
    cycles: FloatArray
    cycles_short: FloatArray

    def fill_rate(self, among: npt.NDArray[np.bool_], weights: FloatArray | float = 1.0) -> float:
        """Filled / demanded of some series, a unit counting its weight; 1 where nothing was demanded."""
        weighed = np.broadcast_to(weights, self.demanded.shape)[among]
        wanted = float((weighed * self.demanded[among]).sum())
        return float((weighed * self.filled[among]).sum()) / wanted if wanted > 0 else 1.0

    def cycle_service(self, among: npt.NDArray[np.bool_]) -> float | None:
        """Share of the cycles from delivery to delivery in which nothing was lacking; None without any."""
        cycles = float(self.cycles[among].sum())
        return 1 - float(self.cycles_short[among].sum()) / cycles if cycles else None


def first_period(learnt: int, lead_time: Periods) -> int:
    """The period in which the stock begins: the longest lead time + 1 before judging does.

    Parameters
    ----------
    learnt : int
        Periods learnt from [periods]
    lead_time : ndarray
        L >= 0, shape (n,) [periods]

    Returns
    -------
    int
        Counted from 0 [periods]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] As for `replay`.
    """
    return learnt - int(lead_time.max(initial=0)) - 1


def replay(
    *,
    demand: npt.ArrayLike,
    lead_time: npt.ArrayLike,
    learnt: int,
    rule: Rule,
    start: int | None = None,
    is_looked_at: npt.NDArray[np.bool_] | None = None,
    fill_up: FillUp | None = None,
) -> ReplayResult:
    """Live a history through with a rule and judge it on what came after the periods learnt from.

    Where no start is said the stock begins the longest L + 1 periods before the end of the learning, so that
    it runs as it will when judging begins.

    Parameters
    ----------
    demand : array_like
        Demand >= 0 by series and period, shape (n, periods) [units]
    lead_time : array_like
        L >= 0: a number, shape (n,), or (n, periods) for that of each order by the period after which it
        goes out; what is ordered at the end of a period is there L + 1 periods later [periods]
    learnt : int
        Periods learnt from; judged is what follows [periods]
    rule : callable
        Of a period, reorder points and order quantities > 0 as known after it, shape (n,) [units]
    start : int, optional
        The period in which the stock begins, 1 to learnt [periods]
    is_looked_at : ndarray, optional
        After which periods a series may be ordered, shape (n, periods); after every one where left out [-]
    fill_up : FillUp, optional
        Series that are filled up to a level instead of by order quantities [units]

    Returns
    -------
    ReplayResult
        As described there [units]

    Raises
    ------
    ValueError
        If there are too few periods to learn from, none to judge on, or the start lies outside.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., chapter 5
       (reorder point and order quantity under periodic review).
    """
    history = np.asarray(as_not_negative("demand", demand), dtype=np.float64)
    given = np.asarray(as_whole("lead_time", lead_time, least=0), dtype=int)
    wait = np.broadcast_to(given[:, np.newaxis] if given.ndim == 1 else given, history.shape)
    if start is None:
        longest = int(wait.max(initial=0))
        start = as_whole("learnt", learnt, least=LEAST_KNOWN + longest + 1) - longest - 1
    if not 1 <= start <= learnt:
        raise ValueError(f"start must be from 1 to learnt, got {start} of {learnt}")
    if learnt >= history.shape[1]:
        raise ValueError(f"learnt must leave periods to judge on, got {learnt} of {history.shape[1]}")
    looked = np.ones(history.shape, dtype=bool) if is_looked_at is None else is_looked_at
    stock = ReplayedStock(history, wait, looked, start, fill_up).run(rule)
    judged = slice(learnt, None)
    missed = history[:, judged] - stock.filled[:, judged]
    return ReplayResult(
        classes=demand_pattern(history[:, :learnt]).classes,
        demanded=history[:, judged].sum(axis=1),
        filled=stock.filled[:, judged].sum(axis=1),
        stock=stock.on_hand[:, judged].mean(axis=1),
        waiting=stock.waiting[:, judged].mean(axis=1),
        orders=np.count_nonzero(stock.ordered[:, judged] > 0, axis=1).astype(np.float64),
        short=np.count_nonzero(missed > NEGLIGIBLE, axis=1).astype(np.float64),
        cycles=stock.cycles[:, judged].sum(axis=1),
        cycles_short=stock.cycles_short[:, judged].sum(axis=1),
    )
