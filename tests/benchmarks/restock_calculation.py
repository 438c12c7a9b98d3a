"""Class, forecast, lead-time demand, reorder point and quantity for 100,000 materials, without storage.

The bounds against one call per item of stockpyl (the best reorder point of a given quantity, while the plan
finds the quantity too) and against statsforecast are measured where these packages are installed; the product
does not need them.
"""

import importlib.util
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np

from inventory.calc.demand_forecasts import (
    croston_rates,
    demand_pattern,
    forecast_rates,
    sba_rates,
    tsb_rates,
)
from inventory.calc.demand_shapes import NormalDemand
from inventory.calc.ranges import FloatArray
from inventory.calc.reorder_costs import StockCosts, best_policy
from inventory.calc.reorder_points import lead_time_demand, reorder_point_for_fill_rate
from tests.benchmarks.measurement import Measurement

MATERIALS, WEEKS, SERIES, CALLS = 100_000, 104, 3_000, 500
COSTS = StockCosts(0.225, 7.5, 8.0)


def make_history(materials: int, weeks: int) -> FloatArray:
    random = np.random.default_rng(1)
    comes = random.random((materials, weeks)) < random.uniform(0.05, 0.9, (materials, 1))
    return comes * (1 + random.poisson(random.gamma(1, 5, (materials, 1)), (materials, weeks))).astype(float)


def plan(history: FloatArray) -> None:
    """Everything the restock list asks of the calculations, for all materials at once."""
    demand_pattern(history)
    rates, _ = forecast_rates(history, method="auto")
    mean, sd = lead_time_demand(
        demand_mean=rates, demand_sd=history.std(axis=1), lead_time=2.0, lead_time_sd=0.5, review_period=1.0
    )
    demand = NormalDemand(mean, sd)
    _, quantities, _ = best_policy(demand=demand, demand_rate=rates, costs=COSTS)
    reorder_point_for_fill_rate(demand=demand, order_quantity=np.maximum(quantities, 1.0), fill_rate=0.95)


def seconds_of(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> list[Measurement]:
    history = make_history(MATERIALS, WEEKS)
    seconds = seconds_of(lambda: plan(history))
    found = [
        Measurement(what="plan 100,000 materials of 104 weeks", value=seconds, unit="s", at_most=60),
        Measurement(
            what="memory at most, beside the history", value=peak_mib(history), unit="MiB", at_most=1024
        ),
    ]
    if importlib.util.find_spec("stockpyl"):
        each = seconds_of(call_stockpyl) / CALLS
        share = seconds / (each * MATERIALS)
        found.append(
            Measurement(what="share of one call each of stockpyl", value=share, unit="1", at_most=0.01)
        )
    if importlib.util.find_spec("statsforecast"):
        found += against_statsforecast(make_history(SERIES, 24))
    return found


def peak_mib(history: FloatArray) -> float:
    tracemalloc.start()
    plan(history)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def call_stockpyl() -> None:
    """The best reorder point of a normal demand, exact, one item a call."""
    from stockpyl.rq import r_q_optimal_r_for_q

    for call in range(CALLS):
        r_q_optimal_r_for_q(300 + call % 50, 0.225, 7.5, 1300, 150, 1 / 12)


def against_statsforecast(series: FloatArray) -> list[Measurement]:
    from statsforecast.models import TSB, CrostonClassic, CrostonSBA

    found = []
    for name, model, rates in (
        ("croston", CrostonClassic(), croston_rates),
        ("sba", CrostonSBA(), sba_rates),
        ("tsb", TSB(alpha_d=0.1, alpha_p=0.1), tsb_rates),
    ):
        theirs = forecast_one_by_one(model, series)  # the first round compiles
        their_seconds = seconds_of(lambda model=model: forecast_one_by_one(model, series))
        ratio = seconds_of(lambda rates=rates: rates(series)) / their_seconds
        found.append(Measurement(what=f"{name}: time over statsforecast", value=ratio, unit="1", at_most=1))
        difference = float(np.max(np.abs(rates(series) - theirs) / np.maximum(theirs, 1e-12)))
        found.append(Measurement(what=f"{name}: difference", value=difference, unit="1", at_most=1e-9))
    return found


def forecast_one_by_one(model: Any, series: FloatArray) -> FloatArray:
    return np.array([model.forecast(y=row, h=1)["mean"][0] for row in series])
