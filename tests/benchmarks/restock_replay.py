"""How the restock policy would have done on published series of intermittent demand, beside a plain rule.

The series are no part of the project: SPANSTOCK_INTERMITTENT_DATA names the folder in which they lie. Lead
times and the periods learnt from are stated in each line; judged is only what comes after them, and series
without demand in the periods learnt from are left out. The plain rule orders up to the mean demand over lead
time and review so far plus a fixed safety factor times its deviation, one factor for all: the least with
which every class has the service that the policy reached. A further line gives it a factor of its own for
each class, tuned in hindsight, which no rule of thumb could have known.
"""

import csv
import gzip
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from inventory.calc.demand_forecasts import CLASSES
from inventory.calc.policy_replay import LivePolicy, PlainRule, ReplayResult, replay
from inventory.calc.ranges import FloatArray
from tests.benchmarks.measurement import Measurement

VARIABLE = "SPANSTOCK_INTERMITTENT_DATA"
TARGET = 0.95
LEAST = {"smooth": 0.94, "intermittent": 0.94, "erratic": 0.93, "lumpy": 0.93}
# Below so many series one odd one decides; they are printed without a bound.
FEWEST_SERIES = 50
HALVINGS = 14


@dataclass(frozen=True)
class Case:
    """One published set: file, first column of demand, periods learnt from, lead time, unit of a level."""

    file: str
    columns: tuple[str, str]
    learnt: int
    lead_time: int
    periods_a_year: int = 12
    is_bounded_above: bool = True


CASES = (
    Case("auto_3000x24.csv.gz", ("m01", "m24"), 14, 1),
    Case("carparts_2674x51.csv.gz", ("1998-01", "2002-03"), 30, 1),
    # Pieces go by the hundred here, so that a level one piece lower changes next to nothing.
    Case("man_weekly.csv.gz", ("2012-W01", ""), 104, 7, 52, is_bounded_above=False),
)


def main() -> list[Measurement]:
    folder = os.environ.get(VARIABLE)
    if not folder or not Path(folder).is_dir():
        return [Measurement(what=f"left out: {VARIABLE} names no folder", value=0, unit="1")]
    return [found for case in CASES for found in measure(case, Path(folder) / case.file)]


def measure(case: Case, path: Path) -> Iterable[Measurement]:
    demand = read_demand(case, path)
    demand = demand[(demand[:, : case.learnt] > 0).any(axis=1)]
    count = len(demand)
    policy = LivePolicy(
        history=demand,
        lead_time=np.full(count, case.lead_time),
        learnt=case.learnt,
        share=np.full(count, TARGET),
        is_fill_rate=np.ones(count, dtype=bool),
        is_whole=np.ones(count, dtype=bool),
        sizes=order_one,
        weights=np.ones(count),
        since_classed=lambda period: max(period - case.learnt + 1, 0) % case.periods_a_year,
    )
    given = {"demand": demand, "lead_time": case.lead_time, "learnt": case.learnt}
    found = replay(rule=policy, **given)
    lower = replay(rule=lambda period: (policy.given[period][0] - 1, policy.given[period][1]), **given)
    name = f"{case.file.split('_')[0]}, lead time {case.lead_time}, learnt {case.learnt}"
    for kind in CLASSES:
        among = found.classes == kind
        count = int(np.count_nonzero(among))
        if not count:
            continue
        is_bound = count >= FEWEST_SERIES
        what = f"{name}: {kind} ({count})"
        yield Measurement(
            what=f"{what}: filled of demanded, {found.orders[among].mean():.1f} orders",
            value=found.fill_rate(among),
            unit="1",
            at_least=LEAST[kind] if is_bound else None,
        )
        yield Measurement(
            what=f"{what}: filled one level lower",
            value=lower.fill_rate(among),
            unit="1",
            at_most=TARGET if is_bound and case.is_bounded_above else None,
        )
        own = tune(case, demand[among], [found.fill_rate(among)], [np.ones(count, dtype=bool)])
        yield Measurement(
            what=f"{what}: mean stock over a plain rule tuned for the class in hindsight",
            value=found.stock[among].sum() / own.stock.sum(),
            unit="1",
        )
    classes = [found.classes == kind for kind in CLASSES if (found.classes == kind).sum() >= FEWEST_SERIES]
    plain = tune(case, demand, [found.fill_rate(among) for among in classes], classes)
    yield Measurement(
        what=f"{name}: mean stock over the plain rule with that service in every class",
        value=found.stock.sum() / plain.stock.sum(),
        unit="1",
        at_most=1,
    )


def tune(case: Case, demand: FloatArray, rates: list[float], classes: list[np.ndarray]) -> ReplayResult:
    """The plain rule with the least factor that gives each of the classes its rate."""
    low, high = -1.0, 14.0
    for _ in range(HALVINGS):
        factor = (low + high) / 2
        found = run_plain(case, demand, factor)
        is_enough = all(
            found.fill_rate(among) >= rate - 1e-9 for among, rate in zip(classes, rates, strict=True)
        )
        low, high = (low, factor) if is_enough else (factor, high)
    return run_plain(case, demand, high)


def run_plain(case: Case, demand: FloatArray, factor: float) -> ReplayResult:
    rule = PlainRule(
        history=demand,
        lead_time=np.full(len(demand), case.lead_time),
        factor=factor,
        is_whole=np.ones(len(demand), dtype=bool),
        sizes=order_one,
    )
    return replay(demand=demand, lead_time=case.lead_time, learnt=case.learnt, rule=rule)


def order_one(rates: FloatArray) -> FloatArray:
    """One piece at a time: nothing is known of what an order costs, and every rule orders alike."""
    return np.ones(len(rates))


def read_demand(case: Case, path: Path) -> FloatArray:
    with gzip.open(path, "rt") as file:
        rows = list(csv.reader(file))
    first, last = case.columns
    start = rows[0].index(first)
    end = rows[0].index(last) + 1 if last else len(rows[0])
    known = [row[start:end] for row in rows[1:] if all(cell not in ("", "NA") for cell in row[start:end])]
    return np.array(known, dtype=np.float64)
