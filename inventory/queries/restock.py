"""What to order, when, how much, from whom, and why: what is planned and foreseen against what is there."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np
from scipy import stats

from inventory.calc.shortage_chances import Outlook
from inventory.errors import BadInput
from inventory.models import Material, Party, Place, SupplyTerms
from inventory.queries.prices import orderable, price_of
from inventory.queries.restock_facts import Floats, RestockFacts, Scope, load_facts
from inventory.queries.restock_plans import RestockPlans, plan_materials
from inventory.queries.restock_why import Reckoning, explain
from inventory.queries.stock_policies import load_aims
from inventory.queries.supply_areas import find_supply_areas
from inventory.units import MILLION

LONGEST_HORIZON_DAYS = 730
LONGEST_LEAD_DAYS = 120


@dataclass(frozen=True)
class Need:
    """One planned use behind a line."""

    needed_date: date
    reference: str
    mean: int
    why: str


@dataclass(frozen=True)
class RestockLine:
    """One thing to order, led by when it runs out. Amounts in millionths of the stock unit or currency.

    `run_out_date` is the first day on which the wanted service is not met; `is_likely` tells whether it is
    then more likely short than not. `needs_at_risk` counts the planned uses from that day on that would
    stand, named in `at_risk`. `needed` is scheduled and foreseen use, `unscheduled` the latter alone.
    """

    place: Place
    material: Material
    owner: Party
    run_out_date: date
    is_likely: bool
    order_by_date: date
    is_late: bool
    quantity: int
    terms: SupplyTerms | None
    unit_cost: int | None
    cost: int | None
    chance_short: float
    on_hand: int
    needed: int
    unscheduled: int
    comes_back: int
    expected: int
    needs: tuple[Need, ...]
    needs_at_risk: int
    at_risk: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class RestockList:
    """The lines, soonest run-out first, and how many materials that are planned or used need nothing."""

    as_of: date
    horizon_days: int
    service: float
    lines: tuple[RestockLine, ...]
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
    return RestockList(as_of, horizon_days, service, tuple(lines), len(answer.facts.keys) - len(lines))


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
    aims = load_aims(service=service)
    days = min(horizon_days + _longest_wait(), LONGEST_HORIZON_DAYS)
    scope = Scope(find_supply_areas(place), as_of, days, aims, materials)
    facts = load_facts(scope)
    plans = plan_materials(facts)
    outlook = make_outlook(facts, plans)
    chances = outlook.chance_short() if facts.keys else np.zeros((0, days))
    chances = np.maximum(chances, _below_minimum(facts, outlook))
    first, has_line = _find_days(facts, plans, chances, horizon_days)
    until = np.minimum(first + cover_days, days)
    lacking = outlook.extra_needed(plans.service, np.where(has_line, until, 0)) if facts.keys else first
    lines = {
        int(row): _make_line(
            facts, plans, int(row), int(first[row]), int(until[row]), lacking[row], chances[row]
        )
        for row in np.flatnonzero(has_line)
    }
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


def days_to_come(terms: SupplyTerms, service: float) -> int:
    """Whole days within which the goods are here at the wanted service."""
    return max(0, ceil(terms.lead_time_days + float(stats.norm.ppf(service)) * terms.lead_time_sd_days))


def _longest_wait() -> int:
    """How far beyond the horizon to look, so that what takes long to come is ordered in time."""
    longest = 0.0
    for mean, spread in SupplyTerms.objects.values_list("lead_time_days", "lead_time_sd_days"):
        longest = max(longest, mean + 2 * spread)
    return min(ceil(longest), LONGEST_LEAD_DAYS)


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
    waits = np.array(
        [
            (days_to_come(terms, service) if terms else 0) + aim.review_days
            for terms, service, aim in zip(plans.preferred, plans.service, facts.aims, strict=True)
        ],
        dtype=int,
    )
    return first, is_short.any(axis=1) & ((first < horizon_days) | (first <= waits))


def _make_line(
    facts: RestockFacts,
    plans: RestockPlans,
    row: int,
    first: int,
    until: int,
    lacking: float,
    chances: Floats,
) -> RestockLine:
    place, material, owner = (
        facts.places[facts.keys[row][0]],
        facts.materials[facts.keys[row][1]],
        facts.owners[facts.keys[row][2]],
    )
    as_of, service, aim = facts.scope.as_of, float(plans.service[row]), facts.aims[row]
    terms = _choose_terms(facts.terms.get(material.pk, []), first, service) if owner.is_company else None
    wanted = max(ceil(round(lacking * MILLION, 3)), _policy_quantity(facts, plans, row, terms))
    if aim.maximum_level is not None:
        wanted = max(wanted, aim.maximum_level - facts.on_hand[row] - _expected(facts, row))
    quantity = orderable(terms, wanted) if terms else _whole(wanted, material)
    run_out = as_of + timedelta(days=first)
    order_by = run_out - timedelta(days=days_to_come(terms, service) if terms else 0)
    planned = facts.requirements.get(row, [])
    at_risk = sorted({need.reference for need in planned if need.needed_date >= run_out})
    price = price_of(terms, quantity) if terms else None
    reckoning = Reckoning(
        as_of=as_of,
        until=as_of + timedelta(days=until - 1),
        service=service,
        on_hand=facts.on_hand[row],
        planned=planned,
        taken=float(facts.scheduled_out[row, :until].sum()) * MILLION,
        unscheduled=float(plans.unscheduled[row, until - 1]) * MILLION,
        rate_per_week=float(plans.rate_per_week[row]) * MILLION,
        comes_back=float(facts.scheduled_back[row, :until].sum()) * MILLION,
        spread=float(
            np.sqrt(
                max(facts.scheduled_variance[row, :until].sum(), 0.0)
                + plans.unscheduled_variance[row, until - 1]
            )
        )
        * MILLION,
        expected=facts.expected.get(row, []),
        minimum=aim.minimum_level,
    )
    return RestockLine(
        place=place,
        material=material,
        owner=owner,
        run_out_date=run_out,
        is_likely=bool(chances[first] > 0.5),
        order_by_date=order_by,
        is_late=order_by < as_of,
        quantity=quantity,
        terms=terms,
        unit_cost=price.unit_cost if price else None,
        cost=price.cost if price else None,
        chance_short=float(chances[:until].max()),
        on_hand=facts.on_hand[row],
        needed=round(reckoning.taken + reckoning.unscheduled),
        unscheduled=round(reckoning.unscheduled),
        comes_back=round(reckoning.comes_back),
        expected=_expected(facts, row),
        needs=tuple(Need(need.needed_date, need.reference, need.mean, need.why) for need in planned),
        needs_at_risk=len(at_risk),
        at_risk=tuple(at_risk),
        why=explain(reckoning, material, owner, terms, days_to_come(terms, service) if terms else 0),
    )


def _expected(facts: RestockFacts, row: int) -> int:
    return sum(receipt.quantity for receipt in facts.expected.get(row, []))


def _policy_quantity(facts: RestockFacts, plans: RestockPlans, row: int, terms: SupplyTerms | None) -> int:
    """The order quantity of the policy, where past use says that the goods will be used up."""
    if terms is None or not plans.rate_per_week[row]:
        return 0
    return ceil(round(float(plans.order_quantity[row]) * MILLION, 3))


def _choose_terms(terms: list[SupplyTerms], days_left: int, service: float) -> SupplyTerms | None:
    """Take the cheapest supplier that still delivers in time, else the quickest."""
    in_time = [row for row in terms if days_to_come(row, service) <= days_left]
    if in_time:
        return min(in_time, key=lambda row: (row.unit_cost, row.lead_time_days, row.supplier.code))
    return min(terms, key=lambda row: (days_to_come(row, service), row.unit_cost), default=None)


def _whole(quantity: int, material: Material) -> int:
    step = MILLION if material.stock_unit == "1" else 1
    return -(-max(quantity, 1) // step) * step
