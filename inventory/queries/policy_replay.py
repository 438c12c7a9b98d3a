"""A past stretch of the company's own use, lived through again day by day with what was known then."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import CLASSES, demand_pattern
from inventory.calc.live_policy import LivePolicy
from inventory.calc.plain_rule import PlainRule, factor_of_equal_service
from inventory.calc.replayed_stock import LEAST_KNOWN, FillUp, ReplayResult, Rule, replay
from inventory.errors import BadInput
from inventory.models import Place, StockPolicy
from inventory.queries.daily_use import DailyUse, load_daily_use
from inventory.queries.demand_history import week_of
from inventory.queries.policy_histories import PolicyHistories, choose_rows, load_policy_histories
from inventory.queries.replayed_deliveries import ReplayedDeliveries
from inventory.queries.restock_facts import HISTORY_WEEKS, POOLED_SERIES, Floats
from inventory.queries.spread_factors import DAYS_A_WEEK, weeks_since_classed
from inventory.queries.supply_areas import find_recovered_forms, find_supply_areas
from inventory.units import MILLION

LEAST_LEARNT_WEEKS, MOST_WEEKS = 12, HISTORY_WEEKS
# The safety factor that a book gives for 95 %.
PLAIN_FACTOR = 1.645


@dataclass(frozen=True)
class ReplayedRule:
    """What a rule reached, money in millionths of the currency.

    Share filled, a unit counting what it costs; share of the cycles from delivery to delivery in which
    nothing lacked, None without a delivery; share of days likewise; mean stock at cost; orders; cost of
    holding and ordering, and of lacking where a policy says what that costs.
    """

    fill_rate: float
    cycle_service: float | None
    days_met: float
    stock_value: int
    orders: int
    cost: int


@dataclass(frozen=True)
class ReplayedClass:
    """The materials of one class of demand that share a kind of target, under the policy and the plain rule.

    `target_kind` is that of the policy and `target` the mean of what they aim at: share filled, or chance of
    not running short; for least cost the share filled that it comes to. `equal` is the plain rule with the
    factor that, as is known only afterwards, fills as much as the policy did, `equal_factor`.
    """

    demand_class: str
    target_kind: str
    target: float
    materials: int
    policy: ReplayedRule
    plain: ReplayedRule
    equal: ReplayedRule
    equal_factor: float

    @property
    def stock_ratio(self) -> float | None:
        """Mean stock of the policy over the plain rule's at equal service; None where that is nothing."""
        return self.policy.stock_value / self.equal.stock_value if self.equal.stock_value else None


@dataclass(frozen=True)
class ReplayReport:
    """What was replayed and what came of it, class by class.

    `materials` were judged, `with_deliveries` of them had orders of their own whose time the replay's orders
    take; `recorded_later` is the share of the use that was recorded only after the last day.
    """

    until: date
    learnt_weeks: int
    judged_weeks: int
    target: float
    classes: tuple[ReplayedClass, ...]
    without_use: int
    materials: int
    with_deliveries: int
    recorded_later: float | None


def replay_policy(
    *,
    until: date,
    place: Place | None = None,
    learnt_weeks: int = 26,
    judged_weeks: int = 26,
    target: float = 0.95,
) -> ReplayReport:
    """Replay the days before the week of a day for all that the company used, and judge the last weeks.

    The policy is the one that restocking follows: the same forecast, targets, order quantities, review days,
    levels set by hand and learning from weeks gone by, from nothing that was not recorded by then, deliveries
    included. Orders take as long as the company's own did at the time. The plain rule orders as much, on the
    same days, at mean demand over lead time and review plus 1.645 deviations. What suppliers ask and what the
    policies say is not kept by day, so that is today's; work planned then is not known any more, and use is
    what was booked: what could not be had then is not in it.

    Raises
    ------
    BadInput
        If there are too few weeks to learn from, too many in all, or the target is out of range.
    """
    if learnt_weeks < LEAST_LEARNT_WEEKS or judged_weeks < 1 or learnt_weeks + judged_weeks > MOST_WEEKS:
        raise BadInput(f"Learn from {LEAST_LEARNT_WEEKS} weeks or more and judge some, {MOST_WEEKS} at most.")
    if not 0.5 <= target < 1:
        raise BadInput(f"A service of {target:g} cannot be aimed at; give 0.5 or more and less than 1.")
    weeks = learnt_weeks + judged_weeks
    first = week_of(until) - timedelta(weeks=weeks)
    histories = load_policy_histories(before=until, place=place, service=target)
    used = np.nan_to_num(histories.used) > 0
    was_used = used[:, -weeks:-judged_weeks].any(axis=1)
    without = int(np.count_nonzero(used[:, -judged_weeks:].any(axis=1) & ~was_used))
    rows = np.flatnonzero(was_used)
    judged = choose_rows(histories, rows)
    use = load_daily_use(
        judged.keys,
        first=first,
        weeks=weeks,
        areas=find_supply_areas(place),
        recovered=find_recovered_forms(),
        is_old=np.asarray(used[rows, :-weeks].any(axis=1)),
    )
    deliveries = ReplayedDeliveries(judged.preferred.tolist(), first, week_of(until))
    classes = _Lived(judged, use, deliveries, first, learnt_weeks).classes() if len(rows) else ()
    return ReplayReport(
        until,
        learnt_weeks,
        judged_weeks,
        target,
        classes,
        without,
        len(rows),
        deliveries.with_deliveries,
        use.recorded_later,
    )


class _Lived:
    """The stretch with all that is the same for every rule."""

    def __init__(
        self,
        histories: PolicyHistories,
        use: DailyUse,
        deliveries: ReplayedDeliveries,
        first: date,
        learnt_weeks: int,
    ) -> None:
        self._histories, self._use, self._deliveries = histories, use, deliveries
        self._first, self._learnt = first, learnt_weeks
        self._days = use.days.shape[1]
        self._wait = deliveries.days_taken(self._days)
        # Each on its own days, the evening before those that its review days count out from a Monday.
        review = np.maximum(np.rint(histories.review_days).astype(int), 1)[:, np.newaxis]
        self._is_looked_at = (np.arange(self._days) + 1) % review == 0
        # The stock runs as it will when judging begins: lead time and review before, as far as that goes.
        longest = int((self._wait + review).max(initial=0))
        least = LEAST_KNOWN * DAYS_A_WEEK
        self._start = max(least, (learnt_weeks * DAYS_A_WEEK - longest) // DAYS_A_WEEK * DAYS_A_WEEK)
        self._known: dict[int, Floats] = {}
        self._lead: dict[int, tuple[Floats, Floats]] = {}

    def classes(self) -> tuple[ReplayedClass, ...]:
        """Policy, plain rule, and plain rule with the same service, by class and kind of target."""
        policy, plain = self._live(self._policy()), self._plain()
        classes = demand_pattern(self._known_after(self._learnt - 1)).classes
        groups = [
            (name, kind)
            for name in CLASSES
            for kind in StockPolicy.Target.values
            if ((classes == name) & (self._histories.targets == kind)).any()
        ]
        number = np.zeros(len(classes), dtype=int)
        for group, (name, kind) in enumerate(groups):
            number[(classes == name) & (self._histories.targets == kind)] = group
        weights = self._histories.weights
        service = np.array([policy.fill_rate(number == group, weights) for group in range(len(groups))])
        factors = factor_of_equal_service(
            lambda factor: self._live(plain.with_factor(factor)),
            groups=number,
            service=service,
            weights=weights,
        )
        usual = self._live(plain.with_factor(PLAIN_FACTOR))
        equal = self._live(plain.with_factor(factors[number]))
        return tuple(
            ReplayedClass(
                name,
                kind,
                float(self._histories.share[number == group].mean()),
                int((number == group).sum()),
                self._sum(number == group, policy),
                self._sum(number == group, usual),
                self._sum(number == group, equal),
                float(factors[group]),
            )
            for group, (name, kind) in enumerate(groups)
        )

    def _live(self, rule: Rule) -> ReplayResult:
        """Live through all days; a rule knows the weeks that are over on the next morning."""
        histories = self._histories
        return replay(
            demand=self._use.days,
            lead_time=self._wait,
            learnt=self._learnt * DAYS_A_WEEK,
            rule=lambda day: rule((day + 1) // DAYS_A_WEEK - 1),
            start=self._start,
            is_looked_at=self._is_looked_at,
            fill_up=FillUp(histories.maximum, histories.order_terms.bounds.pack),
        )

    def _policy(self) -> LivePolicy:
        histories, begun = self._histories, self._start // DAYS_A_WEEK
        lead, _spread = self._lead_weeks(begun - 1)
        span = np.rint(lead + histories.review_days / DAYS_A_WEEK).astype(int)
        return LivePolicy(
            history=self._use.weeks,
            lead_time=np.maximum(span, 1) - 1,
            learnt=self._learnt,
            share=histories.share,
            is_fill_rate=histories.is_fill_rate,
            is_whole=histories.is_whole,
            sizes=histories.sizes,
            weights=histories.weights,
            review=histories.review_days / DAYS_A_WEEK,
            minimum=histories.minimum,
            methods=histories.methods,
            since_classed=lambda week: weeks_since_classed(self._first + timedelta(weeks=week + 1)),
            known=self._known_after,
            pooled_rows=np.arange(0, len(lead), -(-len(lead) // POOLED_SERIES)),
            lead_times=self._lead_weeks,
            stands_from=begun,
        )

    def _plain(self) -> PlainRule:
        histories = self._histories
        return PlainRule(
            known=self._known_after,
            span=lambda week: self._lead_weeks(week)[0] + histories.review_days / DAYS_A_WEEK,
            factor=PLAIN_FACTOR,
            is_whole=histories.is_whole,
            sizes=histories.sizes,
        )

    def _known_after(self, week: int) -> Floats:
        if week not in self._known:
            self._known[week] = self._use.known_after(week)
        return self._known[week]

    def _lead_weeks(self, week: int) -> tuple[Floats, Floats]:
        if week not in self._lead:
            mean, spread = self._deliveries.known_before(self._first + timedelta(weeks=week + 1))
            self._lead[week] = mean / DAYS_A_WEEK, spread / DAYS_A_WEEK
        return self._lead[week]

    def _sum(self, among: npt.NDArray[np.bool_], result: ReplayResult) -> ReplayedRule:
        histories, count = self._histories, int(among.sum())
        bounds = histories.order_terms.bounds
        days = self._days - self._learnt * DAYS_A_WEEK

        def total(amounts: Floats) -> float:
            return float(amounts[among].sum())

        held = days * total(bounds.holding_cost * result.stock)
        lacked = days * total(histories.shortage_costs * result.waiting)
        return ReplayedRule(
            result.fill_rate(among, histories.weights),
            result.cycle_service(among),
            1 - total(result.short) / (count * days),
            round(total(histories.unit_costs * result.stock) * MILLION),
            round(total(result.orders)),
            round((held + lacked + total(bounds.order_cost * result.orders)) * MILLION),
        )
