"""A past stretch of the company's own use, lived through again with what was known week by week."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import CLASSES
from inventory.calc.policy_replay import LivePolicy, PlainRule, ReplayResult, Rule, replay
from inventory.calc.ranges import FloatArray
from inventory.errors import BadInput
from inventory.models import Place
from inventory.queries.demand_history import week_of
from inventory.queries.policy_histories import PolicyHistories, choose_rows, load_policy_histories
from inventory.queries.restock_facts import HISTORY_WEEKS
from inventory.queries.spread_factors import DAYS_A_WEEK, weeks_since_classed
from inventory.queries.stock_policies import USUAL_HOLDING_RATE
from inventory.units import MILLION

LEAST_LEARNT_WEEKS, MOST_WEEKS = 12, HISTORY_WEEKS
WEEKS_A_YEAR = 52
# The safety factor that a book gives for 95 %.
PLAIN_FACTOR = 1.645
# Longer lead times than leave so many weeks to learn from are cut to that.
LEAST_ORIGINS = 6


@dataclass(frozen=True)
class ReplayedRule:
    """What a rule reached: share filled, share of weeks in which nothing lacked, mean stock at cost, orders,
    and cost of holding and ordering.

    Money in millionths of the currency.
    """

    fill_rate: float
    weeks_met: float
    stock_value: int
    orders: int
    cost: int


@dataclass(frozen=True)
class ReplayedClass:
    """The materials of one class of demand that share a kind of target, under the policy and the plain rule.

    `target` is the mean of what they aim at: share filled where `is_fill_rate`, else chance of not running
    short.
    """

    demand_class: str
    is_fill_rate: bool
    target: float
    materials: int
    policy: ReplayedRule
    plain: ReplayedRule


@dataclass(frozen=True)
class ReplayReport:
    """What was replayed and what came of it, class by class."""

    until: date
    learnt_weeks: int
    judged_weeks: int
    target: float
    classes: tuple[ReplayedClass, ...]
    without_use: int


def replay_policy(
    *,
    until: date,
    place: Place | None = None,
    learnt_weeks: int = 26,
    judged_weeks: int = 26,
    target: float = 0.95,
) -> ReplayReport:
    """Replay the weeks before a day for all that the company used, and judge the last ones.

    The policy is the one that restocking follows: the same forecast, targets, order quantities and learning
    from weeks gone by, with nothing later than each week known in it. It is looked at every week, since use
    is rolled up by week. The plain rule orders as much at mean demand over lead time and review plus 1.645
    deviations. Terms are today's, work planned then is not known any more, and use is what was booked: what
    could not be had then is not in it.

    Raises
    ------
    BadInput
        If there are too few weeks to learn from, too many in all, or the target is out of range.
    """
    if learnt_weeks < LEAST_LEARNT_WEEKS or judged_weeks < 1 or learnt_weeks + judged_weeks > MOST_WEEKS:
        raise BadInput(f"Learn from {LEAST_LEARNT_WEEKS} weeks or more and judge some, {MOST_WEEKS} at most.")
    if not 0.5 <= target < 1:
        raise BadInput(f"A service of {target:g} cannot be aimed at; give 0.5 or more and less than 1.")
    histories = load_policy_histories(before=until, place=place, service=target)
    used = histories.used[:, -(learnt_weeks + judged_weeks) :]
    was_used = (np.nan_to_num(used[:, :learnt_weeks]) > 0).any(axis=1)
    judged = choose_rows(histories, np.flatnonzero(was_used))
    demand = used[was_used]
    without = int(np.count_nonzero((np.nan_to_num(used) > 0).any(axis=1) & ~was_used))
    classes: tuple[ReplayedClass, ...] = ()
    if len(demand):
        policy, plain = _rules(judged, demand, until, learnt_weeks)
        lead = _lead_weeks(judged, learnt_weeks)

        def run(rule: Rule) -> ReplayResult:
            return replay(demand=np.nan_to_num(demand), lead_time=lead, learnt=learnt_weeks, rule=rule)

        classes = tuple(_sum_classes(judged, run(policy), run(plain), judged_weeks))
    return ReplayReport(until, learnt_weeks, judged_weeks, target, classes, without)


def _lead_weeks(histories: PolicyHistories, learnt_weeks: int) -> npt.NDArray[np.int_]:
    return np.minimum(np.rint(histories.lead_days / DAYS_A_WEEK).astype(int), learnt_weeks - LEAST_ORIGINS)


def _rules(
    histories: PolicyHistories, demand: FloatArray, until: date, learnt_weeks: int
) -> tuple[LivePolicy, PlainRule]:
    lead = _lead_weeks(histories, learnt_weeks)
    first_week = week_of(until) - timedelta(weeks=demand.shape[1])

    def since_classed(period: int) -> int:
        return weeks_since_classed(first_week + timedelta(weeks=period + 1))

    policy = LivePolicy(
        history=demand,
        lead_time=lead,
        learnt=learnt_weeks,
        share=histories.share,
        is_fill_rate=histories.is_fill_rate,
        is_whole=histories.is_whole,
        sizes=histories.sizes,
        weights=histories.weights,
        lead_time_sd=histories.lead_sd_days / DAYS_A_WEEK,
        since_classed=since_classed,
        pool=histories.pool[:, -demand.shape[1] :],
    )
    return policy, PlainRule(demand, lead, PLAIN_FACTOR, histories.is_whole, histories.sizes)


def _sum_classes(
    histories: PolicyHistories, policy: ReplayResult, plain: ReplayResult, weeks: int
) -> list[ReplayedClass]:
    found = []
    for name in CLASSES:
        for kind in (False, True):
            among = (policy.classes == name) & (histories.is_fill_rate == kind)
            if among.any():
                found.append(
                    ReplayedClass(
                        name,
                        kind,
                        float(histories.share[among].mean()),
                        int(among.sum()),
                        _sum_rule(histories, among, policy, weeks),
                        _sum_rule(histories, among, plain, weeks),
                    )
                )
    return found


def _sum_rule(
    histories: PolicyHistories, among: npt.NDArray[np.bool_], result: ReplayResult, weeks: int
) -> ReplayedRule:
    weights, count = histories.weights[among], int(among.sum())
    wanted = float((weights * result.demanded[among]).sum())
    filled = float((weights * result.filled[among]).sum())
    value = float((histories.unit_costs[among] * result.stock[among]).sum())
    ordering = float((histories.order_terms.bounds.order_cost[among] * result.orders[among]).sum())
    held = value * USUAL_HOLDING_RATE * weeks / WEEKS_A_YEAR
    return ReplayedRule(
        filled / wanted if wanted else 1.0,
        1 - float(result.short[among].sum()) / (count * weeks),
        round(value * MILLION),
        round(result.orders[among].sum()),
        round((held + ordering) * MILLION),
    )
