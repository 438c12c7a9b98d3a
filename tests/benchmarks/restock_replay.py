"""How the restock policy would have done on published series of intermittent demand, beside a plain rule.

The series are no part of the project: SPANSTOCK_INTERMITTENT_DATA names the folder in which they lie. Lead
times and the periods learnt from are stated in each line; judged is only what comes after them, and series
without demand in the periods learnt from are left out. The plain rule orders up to the mean demand over lead
time and review so far plus a fixed safety factor times its deviation, one factor for all: the least with
which every class has the service that the policy reached. Further lines give it a factor of its own for each
class: one tuned in hindsight, which no rule of thumb could have known, and one tuned on the periods learnt
from, which anybody could, with what it then filled. Beside the bounds each line tells how demand changed
between the periods learnt from and judged, and how much of it falls on the largest series.

Stock is bounded for each set as a whole. By class it is printed without a bound: the class that sets the one
factor, and every class under a factor tuned for it in hindsight, meet a plain rule that knew the answer, and
come out near 1.
"""

import csv
import gzip
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from inventory.calc.demand_forecasts import CLASSES
from inventory.calc.live_policy import LivePolicy
from inventory.calc.plain_rule import PlainRule, factor_of_equal_service
from inventory.calc.ranges import FloatArray
from inventory.calc.replayed_stock import ReplayResult, Rule, replay
from tests.benchmarks.measurement import Measurement

VARIABLE = "SPANSTOCK_INTERMITTENT_DATA"
TARGET = 0.95
LEAST = {"smooth": 0.94, "intermittent": 0.94, "erratic": 0.93, "lumpy": 0.93}
# Below so many series one odd one decides; they are printed without a bound.
FEWEST_SERIES = 50


@dataclass(frozen=True)
class Case:
    """One published set: file, first column of demand, periods learnt from, lead time, unit of a level."""

    file: str
    columns: tuple[str, str]
    learnt: int
    lead_time: int
    periods_a_year: int = 12
    is_bounded_above: bool = True

    @property
    def name(self) -> str:
        return f"{self.file.split('_')[0]}, lead time {self.lead_time}, learnt {self.learnt}"


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

    def run(rule: Rule) -> ReplayResult:
        return replay(demand=demand, lead_time=case.lead_time, learnt=case.learnt, rule=rule)

    policy = make_policy(case, demand)
    found = run(policy)
    lower = run(lambda period: (policy.given[period][0] - 1, policy.given[period][1]))
    kinds = [kind for kind in CLASSES if (found.classes == kind).any()]
    group = np.array([kinds.index(kind) for kind in found.classes])
    plain, rates = make_plain(case, demand), np.array([found.fill_rate(found.classes == k) for k in kinds])
    factors = factor_of_equal_service(
        lambda factor: run(plain.with_factor(factor)), groups=group, service=rates
    )
    counts = np.bincount(group)
    # One factor for all, so that each class large enough to tell has what the policy gave it.
    fixed = run(plain.with_factor(float(factors[counts >= FEWEST_SERIES].max())))
    own = run(plain.with_factor(factors[group]))
    earlier = run(plain.with_factor(foresee_factors(case, demand, group)[group]))
    for number, kind in enumerate(kinds):
        yield from tell_class(case, kind, group == number, Replays(demand, found, lower, fixed, own, earlier))
    yield Measurement(
        what=f"{case.name}: mean stock over the plain rule with one factor and that service in every class",
        value=found.stock.sum() / fixed.stock.sum(),
        unit="1",
        at_most=1,
    )


@dataclass(frozen=True)
class Replays:
    """One set under the policy, a level lower, and the plain rule with its factors."""

    demand: FloatArray
    policy: ReplayResult
    lower: ReplayResult
    fixed: ReplayResult
    own: ReplayResult
    earlier: ReplayResult


def tell_class(case: Case, kind: str, among: np.ndarray, runs: Replays) -> Iterable[Measurement]:
    count = int(np.count_nonzero(among))
    is_bound = count >= FEWEST_SERIES
    what = f"{case.name}: {kind} ({count})"
    yield Measurement(
        what=f"{what}: filled of demanded, {runs.policy.orders[among].mean():.1f} orders",
        value=runs.policy.fill_rate(among),
        unit="1",
        at_least=LEAST[kind] if is_bound else None,
    )
    before, after = runs.demand[among, : case.learnt].mean(), runs.demand[among, case.learnt :].mean()
    ended = 1 - (runs.demand[among, case.learnt :] > 0).any(axis=1).mean()
    largest = np.sort(runs.policy.demanded[among])[::-1]
    share = largest[: -(-count // 100)].sum() / max(largest.sum(), 1)
    yield Measurement(
        what=f"{what}: filled one level lower; demand a period {before:.3g} learnt, {after:.3g} judged, "
        f"{ended:.0%} of series none when judged, largest 1 % of series {share:.0%} of it",
        value=runs.lower.fill_rate(among),
        unit="1",
        at_most=TARGET if is_bound and case.is_bounded_above else None,
    )
    for name, plain in (
        ("one factor for all classes", runs.fixed),
        ("a factor for the class known only afterwards", runs.own),
        ("a factor for the class tuned on the periods learnt from", runs.earlier),
    ):
        rate = plain.fill_rate(among)
        yield Measurement(
            what=f"{what}: mean stock over the plain rule with {name}, which filled {rate:.4f}",
            value=runs.policy.stock[among].sum() / plain.stock[among].sum(),
            unit="1",
        )


def make_policy(case: Case, demand: FloatArray) -> LivePolicy:
    count = len(demand)
    return LivePolicy(
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


def make_plain(case: Case, demand: FloatArray) -> PlainRule:
    return PlainRule(
        known=lambda period: demand[:, : period + 1],
        span=lambda period: np.full(len(demand), case.lead_time + 1.0),
        factor=0.0,
        is_whole=np.ones(len(demand), dtype=bool),
        sizes=order_one,
    )


def foresee_factors(case: Case, demand: FloatArray, group: np.ndarray) -> FloatArray:
    """By class what filled the target in the latter half of the periods learnt from, as could be known."""
    plain = make_plain(case, demand)
    return factor_of_equal_service(
        lambda factor: replay(
            demand=demand[:, : case.learnt],
            lead_time=case.lead_time,
            learnt=max(case.learnt // 2, case.lead_time + 5),
            rule=plain.with_factor(factor),
        ),
        groups=group,
        service=np.full(int(group.max()) + 1, TARGET),
    )


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
