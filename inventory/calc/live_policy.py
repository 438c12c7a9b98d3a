"""The policy that restocking follows, and the same policy as it would have been known period by period."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inventory.calc.back_testing import ForeseenUse, foresee_by_method
from inventory.calc.ranges import FloatArray
from inventory.calc.replayed_stock import LEAST_KNOWN, Periods, first_period
from inventory.calc.spread_lessons import (
    Aimed,
    ClassAimed,
    Lesson,
    factors_by_row,
    learnt_factor,
    teach_classes,
)
from inventory.calc.stock_levels import LeadTimeDemands, LevelPlan, demands_over_lead_time, plan_levels

Sizes = Callable[[FloatArray], FloatArray]
# Mean and spread of the lead times as known after a period.
LeadTimes = Callable[[int], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True)
class FollowedPolicy:
    """Reorder points by what is aimed at, and the same where a minimum set by hand does not ask for more."""

    levels: LevelPlan
    reorder_point: FloatArray


def follow_policy(
    *,
    rate: FloatArray,
    sd: FloatArray,
    rate_error: FloatArray,
    classes: npt.NDArray[np.object_],
    factors: Mapping[ClassAimed, float],
    lead_time: FloatArray,
    lead_time_sd: FloatArray,
    review_period: FloatArray,
    order_quantity: FloatArray,
    share: FloatArray,
    is_fill_rate: npt.NDArray[np.bool_],
    is_whole: npt.NDArray[np.bool_],
    minimum: FloatArray,
) -> FollowedPolicy:
    """Reorder points of restocking, live and replayed alike.

    Where a minimum m is set by hand stock is ordered when it would fall below it before the order comes: at
    or below m + d (L + R) where goods can be divided, at the last piece below that where they cannot.

    Parameters
    ----------
    rate, sd, rate_error, lead_time, lead_time_sd, review_period, is_whole
        As for `demands_over_lead_time`
    classes : ndarray
        Class of demand, shape (n,); what no class has a factor for goes by its shape of demand alone [-]
    factors : mapping
        What looking back has taught, by class and whether a fill rate is aimed at [1]
    order_quantity, share, is_fill_rate
        As for `plan_levels` [units], [1], [-]
    minimum : ndarray
        m >= 0, shape (n,); 0 where none is set [units]

    Returns
    -------
    FollowedPolicy
        As described there, shape (n,) [units]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] As for `demands_over_lead_time` and `plan_levels`.
    """
    demands = demands_over_lead_time(
        rate=rate,
        sd=sd,
        rate_error=rate_error,
        lead_time=lead_time,
        lead_time_sd=lead_time_sd,
        review_period=review_period,
        is_whole=is_whole,
    )
    levels = plan_levels(
        demands=demands,
        order_quantity=order_quantity,
        share=share,
        is_fill_rate=is_fill_rate,
        spread_factor=factors_by_row(factors, classes, is_fill_rate),
    )
    asked = minimum + demands.mean
    asked = np.where(is_whole, np.ceil(asked - 1e-9) - 1, asked)
    point = np.where(minimum > 0, np.maximum(levels.reorder_point, asked), levels.reorder_point)
    return FollowedPolicy(levels, point)


@dataclass
class LivePolicy:
    """The policy that restocking follows, as it would have been known after each period.

    The factors by class are learnt from the periods before, as restocking learns them night by night. From
    `stands_from` on they are on the record; left out, from where the stock of `replay` begins. `sizes` gives
    the order quantities for rates per period. history is of shape (n, periods), NaN before a series began;
    `known`, where given, is what was known of it after a period, `lead_times` likewise. lead_time and one
    period of review are what lessons look back over. What is given is kept in `given`, by period.
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
    review: FloatArray | float = 1.0
    minimum: FloatArray | float = 0.0
    methods: npt.NDArray[np.object_] | None = None
    since_classed: Callable[[int], int] = lambda period: 0
    pool: FloatArray | None = None
    known: Callable[[int], FloatArray] | None = None
    pooled_rows: Periods | None = None
    lead_times: LeadTimes | None = None
    stands_from: int | None = None
    given: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    factors: dict[int, dict[ClassAimed, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._foreseen: dict[int, ForeseenUse] = {}
        self._lessons: dict[int, dict[ClassAimed, Lesson]] = {}

    def __call__(self, period: int) -> tuple[FloatArray, FloatArray]:
        if period not in self.given:
            use = self.foresee(period)
            sizes = self.sizes(use.rates)
            wait, spread = self._wait(period)
            found = follow_policy(
                rate=use.rates,
                sd=use.spreads,
                rate_error=use.errors,
                classes=use.classes,
                factors=self._factors_at(period),
                lead_time=wait,
                lead_time_sd=spread,
                review_period=self.review + 0 * wait,
                order_quantity=sizes,
                share=self.share,
                is_fill_rate=self.is_fill_rate,
                is_whole=self.is_whole,
                minimum=self.minimum + 0 * wait,
            )
            # What was never used so far is not kept, unless a level is set: the highest position is nothing.
            is_kept = (use.rates > 0) | (self.minimum + 0 * wait > 0)
            self.given[period] = np.where(is_kept, found.reorder_point, -sizes), sizes
        return self.given[period]

    def foresee(self, period: int) -> ForeseenUse:
        """What was foreseen after a period."""
        if period not in self._foreseen:
            history = self._history(period)
            pool = history[self.pooled_rows] if self.pooled_rows is not None else self.pool
            self._foreseen[period] = foresee_by_method(
                history,
                methods=self.methods,
                pool=None if pool is None else pool[:, : period + 1],
                since_classed=self.since_classed(period),
            )
        return self._foreseen[period]

    def _history(self, period: int) -> FloatArray:
        return self.history[:, : period + 1] if self.known is None else self.known(period)

    def _wait(self, period: int) -> tuple[FloatArray, FloatArray]:
        if self.lead_times is not None:
            return self.lead_times(period)
        wait = self.lead_time.astype(np.float64)
        return wait, self.lead_time_sd + 0 * wait

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
            total = np.cumsum(np.pad(np.nan_to_num(self._history(end)), ((0, 0), (1, 0))), axis=1)
            for wait in np.unique(self.lead_time):
                origin = end - int(wait) - 1
                if origin + 1 < LEAST_KNOWN:
                    continue
                for key, lesson in self._teach(total, end, origin, self.lead_time == wait).items():
                    found[key] = found[key] + lesson if key in found else lesson
            self._lessons[end] = found
        return self._lessons[end]

    def _teach(
        self, total: FloatArray, end: int, origin: int, among: npt.NDArray[np.bool_]
    ) -> dict[ClassAimed, Lesson]:
        use, wait = self.foresee(origin), self.lead_time.astype(np.float64)
        begins = first_period(self.learnt, self.lead_time) if self.stands_from is None else self.stands_from
        factors = self._factors_at(origin) if origin >= begins - 1 else {}
        demands: LeadTimeDemands = demands_over_lead_time(
            rate=use.rates,
            sd=use.spreads,
            rate_error=use.errors,
            lead_time=wait,
            # What is looked back on had no late deliveries in it, so their spread is left out.
            lead_time_sd=0 * wait,
            review_period=np.ones(len(wait)),
            is_whole=self.is_whole,
        )
        stood = factors_by_row(factors, use.classes, self.is_fill_rate)
        return teach_classes(
            aimed=Aimed(demands, self.sizes(use.rates), self.share, self.is_fill_rate, stood),
            classes=np.where(among, use.classes, ""),
            needed=total[:, end + 1] - total[:, origin + 1],
            needed_before=total[:, end] - total[:, origin + 1],
            weights=self.weights,
        )
