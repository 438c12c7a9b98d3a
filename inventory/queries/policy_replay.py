"""A past stretch of the company's own use, lived through again with what was known day by day."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from inventory.calc.policy_replay import CLASSES, LearntLevels, Levels, PlainLevels, ReplayResult, replay
from inventory.errors import BadInput
from inventory.models import Material, Party, Place, SupplierTerms, SupplyTerms
from inventory.queries.demand_history import load_demand_history
from inventory.queries.restock_plans import UNKNOWN_LEAD_DAYS, unit_cost_of
from inventory.queries.stock_policies import USUAL_HOLDING_RATE
from inventory.queries.supply_areas import find_supply_areas
from inventory.units import MILLION

LEAST_LEARNT_WEEKS, MOST_WEEKS = 12, 260
WEEKS_A_YEAR, DAYS_A_WEEK = 52, 7
# The safety factor that a book gives for 95 %.
PLAIN_FACTOR = 1.645


@dataclass(frozen=True)
class ReplayedRule:
    """What a rule reached: share filled, mean stock at cost, orders, and cost of holding and ordering.

    Money in millionths of the currency.
    """

    fill_rate: float
    stock_value: int
    orders: int
    cost: int


@dataclass(frozen=True)
class ReplayedClass:
    """The materials of one class of demand under the policy and under the plain rule."""

    demand_class: str
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


@dataclass(frozen=True)
class _Group:
    """Materials with the same lead time in weeks: their use, unit costs and order costs."""

    lead_weeks: int
    demand: npt.NDArray[np.float64]
    unit_costs: npt.NDArray[np.float64]
    order_costs: npt.NDArray[np.float64]

    @property
    def weights(self) -> npt.NDArray[np.float64]:
        """Gallons and pieces do not add up: a unit counts for what it costs, or for one without a price."""
        return np.where(self.unit_costs > 0, self.unit_costs, 1.0)


def replay_policy(
    *,
    until: date,
    place: Place | None = None,
    learnt_weeks: int = 26,
    judged_weeks: int = 26,
    target: float = 0.95,
) -> ReplayReport:
    """Replay the weeks before a day for all that the company used, reviewed weekly, and judge the last ones.

    Nothing later than each week is known in it. The plain rule orders up to mean demand over lead time and
    review plus 1.645 deviations. Use is what was booked: what could not be had then is not in it.

    Raises
    ------
    BadInput
        If there are too few weeks to learn from, too many in all, or the target is out of range.
    """
    if learnt_weeks < LEAST_LEARNT_WEEKS or judged_weeks < 1 or learnt_weeks + judged_weeks > MOST_WEEKS:
        raise BadInput(f"Learn from {LEAST_LEARNT_WEEKS} weeks or more and judge some, {MOST_WEEKS} at most.")
    if not 0.5 <= target < 1:
        raise BadInput(f"A service of {target:g} cannot be aimed at; give 0.5 or more and less than 1.")
    groups, without = _gather(until, place, learnt_weeks, judged_weeks)
    found: dict[str, list[tuple[_Group, ReplayResult, ReplayResult]]] = {name: [] for name in CLASSES}
    for group in groups:
        learnt = max(learnt_weeks, group.lead_weeks + 6)
        policy = LearntLevels(
            group.demand, group.lead_weeks, learnt, target, is_whole=False, weights=group.weights
        )
        plain = PlainLevels(group.demand, group.lead_weeks, PLAIN_FACTOR, is_whole=False)
        runs = _run(group, learnt, policy), _run(group, learnt, plain)
        for name in CLASSES:
            found[name].append((group, *runs))
    classes = tuple(
        summed for name in CLASSES for summed in [_sum(name, found[name], judged_weeks)] if summed is not None
    )
    return ReplayReport(until, learnt_weeks, judged_weeks, target, classes, without)


def _run(group: _Group, learnt: int, levels: Levels) -> ReplayResult:
    return replay(demand=group.demand, lead_time=group.lead_weeks, learnt=learnt, levels=levels)


def _gather(
    until: date, place: Place | None, learnt_weeks: int, judged_weeks: int
) -> tuple[list[_Group], int]:
    """Use by lead time; materials without any in the weeks learnt from stand apart."""
    company = Party.objects.filter(is_company=True).first()
    history = load_demand_history(
        {key: warehouse.pk for key, warehouse in find_supply_areas(place).items()},
        before=until,
        weeks=learnt_weeks + judged_weeks,
        fresh_forms={
            row.pk: (row.recovered_from_id, 1.0)
            for row in Material.objects.filter(recovered_from__isnull=False)
            if row.recovered_from_id is not None
        },
    )
    used = np.nan_to_num(history.used) / MILLION
    materials = Material.objects.in_bulk({key[1] for key in history.rows})
    terms = {row.material_id: row for row in SupplyTerms.objects.order_by("-unit_cost", "pk")}
    shared = dict(SupplierTerms.objects.values_list("supplier", "order_cost"))
    rows: dict[int, list[tuple[int, float, float]]] = {}
    without = 0
    for (_place, material, owner), row in history.rows.items():
        if company is None or owner != company.pk:
            continue
        if not (used[row, :learnt_weeks] > 0).any():
            without += 1
            continue
        offer = terms.get(material)
        lead = round((offer.lead_time_days if offer else UNKNOWN_LEAD_DAYS) / DAYS_A_WEEK)
        lead = min(lead, learnt_weeks - 6)
        order_cost = (shared.get(offer.supplier_id, 0) + offer.line_cost) / MILLION if offer else 0.0
        cost = unit_cost_of(materials[material], offer) / MILLION
        rows.setdefault(lead, []).append((row, cost, order_cost))
    return [
        _Group(
            lead,
            used[[row for row, _cost, _order in found]],
            np.array([cost for _row, cost, _order in found]),
            np.array([order for _row, _cost, order in found]),
        )
        for lead, found in sorted(rows.items())
    ], without


def _sum(
    name: str, found: list[tuple[_Group, ReplayResult, ReplayResult]], weeks: int
) -> ReplayedClass | None:
    count = sum(int((policy.classes == name).sum()) for _group, policy, _plain in found)
    if not count:
        return None
    return ReplayedClass(
        name,
        count,
        _sum_rule(name, [(group, policy) for group, policy, _plain in found], weeks),
        _sum_rule(name, [(group, plain) for group, _policy, plain in found], weeks),
    )


def _sum_rule(name: str, found: list[tuple[_Group, ReplayResult]], weeks: int) -> ReplayedRule:
    wanted = filled = value = orders = ordering = 0.0
    for group, result in found:
        among = result.classes == name
        weights = group.weights[among]
        wanted += float((weights * result.demanded[among]).sum())
        filled += float((weights * result.filled[among]).sum())
        value += float((group.unit_costs[among] * result.stock[among]).sum())
        orders += float(result.orders[among].sum())
        ordering += float((group.order_costs[among] * result.orders[among]).sum())
    held = value * USUAL_HOLDING_RATE * weeks / WEEKS_A_YEAR
    return ReplayedRule(
        filled / wanted if wanted else 1.0,
        round(value * MILLION),
        round(orders),
        round((held + ordering) * MILLION),
    )
