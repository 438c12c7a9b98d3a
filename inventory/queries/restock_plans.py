"""The policy of each material: class and forecast of its use, reorder point and order quantity."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from inventory.calc.back_testing import ForeseenUse, foresee_by_method
from inventory.calc.forecast_consumption import unscheduled_forecast
from inventory.calc.live_policy import follow_policy
from inventory.calc.spread_lessons import factors_by_row
from inventory.calc.stock_levels import LevelPlan
from inventory.models import StockPolicy, SupplyTerms
from inventory.queries.lead_times import UNKNOWN_LEAD_TIME
from inventory.queries.order_terms import (
    DAYS_A_WEEK,
    DAYS_A_YEAR,
    Offer,
    find_offers,
    gather_order_terms,
    prefer_terms,
    unit_cost_of,
)
from inventory.queries.restock_facts import Floats, RestockFacts
from inventory.queries.spread_factors import load_spread_factors, weeks_since_classed
from inventory.queries.stock_policies import Aim
from inventory.units import MILLION

LOWEST_SERVICE, HIGHEST_SERVICE = 0.5, 0.9999
FORECAST_REACH_WEEKS = 2


@dataclass(frozen=True)
class RestockPlans:
    """By row of the facts. Rates by week, levels in stock units, `daily` use net of what comes back.

    `service` is the chance aimed at by day; `offers` are those of rows that several suppliers offer.
    `unscheduled` is what is foreseen besides scheduled work, cumulative by day, and `unscheduled_variance`.
    """

    demand_class: npt.NDArray[np.object_]
    method: npt.NDArray[np.object_]
    rate_per_week: Floats
    sd_per_week: Floats
    preferred: list[SupplyTerms | None]
    offers: dict[tuple[int, int], Offer]
    lead_days: Floats
    daily: Floats
    levels: LevelPlan
    order_quantity: Floats
    service: Floats
    unscheduled: Floats
    unscheduled_variance: Floats


def plan_materials(facts: RestockFacts) -> RestockPlans:
    """Work out all policies at once."""
    use = _forecast(facts)
    unscheduled, variance = _unscheduled(facts, use)
    preferred = prefer_terms(facts)
    lead, lead_sd = find_lead_days(preferred)
    review = np.array([aim.review_days for aim in facts.aims], dtype=np.float64)
    daily, daily_sd, daily_error, is_from_plan = _daily_demand(facts, use)
    sizes = gather_order_terms(facts, preferred).sizes(daily, review)
    share, is_fill_rate = find_targets(facts, preferred)
    factors = load_spread_factors(facts.scope.as_of)
    # Planned work has a spread of its own; what was learnt is about use that nobody planned.
    classes = np.where(is_from_plan, "", use.classes)
    followed = follow_policy(
        rate=daily,
        sd=daily_sd,
        rate_error=daily_error,
        classes=classes,
        factors=factors,
        lead_time=lead,
        lead_time_sd=lead_sd,
        review_period=review,
        order_quantity=sizes,
        share=share,
        is_fill_rate=is_fill_rate,
        is_whole=facts.is_whole,
        minimum=find_minimums(facts.aims),
    )
    is_learnt = ~np.isnan(factors_by_row(factors, classes, is_fill_rate))
    is_implied = (is_fill_rate | is_learnt) & (daily > 0)
    implied = np.where(is_implied, followed.levels.cycle_service, share)
    return RestockPlans(
        demand_class=use.classes,
        method=use.methods,
        rate_per_week=use.rates,
        sd_per_week=use.spreads,
        preferred=preferred,
        offers=find_offers(facts, daily, review),
        lead_days=lead,
        daily=daily,
        levels=replace(followed.levels, reorder_point=followed.reorder_point),
        order_quantity=sizes,
        service=np.clip(implied, LOWEST_SERVICE, HIGHEST_SERVICE),
        unscheduled=unscheduled,
        unscheduled_variance=variance,
    )


def _forecast(facts: RestockFacts) -> ForeseenUse:
    """What is foreseen by week; nothing where too few weeks are known or none is wanted."""
    wanted = np.array([aim.forecast_method for aim in facts.aims], dtype=object)
    return foresee_by_method(
        facts.history,
        methods=np.where(facts.is_ours, wanted, StockPolicy.Forecast.NONE.value),
        pool=facts.pool,
        since_classed=weeks_since_classed(facts.scope.as_of),
    )


def _unscheduled(facts: RestockFacts, use: ForeseenUse) -> tuple[Floats, Floats]:
    """What is foreseen besides scheduled work, by day and cumulative, and its variance."""
    rates = use.rates
    count, days = facts.scheduled_out.shape
    weeks = -(-days // DAYS_A_WEEK)
    padded = np.zeros((count, weeks * DAYS_A_WEEK))
    padded[:, :days] = facts.scheduled_out - facts.scheduled_back
    scheduled = np.maximum(padded.reshape(count, weeks, DAYS_A_WEEK).sum(axis=2), 0.0)
    forecast = np.repeat(rates[:, np.newaxis], weeks, axis=1)
    left = unscheduled_forecast(forecast=forecast, scheduled=scheduled, reach=FORECAST_REACH_WEEKS)
    by_day = np.cumsum(np.repeat(left / DAYS_A_WEEK, DAYS_A_WEEK, axis=1)[:, :days], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_unit = np.where(rates > 0, np.square(use.spreads) / rates, 0.0)[:, np.newaxis]
        relative = np.where(rates > 0, use.errors / rates, 0.0)[:, np.newaxis]
    return by_day, per_unit * by_day + np.square(relative * by_day)


def _daily_demand(
    facts: RestockFacts, use: ForeseenUse
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Mean, spread and error of the daily rate: of past use, or of scheduled work where that is more."""
    rates, spreads = use.rates, use.spreads
    days = facts.scope.days
    scheduled = np.maximum((facts.scheduled_out - facts.scheduled_back).sum(axis=1), 0.0) / days
    from_plan = scheduled > rates / DAYS_A_WEEK
    spread = np.where(
        from_plan & (spreads == 0),
        np.sqrt(np.maximum(facts.scheduled_variance.sum(axis=1), 0.0) / days),
        spreads / np.sqrt(DAYS_A_WEEK),
    )
    mean = np.where(from_plan, scheduled, rates / DAYS_A_WEEK)
    return mean, spread, use.errors / DAYS_A_WEEK, from_plan


def find_lead_days(preferred: list[SupplyTerms | None]) -> tuple[Floats, Floats]:
    """Mean and spread of the lead time of each row in days."""
    unknown = UNKNOWN_LEAD_TIME
    mean = [unknown.mean_days if terms is None else terms.lead_time_days for terms in preferred]
    spread = [unknown.sd_days if terms is None else terms.lead_time_sd_days for terms in preferred]
    return np.array(mean, dtype=np.float64), np.array(spread, dtype=np.float64)


def find_minimums(aims: Sequence[Aim]) -> Floats:
    """The least that is to lie there, set by hand, in stock units; 0 where none is."""
    return np.array([(aim.minimum_level or 0) / MILLION for aim in aims], dtype=np.float64)


def find_targets(
    facts: RestockFacts, preferred: list[SupplyTerms | None]
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The share each material aims at, and whether it is a fill rate."""
    prices = [
        unit_cost_of(facts.materials[key[1]], terms) for key, terms in zip(facts.keys, preferred, strict=True)
    ]
    return aimed_shares(facts.aims, prices)


def aimed_shares(aims: Sequence[Aim], prices: Sequence[int]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The same of any aims at these prices; least cost is the fill rate p / (p + h) (Zheng 1992)."""
    shares, is_fill_rate = np.zeros(len(aims)), np.zeros(len(aims), dtype=bool)
    for number, (aim, price) in enumerate(zip(aims, prices, strict=True)):
        is_fill_rate[number] = aim.target != StockPolicy.Target.CYCLE_SERVICE
        if aim.target != StockPolicy.Target.COST:
            shares[number] = aim.target_share
            continue
        held = aim.holding_cost_rate / DAYS_A_YEAR * price
        lacking = float(aim.shortage_cost_per_day or 1)
        shares[number] = min(lacking / (lacking + held), HIGHEST_SERVICE)
    return shares, is_fill_rate
