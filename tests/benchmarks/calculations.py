"""How fast the simulation, the reconciliation and the pooling are at the sizes that are promised."""

import time
from collections.abc import Callable

import numpy as np

from jobs.calc.balance import reconcile
from jobs.calc.crew_day import gather_spans, simulate_crew_day
from jobs.calc.pooling import pool_groups, reml_variance
from tests.benchmarks.measurement import Measurement

CREWS = 50
SPANS = 20
DRAWS = 10_000
SIZES = 13
REPORTS = 100_000
REPEATS = 5


def best_seconds(work: Callable[[], object]) -> float:
    """The best of a few runs: the others measure what else the machine does."""
    seconds = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def simulate_all_crews() -> None:
    random = np.random.default_rng(1)
    for crew in range(CREWS):
        spans = gather_spans(
            bore_volume_m3=random.uniform(0.01, 0.1, SPANS),
            injected_mean=random.uniform(1.05, 1.3, SPANS),
            injected_sd=random.uniform(0.02, 0.1, SPANS),
            caught_mean=random.uniform(0.05, 0.2, SPANS),
            caught_sd=0.03,
            recovered_mean=random.uniform(0.85, 0.95, SPANS),
            recovered_sd=0.03,
            run=np.arange(SPANS) // 4,
        )
        day = simulate_crew_day(spans=spans, reusable_fraction=0.8, set_up_m3=0.002, draws=DRAWS, seed=crew)
        day.load_m3(0.9)


def make_network(streams: int, nodes: int, unmeasured: int) -> Callable[[], object]:
    """Streams between random nodes, some from or to outside."""
    random = np.random.default_rng(streams)
    balances = np.zeros((nodes, streams))
    for stream, (tail, head) in enumerate(random.integers(-1, nodes, (streams, 2))):
        if tail >= 0:
            balances[tail, stream] -= 1
        if head >= 0:
            balances[head, stream] += 1
    measured = random.uniform(1, 10, streams)
    measured[:unmeasured] = np.nan
    uncertainty = random.uniform(0.01, 1, streams)
    return lambda: reconcile(measured=measured, standard_uncertainty=uncertainty, balances=balances)


def pool_reports() -> None:
    """Reports are summed by size, then pooled."""
    random = np.random.default_rng(2)
    sizes = random.integers(0, SIZES, REPORTS)
    ratios = 1.1 + 0.02 * sizes + random.normal(0, 0.08, REPORTS)
    counts = np.bincount(sizes, minlength=SIZES)
    means = np.bincount(sizes, ratios, SIZES) / counts
    variances = np.bincount(sizes, (ratios - means[sizes]) ** 2, SIZES) / (counts - 1) / counts
    between = reml_variance(estimates=means, variances=variances)
    pool_groups(estimates=means, variances=variances, between_variance=between)


def main() -> list[Measurement]:
    crews = f"{CREWS} crews, {SPANS} spans, {DRAWS} draws"
    small, month = make_network(60, 30, 4), make_network(2000, 1000, 200)
    pooling = f"{SIZES} sizes from {REPORTS} reports"
    return [
        Measurement(what=crews, value=best_seconds(simulate_all_crews), unit="s", at_most=2),
        Measurement(what="60 streams, 30 balances", value=1000 * best_seconds(small), unit="ms", at_most=5),
        Measurement(what="2,000 streams, 1,000 balances", value=best_seconds(month), unit="s", at_most=1),
        Measurement(what=pooling, value=best_seconds(pool_reports), unit="s", at_most=0.5),
    ]
