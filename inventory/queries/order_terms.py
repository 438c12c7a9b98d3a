"""On what terms a material is ordered, of whom it costs least, and how much of it at a time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.calc.order_quantities import discounted_order_quantity
from inventory.calc.stock_levels import OrderBounds
from inventory.models import Material, SupplyTerms
from inventory.queries.prices import price_breaks, price_of
from inventory.queries.restock_facts import Floats, RestockFacts
from inventory.queries.stock_policies import Aim
from inventory.units import MILLION

DAYS_A_WEEK, DAYS_A_YEAR = 7, 365.0


@dataclass(frozen=True)
class Offer:
    """What is best ordered of a supplier at a time, in stock units, and what that costs by the day."""

    terms: SupplyTerms
    size: float
    cost_per_day: float


@dataclass(frozen=True)
class OrderTerms:
    """Under which terms each row is ordered; `broken` are the rows whose price falls with the quantity."""

    bounds: OrderBounds
    broken: tuple[tuple[int, SupplyTerms, Aim], ...]

    def sizes(self, daily: Floats, review_days: Floats) -> Floats:
        """Order quantities for these rates: order cost against holding cost and price, within all limits."""
        sizes, most = self.bounds.sizes(daily, review_days), self.bounds.most(daily)
        for row, terms, aim in self.broken:
            if daily[row] > 0:
                order_cost = float(self.bounds.order_cost[row])
                cheapest = _size_at_breaks(terms, aim, float(daily[row]), order_cost)
                sizes[row] = cheapest if sizes[row] <= cheapest <= most[row] else sizes[row]
        return sizes

    def of(self, rows: npt.NDArray[np.int_]) -> "OrderTerms":
        """Those of some rows."""
        number = {int(row): at for at, row in enumerate(rows)}
        broken = [(number[row], terms, aim) for row, terms, aim in self.broken if row in number]
        return OrderTerms(self.bounds.of(rows), tuple(broken))


def prefer_terms(facts: RestockFacts) -> list[SupplyTerms | None]:
    """The offer of each row that costs least in the long run: for levels, which look beyond what is urgent.

    What is used is taken from the weeks known, or from what is scheduled where that is more.
    """
    found = [_only_offer(facts, row) for row in range(len(facts.keys))]
    daily = np.maximum(np.nan_to_num(_mean_of(facts.history)) / DAYS_A_WEEK, _scheduled_per_day(facts))
    review = np.array([aim.review_days for aim in facts.aims], dtype=np.float64)
    best: dict[int, tuple[float, float, int]] = {}
    for (row, _pk), offer in find_offers(facts, daily, review).items():
        rank = (offer.cost_per_day, offer.terms.lead_time_days, offer.terms.pk)
        if row not in best or rank < best[row]:
            best[row], found[row] = rank, offer.terms
    return found


def find_offers(facts: RestockFacts, daily: Floats, review_days: Floats) -> dict[tuple[int, int], "Offer"]:
    """Where several suppliers offer a material: what is best ordered of each, by row and key of its terms."""
    offers = [
        (row, terms)
        for row, (_place, material, owner) in enumerate(facts.keys)
        if facts.owners[owner].is_company and len(facts.terms.get(material, ())) > 1
        for terms in facts.terms[material]
    ]
    if not offers:
        return {}
    rows = np.array([row for row, _terms in offers])
    sizes = _gather(facts, offers).sizes(daily[rows], review_days[rows])
    return {
        (row, terms.pk): Offer(
            terms,
            float(size),
            cost_per_day(facts, row, terms, round(float(size) * MILLION), daily=float(daily[row])),
        )
        for (row, terms), size in zip(offers, sizes, strict=True)
    }


def cost_per_day(facts: RestockFacts, row: int, terms: SupplyTerms, quantity: int, *, daily: float) -> float:
    """What using up such orders costs a day: goods, the order itself and holding; where nothing is used up
    day by day, what the order costs once. Millionths of the currency.

    Price breaks, packs and minimum are in the price, so what looks cheaper by the unit may not be.
    """
    price = price_of(terms, quantity)
    once = price.cost + order_cost_of(facts, terms)
    if daily <= 0 or not quantity:
        return float(once)
    amount = quantity / MILLION
    holding = facts.aims[row].holding_cost_rate / DAYS_A_YEAR * price.unit_cost * amount / 2
    return daily * once / amount + holding


def order_cost_of(facts: RestockFacts, terms: SupplyTerms) -> int:
    """What the supplier asks for an order of this alone, beside the goods."""
    return facts.order_costs.get(terms.supplier_id, 0) + terms.line_cost


def _only_offer(facts: RestockFacts, row: int) -> SupplyTerms | None:
    _place, material, owner = facts.keys[row]
    offers = facts.terms.get(material, []) if facts.owners[owner].is_company else []
    return offers[0] if len(offers) == 1 else None


def _mean_of(history: Floats) -> Floats:
    """By row, of the weeks from the first use on; 0 where there was none."""
    known = (~np.isnan(history)).sum(axis=1)
    return np.asarray(np.nansum(history, axis=1) / np.maximum(known, 1))


def _scheduled_per_day(facts: RestockFacts) -> Floats:
    net = (facts.scheduled_out - facts.scheduled_back).sum(axis=1)
    return np.asarray(np.maximum(net, 0.0) / facts.scope.days)


def gather_order_terms(facts: RestockFacts, preferred: Sequence[SupplyTerms | None]) -> OrderTerms:
    """Order cost, holding cost, pack, minimum, shelf life, room and price breaks of each row."""
    return _gather(facts, list(enumerate(preferred)))


def _gather(facts: RestockFacts, offers: Sequence[tuple[int, SupplyTerms | None]]) -> OrderTerms:
    """The same of any offers for rows, one after the other."""
    count = len(offers)
    fixed, held, pack, least = (np.zeros(count) for _ in range(4))
    lasting, room = np.full(count, np.inf), np.full(count, np.inf)
    for number, (row, terms) in enumerate(offers):
        material, aim = facts.materials[facts.keys[row][1]], facts.aims[row]
        price = unit_cost_of(material, terms) / MILLION
        held[number] = max(aim.holding_cost_rate / DAYS_A_YEAR * price, 1e-9)
        fixed[number] = order_cost_of(facts, terms) / MILLION if terms else 0
        whole = 1.0 if material.stock_unit == "1" else 1e-6
        pack[number] = terms.pack / MILLION if terms else whole
        least[number] = max(terms.minimum / MILLION if terms else 0.0, pack[number])
        life = terms.shelf_life_days if terms and terms.shelf_life_days else material.shelf_life_days
        lasting[number] = life or np.inf
        if aim.storage_limit is not None:
            room[number] = aim.storage_limit / MILLION
    broken = [
        (number, terms, facts.aims[row])
        for number, (row, terms) in enumerate(offers)
        if terms is not None and price_breaks(terms)
    ]
    return OrderTerms(OrderBounds(fixed, held, pack, least, lasting, room), tuple(broken))


def _size_at_breaks(terms: SupplyTerms, aim: Aim, daily: float, fixed_cost: float) -> float:
    """The order quantity of least cost with its price breaks, as far as the price falls with the quantity."""
    starts, prices = [0.0], [terms.unit_cost / MILLION]
    for row in price_breaks(terms):
        if not 0 < row.unit_cost / MILLION <= prices[-1]:
            break
        starts.append(row.from_quantity / MILLION)
        prices.append(row.unit_cost / MILLION)
    if prices[0] <= 0:
        return 0.0
    return discounted_order_quantity(
        demand_rate=daily,
        fixed_cost=fixed_cost,
        holding_cost_rate=aim.holding_cost_rate / DAYS_A_YEAR,
        breakpoints=starts,
        unit_costs=prices,
        discount=terms.discount,
        pack_size=terms.pack / MILLION,
        minimum=terms.minimum / MILLION,
    ).order_quantity


def unit_cost_of(material: Material, terms: SupplyTerms | None) -> int:
    """What a unit costs where the terms say, else what the company reckons with."""
    return terms.unit_cost if terms else (material.standard_unit_cost or 0)
