"""A night's refit: 13 cable sizes and 100,000 readings, each with its own uncertainty."""

import time

import numpy as np

from jobs.calc.learning import RatioPrior, fit_ratios, predict_each
from jobs.calc.learning_readings import gather_readings
from tests.benchmarks.measurement import Measurement

SIZES, SPANS, REPEATS = 13, 100_000, 3
SECONDS = 0.5


def main() -> list[Measurement]:
    return [
        Measurement(what=f"13 sizes, {what}", value=_seconds(per_drum), unit="s", at_most=SECONDS)
        for what, per_drum in (("100,000 single readings", 1), ("100,000 spans, 2 in a drum", 2))
    ]


def _seconds(per_drum: int) -> float:
    random = np.random.default_rng(1)
    sizes, volumes = random.integers(0, SIZES, SPANS), random.uniform(5, 40, SPANS)
    own = 1.1 + 0.05 * random.standard_normal(SIZES)
    drums = np.arange(SPANS) // per_drum
    totals = np.bincount(drums, volumes * (own[sizes] + 0.05 * random.standard_normal(SPANS)))
    uncertainties = random.uniform(0.05, 0.3, len(totals))
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        readings = gather_readings(
            totals=totals,
            uncertainties=uncertainties,
            span_readings=drums,
            span_sizes=sizes,
            span_volumes=volumes,
            number_of_sizes=SIZES,
        )
        fit = fit_ratios(readings=readings, prior=RatioPrior(mean=1.1, sd=0.1))
        predict_each(fit, sizes=[*range(SIZES), None], confidence=0.9)
        taken.append(time.perf_counter() - start)
    return min(taken)
