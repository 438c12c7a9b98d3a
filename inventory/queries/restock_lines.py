"""The lines of the restock list: for what runs short, how much of it, from whom, for how much, and why."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.order_limits import room_at_arrival, used_within_life
from inventory.calc.shortage_chances import Receipt
from inventory.models import Material, Party, Place, Requirement, SupplyTerms
from inventory.queries.order_terms import cost_per_day
from inventory.queries.prices import orderable, price_of
from inventory.queries.restock_facts import Floats, RestockFacts
from inventory.queries.restock_plans import RestockPlans
from inventory.queries.restock_risks import choose_at_risk, find_chances_to_stand
from inventory.queries.restock_why import Limit, Reckoning, explain
from inventory.units import MILLION


@dataclass(frozen=True)
class Need:
    """One planned use behind a line, and the chance that it finds too little if nothing is ordered."""

    needed_date: date
    reference: str
    mean: int
    why: str
    chance_to_stand: float


@dataclass(frozen=True)
class RestockLine:
    """One thing to order, led by when it runs out. Amounts in millionths of the stock unit or currency.

    `run_out_date` is the first day on which the wanted service is not met; `is_likely` tells whether it is
    then more likely short than not. `chance_short` is the highest of the days to be covered. `at_risk` names
    the planned uses that would find too little more often than the service allows if nothing is done, in the
    order in which they are due, `standing` those of them that would more likely than not. `needed` is
    scheduled and foreseen use, `unscheduled` the latter alone. `quantity` is worth ordering of this alone,
    `least_quantity` is lacking at least, so that other lines of an order may share its cost. `daily` is the
    use of a day in stock units, `holding_rate` what a year of holding costs as a share of the price.
    """

    place: Place
    material: Material
    owner: Party
    run_out_date: date
    is_likely: bool
    order_by_date: date
    is_late: bool
    quantity: int
    least_quantity: int
    terms: SupplyTerms | None
    unit_cost: int | None
    cost: int | None
    chance_short: float
    on_hand: int
    needed: int
    unscheduled: int
    comes_back: int
    expected: int
    daily: float
    holding_rate: float
    needs: tuple[Need, ...]
    at_risk: tuple[str, ...]
    standing: tuple[str, ...]
    why: str

    @property
    def needs_at_risk(self) -> int:
        return len(self.at_risk)


@dataclass(frozen=True)
class Shortage:
    """Where rows of the facts run short, one after the other.

    `first` is the first day on which the service is missed, `until` the day up to which an order is to cover,
    both counted from today; `lacking` what would have to be there besides, in stock units. `is_likely` and
    `chance` as in `RestockLine`.
    """

    rows: npt.NDArray[np.int_]
    first: npt.NDArray[np.int_]
    until: npt.NDArray[np.int_]
    lacking: Floats
    is_likely: npt.NDArray[np.bool_]
    chance: Floats


@dataclass(frozen=True)
class _Wish:
    """What is to be ordered on which terms, and what bounds it."""

    terms: SupplyTerms | None
    quantity: int
    limit: Limit | None


@dataclass(frozen=True)
class _Sums:
    """By row of a shortage, up to its last day, in millionths."""

    taken: Floats
    unscheduled: Floats
    comes_back: Floats
    spread: Floats

    @classmethod
    def of(cls, facts: RestockFacts, plans: RestockPlans, short: Shortage) -> "_Sums":
        rows, last = short.rows, short.until - 1

        def total(by_day: Floats) -> Floats:
            return np.asarray(np.cumsum(by_day[rows], axis=1)[np.arange(len(rows)), last])

        variance = np.maximum(total(facts.scheduled_variance), 0.0) + plans.unscheduled_variance[rows, last]
        return cls(
            total(facts.scheduled_out) * MILLION,
            plans.unscheduled[rows, last] * MILLION,
            total(facts.scheduled_back) * MILLION,
            np.sqrt(variance) * MILLION,
        )


def make_lines(facts: RestockFacts, plans: RestockPlans, short: Shortage) -> dict[int, RestockLine]:
    """The line of each row that runs short."""
    sums = _Sums.of(facts, plans, short)
    awaited: dict[int, list[Receipt]] = defaultdict(list)
    for receipt in facts.receipts:
        awaited[receipt.series].append(receipt)
    found = {}
    for number, row in enumerate(short.rows.tolist()):
        chances = find_chances_to_stand(facts, plans, row, awaited.get(row, []))
        found[row] = _make_line(facts, plans, short, sums, number, chances)
    return found


def days_to_come(terms: SupplyTerms | None, service: float) -> int:
    """Whole days within which the goods are here at the wanted service; none where no terms are known."""
    if terms is None:
        return 0
    return max(0, ceil(terms.lead_time_days + float(special.ndtri(service)) * terms.lead_time_sd_days))


def _make_line(
    facts: RestockFacts,
    plans: RestockPlans,
    short: Shortage,
    sums: _Sums,
    number: int,
    chances: Mapping[str, float],
) -> RestockLine:
    row, first = int(short.rows[number]), int(short.first[number])
    place, material, owner = facts.of(row)
    as_of, service = facts.scope.as_of, float(plans.service[row])
    least = _least(facts, row, float(short.lacking[number]))
    wish = _choose(facts, plans, row, first, least)
    terms, quantity, limit = wish.terms, wish.quantity, wish.limit
    days = days_to_come(terms, service)
    run_out = as_of + timedelta(days=first)
    order_by = run_out - timedelta(days=days)
    price = price_of(terms, quantity) if terms else None
    planned = facts.requirements.get(row, [])
    pack = terms.pack if terms else 0
    binds = limit if limit and limit.most < quantity + pack else None
    reckoning = _reckon(facts, plans, short, sums, number, quantity, binds)
    at_risk, standing = choose_at_risk(chances, service)
    return RestockLine(
        place=place,
        material=material,
        owner=owner,
        run_out_date=run_out,
        is_likely=bool(short.is_likely[number]),
        order_by_date=order_by,
        is_late=order_by < as_of,
        quantity=quantity,
        least_quantity=min(quantity, _in_packs(material, terms, least, limit)),
        terms=terms,
        unit_cost=price.unit_cost if price else None,
        cost=price.cost if price else None,
        chance_short=float(short.chance[number]),
        on_hand=facts.on_hand[row],
        needed=round(reckoning.taken + reckoning.unscheduled),
        unscheduled=round(reckoning.unscheduled),
        comes_back=round(reckoning.comes_back),
        expected=facts.expected_of(row),
        daily=float(plans.daily[row]),
        holding_rate=facts.aims[row].holding_cost_rate,
        needs=tuple(
            Need(need.needed_date, need.reference, need.mean, need.why, chances[need.reference])
            for need in planned
        ),
        at_risk=at_risk,
        standing=standing,
        why=explain(reckoning, material, owner, terms, days),
    )


def _reckon(
    facts: RestockFacts,
    plans: RestockPlans,
    short: Shortage,
    sums: _Sums,
    number: int,
    quantity: int,
    limit: Limit | None,
) -> Reckoning:
    row, as_of = int(short.rows[number]), facts.scope.as_of
    planned: Sequence[Requirement] = facts.requirements.get(row, [])
    return Reckoning(
        as_of=as_of,
        until=as_of + timedelta(days=int(short.until[number]) - 1),
        service=float(plans.service[row]),
        on_hand=facts.on_hand[row],
        planned=planned,
        taken=float(sums.taken[number]),
        unscheduled=float(sums.unscheduled[number]),
        rate_per_week=float(plans.rate_per_week[row]) * MILLION,
        comes_back=float(sums.comes_back[number]),
        spread=float(sums.spread[number]),
        expected=facts.expected.get(row, []),
        minimum=facts.aims[row].minimum_level,
        quantity=quantity,
        limit=limit,
    )


def _least(facts: RestockFacts, row: int, lacking: float) -> int:
    """What is lacking, or what fills up to a maximum that was set by hand."""
    least, most = ceil(round(lacking * MILLION, 3)), facts.aims[row].maximum_level
    return least if most is None else max(least, most - facts.on_hand[row] - facts.expected_of(row))


def _choose(facts: RestockFacts, plans: RestockPlans, row: int, first: int, least: int) -> _Wish:
    """Of those who still deliver in time the supplier of whom it costs least in all, else the quickest."""
    _place, material, owner = facts.of(row)
    offers = facts.terms.get(material.pk, []) if owner.is_company else []
    if not offers:
        return _Wish(None, _in_packs(material, None, least, None), None)
    service = float(plans.service[row])
    soonest = min(days_to_come(terms, service) for terms in offers)
    allowed = max(first, soonest)
    wishes = [
        _wish(facts, plans, row, first, least, terms)
        for terms in offers
        if days_to_come(terms, service) <= allowed
    ]
    daily = float(plans.daily[row]) if plans.rate_per_week[row] else 0.0

    def rank(wish: _Wish) -> tuple[float, float, str]:
        # Where nothing says that it is used up, it is paid for once.
        assert wish.terms is not None
        cost = cost_per_day(facts, row, wish.terms, wish.quantity, daily=daily)
        return cost, wish.terms.lead_time_days, wish.terms.supplier.code

    return min(wishes, key=rank) if len(wishes) > 1 else wishes[0]


def _wish(
    facts: RestockFacts, plans: RestockPlans, row: int, first: int, least: int, terms: SupplyTerms
) -> _Wish:
    """What would be ordered on these terms."""
    days = days_to_come(terms, float(plans.service[row]))
    limit = _limit(facts, plans, row, terms, max(0, first - days))
    wanted = max(least, _policy_quantity(plans, row, terms))
    quantity = _in_packs(facts.of(row)[1], terms, wanted, limit)
    return _Wish(terms, quantity, limit)


def _policy_quantity(plans: RestockPlans, row: int, terms: SupplyTerms) -> int:
    """The order quantity of the policy, where past use says that the goods will be used up."""
    offer = plans.offers.get((row, terms.pk))
    size = offer.size if offer else float(plans.order_quantity[row])
    return ceil(round(size * MILLION, 3)) if plans.rate_per_week[row] else 0


def _limit(
    facts: RestockFacts, plans: RestockPlans, row: int, terms: SupplyTerms, order_day: int
) -> Limit | None:
    """The most that is to be ordered: what is used while it keeps, and what there is room for."""
    material, aim = facts.of(row)[1], facts.aims[row]
    life = terms.shelf_life_days or material.shelf_life_days
    if not life and aim.storage_limit is None:
        return None
    arrival = order_day + ceil(terms.lead_time_days)
    there = (facts.on_hand[row] + facts.expected_of(row)) / MILLION
    use = np.cumsum(facts.scheduled_out[row] - facts.scheduled_back[row]) + plans.unscheduled[row]
    daily = float(plans.daily[row])
    found = []
    if life:
        most = used_within_life(
            use_by_day=use, daily_rate=daily, arrival_day=arrival, life_days=life, there=there
        )
        found.append(Limit(int(most * MILLION), life))
    if aim.storage_limit is not None:
        room = aim.storage_limit / MILLION
        most = room_at_arrival(room=room, use_by_day=use, daily_rate=daily, arrival_day=arrival, there=there)
        found.append(Limit(int(most * MILLION)))
    return min(found, key=lambda limit: limit.most)


def _in_packs(material: Material, terms: SupplyTerms | None, wanted: int, limit: Limit | None) -> int:
    """In whole packs and at least the minimum: up, but down where a limit binds."""
    if terms is None:
        step = MILLION if material.stock_unit == "1" else 1
        return -(-max(wanted, 1) // step) * step
    if limit is None or orderable(terms, wanted) <= limit.most:
        return orderable(terms, wanted)
    return orderable(terms, limit.most // terms.pack * terms.pack)
