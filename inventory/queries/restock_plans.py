"""The policy of each material: class and forecast of its use, reorder point and order quantity."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.calc.back_testing import back_tested_rates, demand_spreads
from inventory.calc.demand_forecasts import CANDIDATES, demand_pattern
from inventory.calc.forecast_consumption import unscheduled_forecast
from inventory.calc.order_quantities import discounted_order_quantity
from inventory.calc.stock_levels import (
    LevelPlan,
    demands_over_lead_time,
    order_sizes,
    plan_levels,
)
from inventory.models import Material, StockPolicy, SupplyTerms
from inventory.queries.prices import price_breaks
from inventory.queries.restock_facts import Floats, RestockFacts
from inventory.queries.stock_policies import Aim
from inventory.units import MILLION

DAYS_A_WEEK, DAYS_A_YEAR = 7, 365.0
# A forecast from fewer weeks than these would be a guess.
LEAST_WEEKS = 4
# Weeks beyond these no longer make a rate surer, since use changes.
MOST_SURE_WEEKS = 26
LOWEST_SERVICE, HIGHEST_SERVICE = 0.5, 0.9999
FORECAST_REACH_WEEKS = 2
# What nobody offers is taken to be had in a fortnight, give or take five days, for the sake of its level.
UNKNOWN_LEAD_DAYS, UNKNOWN_LEAD_SD_DAYS = 14.0, 5.0


@dataclass(frozen=True)
class RestockPlans:
    """By row of the facts. Rates by week, levels in stock units, `daily` use net of what comes back.

    `service` is the chance aimed at by day.
    `unscheduled` is what is foreseen besides scheduled work, cumulative by day, and `unscheduled_variance`.
    """

    demand_class: npt.NDArray[np.object_]
    method: npt.NDArray[np.object_]
    rate_per_week: Floats
    sd_per_week: Floats
    preferred: list[SupplyTerms | None]
    lead_days: Floats
    daily: Floats
    levels: LevelPlan
    order_quantity: Floats
    service: Floats
    unscheduled: Floats
    unscheduled_variance: Floats


def plan_materials(facts: RestockFacts) -> RestockPlans:
    """Work out all policies at once."""
    rates, spreads, methods, classes = _forecast(facts)
    weeks = np.minimum((~np.isnan(facts.history)).sum(axis=1), MOST_SURE_WEEKS)
    rate_errors = spreads / np.sqrt(np.maximum(weeks, 1))
    unscheduled, variance = _unscheduled(facts, rates, spreads, rate_errors)
    preferred = [_preferred(facts, row) for row in range(len(facts.keys))]
    lead, lead_sd = _lead_times(preferred)
    review = np.array([aim.review_days for aim in facts.aims], dtype=np.float64)
    daily, daily_sd, daily_error = _daily_demand(facts, rates, spreads, rate_errors)
    demands = demands_over_lead_time(
        rate=daily,
        sd=daily_sd,
        rate_error=daily_error,
        lead_time=lead,
        lead_time_sd=lead_sd,
        review_period=review,
        is_whole=facts.is_whole,
    )
    sizes = _order_sizes(facts, preferred, daily, review)
    share, is_fill_rate = _targets(facts, preferred)
    levels = plan_levels(demands=demands, order_quantity=sizes, share=share, is_fill_rate=is_fill_rate)
    implied = np.where(is_fill_rate & (daily > 0), levels.cycle_service, share)
    return RestockPlans(
        demand_class=classes,
        method=methods,
        rate_per_week=rates,
        sd_per_week=spreads,
        preferred=preferred,
        lead_days=lead,
        daily=daily,
        levels=levels,
        order_quantity=sizes,
        service=np.clip(implied, LOWEST_SERVICE, HIGHEST_SERVICE),
        unscheduled=unscheduled,
        unscheduled_variance=variance,
    )


def _forecast(
    facts: RestockFacts,
) -> tuple[Floats, Floats, npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Rate and spread per week, method and class; nothing where too few weeks are known or none is wanted."""
    count = len(facts.keys)
    rates, spreads = np.zeros(count), np.zeros(count)
    methods, classes = np.full(count, "", dtype=object), np.full(count, "", dtype=object)
    wanted = np.array([aim.forecast_method for aim in facts.aims], dtype=object)
    is_known = (~np.isnan(facts.history)).sum(axis=1) >= LEAST_WEEKS
    is_known &= facts.is_ours & (wanted != StockPolicy.Forecast.NONE)
    for method in sorted(set(wanted[is_known])):
        rows = np.flatnonzero(is_known & (wanted == method))
        candidates = CANDIDATES if method == StockPolicy.Forecast.AUTO else (method,)
        tested = back_tested_rates(facts.history[rows], methods=candidates, pool=facts.pool)
        rates[rows], methods[rows] = tested.rates, tested.methods
        spreads[rows] = demand_spreads(facts.history[rows], pool=facts.pool)
        classes[rows] = demand_pattern(facts.history[rows]).classes
    return rates, spreads, methods, np.where(classes == None, "", classes)  # noqa: E711


def _unscheduled(
    facts: RestockFacts, rates: Floats, spreads: Floats, rate_errors: Floats
) -> tuple[Floats, Floats]:
    """What is foreseen besides scheduled work, by day and cumulative, and its variance."""
    count, days = facts.scheduled_out.shape
    weeks = -(-days // DAYS_A_WEEK)
    padded = np.zeros((count, weeks * DAYS_A_WEEK))
    padded[:, :days] = facts.scheduled_out - facts.scheduled_back
    scheduled = np.maximum(padded.reshape(count, weeks, DAYS_A_WEEK).sum(axis=2), 0.0)
    forecast = np.repeat(rates[:, np.newaxis], weeks, axis=1)
    left = unscheduled_forecast(forecast=forecast, scheduled=scheduled, reach=FORECAST_REACH_WEEKS)
    by_day = np.cumsum(np.repeat(left / DAYS_A_WEEK, DAYS_A_WEEK, axis=1)[:, :days], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_unit = np.where(rates > 0, np.square(spreads) / rates, 0.0)[:, np.newaxis]
        relative = np.where(rates > 0, rate_errors / rates, 0.0)[:, np.newaxis]
    return by_day, per_unit * by_day + np.square(relative * by_day)


def _daily_demand(
    facts: RestockFacts, rates: Floats, spreads: Floats, rate_errors: Floats
) -> tuple[Floats, Floats, Floats]:
    """Mean, spread and error of the daily rate: of past use, or of scheduled work where that is more."""
    days = facts.scope.days
    scheduled = np.maximum((facts.scheduled_out - facts.scheduled_back).sum(axis=1), 0.0) / days
    from_plan = scheduled > rates / DAYS_A_WEEK
    spread = np.where(
        from_plan & (spreads == 0),
        np.sqrt(np.maximum(facts.scheduled_variance.sum(axis=1), 0.0) / days),
        spreads / np.sqrt(DAYS_A_WEEK),
    )
    return np.where(from_plan, scheduled, rates / DAYS_A_WEEK), spread, rate_errors / DAYS_A_WEEK


def _preferred(facts: RestockFacts, row: int) -> SupplyTerms | None:
    """The cheapest offer: for levels, which look beyond what is urgent today."""
    _place, material, owner = facts.keys[row]
    if not facts.owners[owner].is_company:
        return None
    offers = facts.terms.get(material, [])
    return min(offers, key=lambda offer: (offer.unit_cost, offer.lead_time_days, offer.pk), default=None)


def _lead_times(preferred: list[SupplyTerms | None]) -> tuple[Floats, Floats]:
    mean = [UNKNOWN_LEAD_DAYS if terms is None else terms.lead_time_days for terms in preferred]
    spread = [UNKNOWN_LEAD_SD_DAYS if terms is None else terms.lead_time_sd_days for terms in preferred]
    return np.array(mean, dtype=np.float64), np.array(spread, dtype=np.float64)


def _order_sizes(
    facts: RestockFacts, preferred: list[SupplyTerms | None], daily: Floats, review: Floats
) -> Floats:
    """Order cost against holding cost, within packs, minimum, shelf life and the room there is."""
    count = len(facts.keys)
    fixed, held, pack, least, most = (np.zeros(count) for _ in range(5))
    for row, terms in enumerate(preferred):
        material, aim = facts.materials[facts.keys[row][1]], facts.aims[row]
        price = unit_cost_of(material, terms) / MILLION
        held[row] = max(aim.holding_cost_rate / DAYS_A_YEAR * price, 1e-9)
        fixed[row] = (facts.order_costs.get(terms.supplier_id, 0) + terms.line_cost) / MILLION if terms else 0
        whole = 1.0 if material.stock_unit == "1" else 1e-6
        pack[row] = terms.pack / MILLION if terms else whole
        least[row] = max(terms.minimum / MILLION if terms else 0.0, pack[row])
        life = terms.shelf_life_days if terms and terms.shelf_life_days else material.shelf_life_days
        most[row] = daily[row] * life if life else np.inf
        if aim.storage_limit is not None:
            most[row] = min(most[row], aim.storage_limit / MILLION)
    wanted = np.maximum(least, np.minimum(daily * review, most))
    most = np.where(np.isfinite(most), most, 1e15)
    sizes = order_sizes(
        rate=daily,
        fixed_cost=fixed,
        holding_cost=held,
        least=np.where(daily > 0, wanted, least),
        most=most,
        pack=pack,
    )
    for row, terms in enumerate(preferred):
        if terms is not None and daily[row] > 0 and price_breaks(terms):
            cheapest = _size_at_breaks(terms, facts.aims[row], float(daily[row]), float(fixed[row]))
            sizes[row] = cheapest if sizes[row] <= cheapest <= most[row] else sizes[row]
    return sizes


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


def _targets(
    facts: RestockFacts, preferred: list[SupplyTerms | None]
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The share each material aims at; least cost is the fill rate p / (p + h) (Zheng 1992)."""
    shares, is_fill_rate = np.zeros(len(facts.aims)), np.zeros(len(facts.aims), dtype=bool)
    for row, aim in enumerate(facts.aims):
        is_fill_rate[row] = aim.target != StockPolicy.Target.CYCLE_SERVICE
        if aim.target != StockPolicy.Target.COST:
            shares[row] = aim.target_share
            continue
        price = unit_cost_of(facts.materials[facts.keys[row][1]], preferred[row])
        held = aim.holding_cost_rate / DAYS_A_YEAR * price
        lacking = float(aim.shortage_cost_per_day or 1)
        shares[row] = min(lacking / (lacking + held), HIGHEST_SERVICE)
    return shares, is_fill_rate
