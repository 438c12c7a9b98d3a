"""A past stretch lived through again, period by period, with what was known then and no more.

Each period: what was ordered lead time + 1 periods before comes in and serves who waits, then demand takes
what is there and the rest waits, then the position (on hand + on order - waiting) is ordered up to the level
that follows from the periods so far.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.back_testing import back_tested_rates, demand_spreads, safety_factor
from inventory.calc.demand_forecasts import ERRATIC, INTERMITTENT, LUMPY, SMOOTH, demand_pattern
from inventory.calc.ranges import FloatArray, as_not_negative, as_whole

CLASSES = (SMOOTH, INTERMITTENT, ERRATIC, LUMPY)
# Levels before this many periods are known teach nothing.
LEAST_KNOWN = 3
# The target aimed at is moved by what was missed so far, by no more than this and less while little is known.
MOST_STEERING, STEERING_PERIODS = 0.03, 2
PRIOR_DEMANDS = 300
Levels = Callable[[int, "ReplayedStock"], FloatArray]


@dataclass
class ReplayedStock:
    """Stock of many series as it goes along, and what was seen of it; arrays of shape (n, periods)."""

    demand: FloatArray
    lead_time: int
    start: int
    filled: FloatArray = field(init=False)
    on_hand: FloatArray = field(init=False)
    ordered: FloatArray = field(init=False)
    _due: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        series, periods = self.demand.shape
        self.filled, self.on_hand = np.zeros_like(self.demand), np.zeros_like(self.demand)
        self.ordered = np.zeros_like(self.demand)
        self._due = np.zeros((series, periods + self.lead_time + 2))

    def run(self, levels: Levels) -> "ReplayedStock":
        """Live through all periods from `start` on, beginning with a full level on hand."""
        held = position = levels(self.start - 1, self)
        waiting = np.zeros(len(self.demand))
        for period in range(self.start, self.demand.shape[1]):
            wanted = self.demand[:, period]
            there = held - waiting + self._due[:, period]
            held, waiting = np.maximum(there, 0.0), np.maximum(-there, 0.0)
            self.filled[:, period] = np.minimum(held, wanted)
            held, waiting = held - self.filled[:, period], waiting + wanted - self.filled[:, period]
            self.on_hand[:, period] = held
            position = position - wanted
            order = np.maximum(levels(period, self) - position, 0.0)
            self.ordered[:, period] = order
            self._due[:, period + self.lead_time + 1] += order
            position = position + order
        return self


@dataclass(frozen=True)
class ReplayResult:
    """What was reached from `judged_from` on, by series; classes as told from the periods learnt from.

    demanded, filled, stock (mean on hand after each period) and orders (number), shape (n,).
    """

    classes: npt.NDArray[np.object_]
    demanded: FloatArray
    filled: FloatArray
    stock: FloatArray
    orders: FloatArray

    def fill_rate(self, among: npt.NDArray[np.bool_]) -> float:
        """Filled / demanded of some of the series; 1 where nothing was demanded."""
        wanted = float(self.demanded[among].sum())
        return float(self.filled[among].sum()) / wanted if wanted > 0 else 1.0


@dataclass
class LearntLevels:
    """Order-up-to levels m (L + 1) + f_c s sqrt(L + 1), all of it told from the periods so far.

    m is the back-tested rate, s the spread, and f_c the factor with which the levels of a class would have
    reached the target so far. From `learnt` on classes stand still, and the target aimed at is moved by what
    the class has missed since. `weights` says what a unit of each series counts for, where they are counted
    in different units. The levels given are kept in `given`, by period.
    """

    demand: FloatArray
    lead_time: int
    learnt: int
    fill_rate: float
    is_whole: bool = True
    weights: FloatArray | None = None
    factors: dict[tuple[str, int], float] = field(default_factory=dict)
    given: dict[int, FloatArray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._classes: dict[int, npt.NDArray[np.object_]] = {}
        self._foreseen: dict[int, tuple[FloatArray, FloatArray]] = {}
        self._total = np.cumsum(np.pad(self.demand, ((0, 0), (1, 0))), axis=1)

    def __call__(self, period: int, stock: ReplayedStock) -> FloatArray:
        classes, levels = self._classes_at(period), np.zeros(len(self.demand))
        mean, safety = self._foreseen_at(period)
        for name in CLASSES:
            is_one = classes == name
            factor = self._factor(name, period, stock)
            self.factors[name, period] = factor
            levels[is_one] = (mean + factor * safety)[is_one]
        self.given[period] = np.ceil(levels - 1e-9) if self.is_whole else levels
        return self.given[period]

    def _classes_at(self, period: int) -> npt.NDArray[np.object_]:
        known = min(period, self.learnt - 1)
        if known not in self._classes:
            self._classes[known] = demand_pattern(self.demand[:, : known + 1]).classes
        return self._classes[known]

    def _foreseen_at(self, period: int) -> tuple[FloatArray, FloatArray]:
        if period not in self._foreseen:
            span = self.lead_time + 1
            known = self.demand[:, : period + 1]
            rates = back_tested_rates(known, horizon=span).rates
            self._foreseen[period] = rates * span, demand_spreads(known) * np.sqrt(span)
        return self._foreseen[period]

    def _factor(self, name: str, period: int, stock: ReplayedStock) -> float:
        """What the class's safety stocks had to be multiplied by, looking back from here."""
        origins = range(LEAST_KNOWN, period - self.lead_time)
        levels, safety, needed, before, counts = [], [], [], [], []
        for origin in origins:
            is_one = self._classes_at(origin) == name
            mean, spread = self._foreseen_at(origin)
            end = origin + self.lead_time + 1
            counts.append(self._counts()[is_one])
            levels.append(mean[is_one])
            safety.append(spread[is_one])
            needed.append((self._total[:, end + 1] - self._total[:, origin + 1])[is_one])
            before.append((self._total[:, end] - self._total[:, origin + 1])[is_one])
        usual = float(special.ndtri(self.fill_rate))
        seen = sum(int(np.count_nonzero(full > part)) for full, part in zip(needed, before, strict=True))
        if not seen:
            return usual
        learnt = safety_factor(
            needed=np.concatenate(needed),
            needed_before=np.concatenate(before),
            levels=np.concatenate(levels),
            safety=np.concatenate(safety),
            fill_rate=self._steered_target(name, period, stock),
            is_whole=self.is_whole,
            weights=np.concatenate(counts),
        )
        # A few demands say little: the factor of a normal counts for three hundred of them.
        return (seen * learnt + PRIOR_DEMANDS * usual) / (seen + PRIOR_DEMANDS)

    def _counts(self) -> FloatArray:
        return np.ones(len(self.demand)) if self.weights is None else self.weights

    def _steered_target(self, name: str, period: int, stock: ReplayedStock) -> float:
        if period < self.learnt:
            return self.fill_rate
        is_one, since = self._classes_at(period) == name, slice(self.learnt, period + 1)
        counts = self._counts()[is_one, np.newaxis]
        wanted = float((counts * self.demand[is_one, since]).sum())
        if wanted <= 0:
            return self.fill_rate
        missed = self.fill_rate - float((counts * stock.filled[is_one, since]).sum()) / wanted
        seen = period - self.learnt + 1
        moved = 2 * missed * seen / (seen + STEERING_PERIODS)
        return self.fill_rate + float(
            np.clip(moved, -MOST_STEERING, min(MOST_STEERING, (1 - self.fill_rate) / 2))
        )


@dataclass(frozen=True)
class PlainLevels:
    """The plain rule: mean demand so far over lead time and review, plus a fixed safety factor."""

    demand: FloatArray
    lead_time: int
    factor: float
    is_whole: bool = True

    def __call__(self, period: int, stock: ReplayedStock) -> FloatArray:
        known, span = self.demand[:, : period + 1], self.lead_time + 1
        level = known.mean(axis=1) * span + self.factor * known.std(axis=1, ddof=1) * np.sqrt(span)
        return np.ceil(level - 1e-9) if self.is_whole else np.asarray(level)


def replay(*, demand: npt.ArrayLike, lead_time: int, learnt: int, levels: Levels) -> ReplayResult:
    """Live a history through with a rule for levels and judge it on what came after the periods learnt from.

    The stock begins L + 1 periods before the end of the learning, so that it runs as it will when judging
    begins.

    Parameters
    ----------
    demand : array_like
        Demand >= 0 by series and period, shape (n, periods) [units]
    lead_time : int
        L >= 0; what is ordered at the end of a period is there L + 1 periods later [periods]
    learnt : int
        Periods learnt from; judged is what follows [periods]
    levels : callable
        Of a period and the stock so far, the order-up-to levels, shape (n,) [units]

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
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., section 4.3
       (order-up-to levels under periodic review).
    """
    history = np.asarray(as_not_negative("demand", demand), dtype=np.float64)
    wait = as_whole("lead_time", lead_time, least=0)
    start = as_whole("learnt", learnt, least=LEAST_KNOWN + wait + 2) - wait - 1
    if learnt >= history.shape[1]:
        raise ValueError(f"learnt must leave periods to judge on, got {learnt} of {history.shape[1]}")
    stock = ReplayedStock(history, wait, start).run(levels)
    judged = slice(learnt, None)
    return ReplayResult(
        classes=demand_pattern(history[:, :learnt]).classes,
        demanded=history[:, judged].sum(axis=1),
        filled=stock.filled[:, judged].sum(axis=1),
        stock=stock.on_hand[:, judged].mean(axis=1),
        orders=np.count_nonzero(stock.ordered[:, judged] > 0, axis=1).astype(np.float64),
    )
