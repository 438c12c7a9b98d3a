"""What to order, when, how much, from whom, and why: what is planned and foreseen against what is there."""

from dataclasses import dataclass
from datetime import date
from math import ceil

import numpy as np
from django.db.models import F, Max
from scipy import special

from inventory.calc.shortage_chances import Outlook
from inventory.errors import BadInput
from inventory.models import Place, SupplyTerms
from inventory.queries.order_proposals import OrderProposal, propose_orders
from inventory.queries.restock_facts import Floats, RestockFacts, Scope, load_facts
from inventory.queries.restock_lines import RestockLine, Shortage, make_lines
from inventory.queries.restock_plans import RestockPlans, plan_materials
from inventory.queries.shared_stock import list_shared_stock
from inventory.queries.stock_placement import Placement, list_placements
from inventory.queries.stock_policies import load_aims
from inventory.queries.supply_areas import MaterialRange, find_recovered_forms, find_supply_areas
from inventory.units import MILLION

LONGEST_HORIZON_DAYS = 730
LONGEST_LEAD_DAYS = 120


@dataclass(frozen=True)
class RestockList:
    """The lines, soonest run-out first, and how many materials that are planned or used need nothing.

    `orders` says what of it is to be ordered together from whom, `placements` where safety stock lies best.
    """

    as_of: date
    horizon_days: int
    service: float
    lines: tuple[RestockLine, ...]
    orders: tuple[OrderProposal, ...]
    placements: tuple[Placement, ...]
    enough: int


@dataclass(frozen=True)
class RestockAnswer:
    """All that was reckoned: facts and policies by row, and the line of each row that has one."""

    facts: RestockFacts
    plans: RestockPlans
    outlook: Outlook
    lines: dict[int, RestockLine]


def list_restock(
    *,
    as_of: date,
    place: Place | None = None,
    horizon_days: int = 28,
    cover_days: int = 14,
    service: float = 0.95,
) -> RestockList:
    """Return what has to be ordered for the work planned within the horizon and what is used besides.

    A line says on which day the stock of a warehouse (with its bins and vehicles) would no longer do at
    the wanted service, the last day to order so that the supplier's lead time, at the same service, ends
    before it, and as much as covers the needs of `cover_days` from that day on and the order quantity of its
    policy, in the supplier's packs. Where no policy sets a target, `service` is aimed at.

    Raises
    ------
    BadInput
        If the horizon or service is out of range.
    """
    answer = reckon_restock(
        as_of=as_of, place=place, horizon_days=horizon_days, cover_days=cover_days, service=service
    )
    lines = sorted(
        answer.lines.values(),
        key=lambda line: (line.run_out_date, line.order_by_date, line.material.code, line.place.code),
    )
    enough = len(answer.facts.keys) - len(lines)
    on_board = list_placements(as_of=as_of, place=place, service=service)
    placements = (*on_board, *list_shared_stock(answer.facts, answer.plans))
    return RestockList(as_of, horizon_days, service, tuple(lines), propose_orders(lines), placements, enough)


def reckon_restock(
    *,
    as_of: date,
    place: Place | None = None,
    horizon_days: int = 28,
    cover_days: int = 14,
    service: float = 0.95,
    materials: tuple[int, int] | None = None,
) -> RestockAnswer:
    """The same with all that it was reckoned from, for materials whose keys lie in a range or all.

    Raises
    ------
    BadInput
        If the horizon or service is out of range.
    """
    require_reachable(horizon_days=horizon_days, cover_days=cover_days, service=service)
    days = min(horizon_days + _longest_wait(), LONGEST_HORIZON_DAYS)
    forms = find_recovered_forms()
    chosen = None if materials is None else MaterialRange.of(*materials, forms)
    aims = load_aims(service=service)
    facts = load_facts(Scope(find_supply_areas(place), as_of, days, aims, forms, chosen))
    plans = plan_materials(facts)
    outlook = make_outlook(facts, plans)
    short = _find_shortage(facts, plans, outlook, horizon_days, cover_days)
    lines = make_lines(facts, plans, short)
    return RestockAnswer(facts, plans, outlook, lines)


def require_reachable(*, horizon_days: int, cover_days: int, service: float) -> None:
    """Refuse a horizon or a service that no list can have."""
    if not 1 <= horizon_days <= LONGEST_HORIZON_DAYS or not 1 <= cover_days <= horizon_days:
        raise BadInput(f"Look 1 to {LONGEST_HORIZON_DAYS} days ahead and cover no more than that.")
    if not 0.5 <= service < 1:
        raise BadInput(f"A service of {service:g} cannot be aimed at; give 0.5 or more and less than 1.")


def make_outlook(facts: RestockFacts, plans: RestockPlans) -> Outlook:
    """The days ahead of every material, in stock units, if nothing more is ordered."""
    return Outlook(
        on_hand=np.array(facts.on_hand, dtype=np.float64) / MILLION,
        taken=np.cumsum(facts.scheduled_out, axis=1) + plans.unscheduled,
        brought=np.cumsum(facts.scheduled_back, axis=1),
        variance=np.maximum(np.cumsum(facts.scheduled_variance, axis=1), 0.0) + plans.unscheduled_variance,
        is_whole=facts.is_whole,
        receipts=facts.receipts,
    )


def _longest_wait() -> int:
    """How far beyond the horizon to look, so that what takes long to come is ordered in time."""
    until = F("lead_time_days") + 2 * F("lead_time_sd_days")
    longest = SupplyTerms.objects.aggregate(longest=Max(until))["longest"]
    return min(ceil(longest or 0.0), LONGEST_LEAD_DAYS)


def _find_shortage(
    facts: RestockFacts, plans: RestockPlans, outlook: Outlook, horizon_days: int, cover_days: int
) -> Shortage:
    if not facts.keys:
        none, nothing = np.zeros(0, dtype=int), np.zeros(0)
        return Shortage(none, none, none, nothing, nothing.astype(bool), nothing)
    days = facts.scope.days
    chances = np.maximum(outlook.chance_short(), _below_minimum(facts, outlook))
    first, has_line = _find_days(facts, plans, chances, horizon_days)
    until = np.where(has_line, np.minimum(first + cover_days, days), 0)
    lacking = outlook.extra_needed(plans.service, until)
    rows = np.flatnonzero(has_line)
    is_covered = np.arange(days) < until[rows, np.newaxis]
    return Shortage(
        rows=rows,
        first=first[rows],
        until=until[rows],
        lacking=lacking[rows],
        is_likely=chances[rows, first[rows]] > 0.5,
        chance=np.where(is_covered, chances[rows], 0.0).max(axis=1),
    )


def _below_minimum(facts: RestockFacts, outlook: Outlook) -> Floats:
    """1 on the days on which the mean stock is below a minimum that was set by hand."""
    least = np.array([(aim.minimum_level or 0) / MILLION for aim in facts.aims], dtype=np.float64)
    if not least.any():
        return np.zeros((len(least), facts.scope.days))
    is_low = (outlook.levels() < least[:, np.newaxis]) & (least > 0)[:, np.newaxis]
    return is_low.astype(np.float64)


def _find_days(
    facts: RestockFacts, plans: RestockPlans, chances: Floats, horizon_days: int
) -> tuple[np.ndarray, np.ndarray]:
    """The first day on which the wanted service is missed, and whether that is to be dealt with now."""
    is_short = chances > (1 - plans.service)[:, np.newaxis] + 1e-9
    first = np.argmax(is_short, axis=1) if is_short.shape[1] else np.zeros(len(is_short), dtype=int)
    # What lasts beyond the horizon waits, unless it takes so long to come that it must be ordered before the
    # next look.
    lead, spread, review = np.array(
        [
            (terms.lead_time_days, terms.lead_time_sd_days, aim.review_days)
            if terms
            else (0.0, 0.0, aim.review_days)
            for terms, aim in zip(plans.preferred, facts.aims, strict=True)
        ]
    ).T.reshape(3, -1)
    waits = np.maximum(np.ceil(lead + special.ndtri(plans.service) * spread), 0.0) + review
    return first, is_short.any(axis=1) & ((first < horizon_days) | (first <= waits))
