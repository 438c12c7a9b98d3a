"""A past stretch lived through again, period by period, with what was known then and no more.

Each period: what was ordered lead time + 1 periods before comes in and serves who waits, then demand takes
what is there and the rest waits, then the position (on hand + on order - waiting) is looked at: at or below
the reorder point as many order quantities are ordered as bring it above.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inventory.calc.back_testing import ForeseenUse, foresee_use
from inventory.calc.demand_forecasts import demand_pattern
from inventory.calc.ranges import FloatArray, as_not_negative, as_whole
from inventory.calc.spread_lessons import Aimed, ClassAimed, Lesson, learnt_factor, teach_classes
from inventory.calc.stock_levels import LeadTimeDemands, demands_over_lead_time, plan_levels

# What is foreseen from fewer periods teaches nothing.
LEAST_KNOWN = 4
Sizes = Callable[[FloatArray], FloatArray]
Periods = npt.NDArray[np.int_]
# Reorder points and order quantities after a period.
Rule = Callable[[int], tuple[FloatArray, FloatArray]]


@dataclass
class ReplayedStock:
    """Stock of many series as it goes along, and what was seen of it; arrays of shape (n, periods)."""

    demand: FloatArray
    lead_time: Periods
    start: int
    filled: FloatArray = field(init=False)
    on_hand: FloatArray = field(init=False)
    ordered: FloatArray = field(init=False)
    _due: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        series, periods = self.demand.shape
        self.filled, self.on_hand = np.zeros_like(self.demand), np.zeros_like(self.demand)
        self.ordered = np.zeros_like(self.demand)
        self._due = np.zeros((series, periods + int(self.lead_time.max(initial=0)) + 2))

    def run(self, rule: Rule) -> "ReplayedStock":
        """Live through all periods from `start` on, beginning with the highest position on hand."""
        point, size = rule(self.start - 1)
        held = position = np.maximum(point + size, 0.0)
        waiting, every = np.zeros(len(self.demand)), np.arange(len(self.demand))
        for period in range(self.start, self.demand.shape[1]):
            wanted = self.demand[:, period]
            there = held - waiting + self._due[:, period]
            held, waiting = np.maximum(there, 0.0), np.maximum(-there, 0.0)
            self.filled[:, period] = np.minimum(held, wanted)
            held, waiting = held - self.filled[:, period], waiting + wanted - self.filled[:, period]
            self.on_hand[:, period] = held
            position = position - wanted
            point, size = rule(period)
            orders = np.floor(np.maximum(point - position, -1e-9) / size + 1e-9) + 1
            order = np.where(position <= point + 1e-9, orders * size, 0.0)
            self.ordered[:, period] = order
            self._due[every, period + self.lead_time + 1] += order
            position = position + order
        return self


@dataclass(frozen=True)
class ReplayResult:
    """What was reached from `judged_from` on, by series; classes as told from the periods learnt from.

    demanded, filled, stock (mean on hand after each period), orders (number) and short (periods in which
    not all that was wanted was there), shape (n,).
    """

    classes: npt.NDArray[np.object_]
    demanded: FloatArray
    filled: FloatArray
    stock: FloatArray
    orders: FloatArray
    short: FloatArray

    def fill_rate(self, among: npt.NDArray[np.bool_]) -> float:
        """Filled / demanded of some of the series; 1 where nothing was demanded."""
        wanted = float(self.demanded[among].sum())
        return float(self.filled[among].sum()) / wanted if wanted > 0 else 1.0


@dataclass
class LivePolicy:
    """The policy that restocking follows, as it would have been known after each period.

    Forecast, shape of demand and reorder point are those of restocking; the factors by class are learnt from
    the periods before, as restocking learns them night by night. From `learnt` on the factors that stood are
    on the record. `sizes` gives the order quantities for rates per period. history is of shape (n, periods),
    NaN before a series began; what is given is kept in `given`, by period.
    """

    history: FloatArray
    lead_time: Periods
    learnt: int
    share: FloatArray
    is_fill_rate: npt.NDArray[np.bool_]
    is_whole: npt.NDArray[np.bool_]
    sizes: Sizes
    weights: FloatArray
    lead_time_sd: FloatArray | float = 0.0
    since_classed: Callable[[int], int] = lambda period: 0
    pool: FloatArray | None = None
    given: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    factors: dict[int, dict[ClassAimed, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._foreseen: dict[int, ForeseenUse] = {}
        self._lessons: dict[int, dict[ClassAimed, Lesson]] = {}
        self._total = np.cumsum(np.pad(np.nan_to_num(self.history), ((0, 0), (1, 0))), axis=1)

    def __call__(self, period: int) -> tuple[FloatArray, FloatArray]:
        demands, sizes = self._demands(period, self.lead_time_sd)
        levels = plan_levels(
            demands=demands,
            order_quantity=sizes,
            share=self.share,
            is_fill_rate=self.is_fill_rate,
            spread_factor=self._factors_by_series(period),
        )
        # What was never used so far is not kept: the highest position is nothing.
        is_used = self._foresee(period).rates > 0
        self.given[period] = np.where(is_used, levels.reorder_point, -sizes), sizes
        return self.given[period]

    def _foresee(self, period: int) -> ForeseenUse:
        if period not in self._foreseen:
            self._foreseen[period] = foresee_use(
                self.history[:, : period + 1],
                pool=None if self.pool is None else self.pool[:, : period + 1],
                since_classed=self.since_classed(period),
            )
        return self._foreseen[period]

    def _demands(self, period: int, lead_time_sd: FloatArray | float) -> tuple[LeadTimeDemands, FloatArray]:
        use = self._foresee(period)
        wait, look = self.lead_time.astype(np.float64), np.ones(len(use.rates))
        demands = demands_over_lead_time(
            rate=use.rates,
            sd=use.spreads,
            rate_error=use.errors,
            lead_time=wait,
            lead_time_sd=lead_time_sd + 0 * wait,
            review_period=look,
            is_whole=self.is_whole,
        )
        return demands, self.sizes(use.rates)

    def _factors_by_series(self, period: int) -> FloatArray:
        factors, found = self._factors_at(period), np.full(len(self.history), np.nan)
        classes = self._foresee(period).classes
        for (name, is_fill_rate), factor in factors.items():
            found[(classes == name) & (self.is_fill_rate == is_fill_rate)] = factor
        return found

    def _factors_at(self, period: int) -> dict[ClassAimed, float]:
        if period not in self.factors:
            found: dict[ClassAimed, float] = {}
            taught = [self._lesson(end) for end in range(LEAST_KNOWN, period + 1)]
            for key in sorted({key for lessons in taught for key in lessons}):
                factor = learnt_factor([lessons[key] for lessons in taught if key in lessons])
                if factor is not None:
                    found[key] = factor
            self.factors[period] = found
        return self.factors[period]

    def _lesson(self, end: int) -> dict[ClassAimed, Lesson]:
        """What the period `end` taught of what was foreseen lead time + 1 periods before it."""
        if end not in self._lessons:
            found: dict[ClassAimed, Lesson] = {}
            for wait in np.unique(self.lead_time):
                origin = end - int(wait) - 1
                if origin + 1 < LEAST_KNOWN:
                    continue
                for key, lesson in self._teach(end, origin, self.lead_time == wait).items():
                    found[key] = found[key] + lesson if key in found else lesson
            self._lessons[end] = found
        return self._lessons[end]

    def _teach(self, end: int, origin: int, among: npt.NDArray[np.bool_]) -> dict[ClassAimed, Lesson]:
        # What is looked back on had no late deliveries in it, so their spread is left out.
        demands, sizes = self._demands(origin, 0.0)
        stands = origin >= first_period(self.learnt, self.lead_time) - 1
        stood = self._factors_by_series(origin) if stands else np.full(len(self.history), np.nan)
        return teach_classes(
            aimed=Aimed(demands, sizes, self.share, self.is_fill_rate, stood),
            classes=np.where(among, self._foresee(origin).classes, ""),
            needed=self._total[:, end + 1] - self._total[:, origin + 1],
            needed_before=self._total[:, end] - self._total[:, origin + 1],
            weights=self.weights,
        )


@dataclass(frozen=True)
class PlainRule:
    """The plain rule: reorder at mean demand so far over lead time and review plus a fixed safety factor."""

    history: FloatArray
    lead_time: Periods
    factor: float
    is_whole: npt.NDArray[np.bool_]
    sizes: Sizes

    def __call__(self, period: int) -> tuple[FloatArray, FloatArray]:
        known, span = self.history[:, : period + 1], self.lead_time + 1
        count = np.maximum((~np.isnan(known)).sum(axis=1), 1)
        filled = np.nan_to_num(known)
        mean = filled.sum(axis=1) / count
        away = np.square(filled - mean[:, np.newaxis]).sum(axis=1, where=~np.isnan(known))
        level = mean * span + self.factor * np.sqrt(away / np.maximum(count - 1, 1) * span)
        # Pieces are ordered when the position is below the level: at or below the last piece under it.
        return np.where(self.is_whole, np.ceil(level - 1e-9) - 1, level), self.sizes(mean)


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


def replay(*, demand: npt.ArrayLike, lead_time: npt.ArrayLike, learnt: int, rule: Rule) -> ReplayResult:
    """Live a history through with a rule and judge it on what came after the periods learnt from.

    The stock begins the longest L + 1 periods before the end of the learning, so that it runs as it will
    when judging begins.

    Parameters
    ----------
    demand : array_like
        Demand >= 0 by series and period, shape (n, periods) [units]
    lead_time : array_like
        L >= 0, shape (n,) or a number; what is ordered at the end of a period is there L + 1 periods later
        [periods]
    learnt : int
        Periods learnt from; judged is what follows [periods]
    rule : callable
        Of a period, reorder points and order quantities > 0 as known after it, shape (n,) [units]

    Returns
    -------
    ReplayResult
        As described there [units]

    Raises
    ------
    ValueError
        If there are too few periods to learn from or none to judge on.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., chapter 5
       (reorder point and order quantity under periodic review).
    """
    history = np.asarray(as_not_negative("demand", demand), dtype=np.float64)
    wait = np.broadcast_to(as_whole("lead_time", lead_time, least=0), len(history)).astype(int)
    least = LEAST_KNOWN + int(wait.max(initial=0)) + 1
    start = first_period(as_whole("learnt", learnt, least=least), wait)
    if learnt >= history.shape[1]:
        raise ValueError(f"learnt must leave periods to judge on, got {learnt} of {history.shape[1]}")
    stock = ReplayedStock(history, wait, start).run(rule)
    judged = slice(learnt, None)
    missed = history[:, judged] - stock.filled[:, judged]
    return ReplayResult(
        classes=demand_pattern(history[:, :learnt]).classes,
        demanded=history[:, judged].sum(axis=1),
        filled=stock.filled[:, judged].sum(axis=1),
        stock=stock.on_hand[:, judged].mean(axis=1),
        orders=np.count_nonzero(stock.ordered[:, judged] > 0, axis=1).astype(np.float64),
        short=np.count_nonzero(missed > 1e-9, axis=1).astype(np.float64),
    )
