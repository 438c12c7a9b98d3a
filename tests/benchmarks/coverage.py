"""How often what is learnt from field reports holds: share of 90 % predictions that contain what came.

Each history has its own sizes, spans and readings, drawn with a fixed seed; a prediction is made for one more
span of each size, for one of a size never seen, and held against what that span then does. It takes
about half an hour.
"""

from collections.abc import Sequence

import numpy as np

from jobs.calc.learning import RatioPrior, fit_ratios, predict_spans
from jobs.calc.learning_counts import fit_losses, fit_passes, predict_losses, predict_passes, upper_limit
from jobs.calc.learning_readings import Readings, gather_readings
from tests.benchmarks.measurement import Measurement

HISTORIES = 4_000
CONFIDENCE = 0.9
THIRTEEN = (2, 3, 3, 5, 5, 8, 10, 12, 15, 20, 30, 50, 200)
THREE = (2, 3, 5)
# Worth a tenth of a reading, as the service has it: what a company estimates must not bend what it measures.
PRIOR = RatioPrior(mean=1.1, sd=0.1, readings=0.1)
# Mean ratio, scatter of the sizes, scatter of the spans of one size.
TRUTHS = {"equal": (1.1, 0.05, 0.05), "sizes alike": (1.2, 0.02, 0.08), "sizes differ": (1.0, 0.1, 0.03)}
UNCERTAINTY = 0.2
PASSES = np.array([0.02, 0.08, 0.45, 0.3, 0.1, 0.05])
PASSES_THOUGHT = np.array([0.05, 0.15, 0.3, 0.3, 0.15, 0.05])
DAY_RUNS, DAY_USES = 6, 20


def main() -> list[Measurement]:
    found = []
    for label, truth in TRUTHS.items():
        for name, spans in (("13 sizes", THIRTEEN), ("3 sizes", THREE)):
            for is_grouped in (False, True):
                kind = f"{name}{', shared drums' if is_grouped else ''}, {label}"
                found += _report(kind, _cover_ratios(spans, truth, is_grouped))
    for name, spans in (("13 sizes", THIRTEEN), ("3 sizes", THREE)):
        for what, runs in (("a run", 1), ("a day", DAY_RUNS)):
            found += _report_counts(f"passes of {what}, {name}", _cover_passes(spans, runs))
        found += _report_counts(f"fittings lost in a day, {name}", _cover_losses(spans))
    return found


def _cover_ratios(spans: Sequence[int], truth: tuple[float, float, float], is_grouped: bool) -> np.ndarray:
    """Share of histories covered, for each size and last for one never seen [%]."""
    random = np.random.default_rng(20)
    mean, between, within = truth
    hits = np.zeros(len(spans) + 1)
    for _ in range(HISTORIES):
        own = mean + between * random.standard_normal(len(spans) + 1)
        readings = _read(random, own, within, spans, is_grouped)
        fit = fit_ratios(readings=readings, prior=PRIOR)
        comes = own + within * random.standard_normal(len(own))
        for place, size in enumerate([*range(len(spans)), None]):
            low, high = predict_spans(fit, sizes=[size], volumes=[10.0], confidence=CONFIDENCE).interval
            hits[place] += low <= comes[place] <= high
    return 100 * hits / HISTORIES


def _read(
    random: np.random.Generator, own: np.ndarray, within: float, spans: Sequence[int], is_grouped: bool
) -> Readings:
    sizes = np.repeat(np.arange(len(spans)), spans)
    volumes = random.uniform(5, 40, len(sizes))
    # A drum takes the next span as well with even chances, of whatever size that is.
    starts = random.random(len(sizes) - 1) < 0.5 if is_grouped else np.ones(len(sizes) - 1, dtype=bool)
    drums = np.concatenate([[0], np.cumsum(starts)])
    totals = np.bincount(drums, volumes * (own[sizes] + within * random.standard_normal(len(sizes))))
    return gather_readings(
        totals=totals + UNCERTAINTY * random.standard_normal(len(totals)),
        uncertainties=np.full(len(totals), UNCERTAINTY),
        span_readings=drums,
        span_sizes=sizes,
        span_volumes=volumes,
        number_of_sizes=len(spans),
    )


def _cover_passes(spans: Sequence[int], runs: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(21)
    enough, one_less = np.zeros(len(spans) + 1), np.zeros(len(spans) + 1)
    for _ in range(HISTORIES):
        own = random.dirichlet(30 * PASSES, len(spans) + 1)
        seen = [random.multinomial(n, p) for n, p in zip(spans, own[:-1], strict=True)]
        fit = fit_passes(runs=seen, prior=PASSES_THOUGHT, prior_runs=2)
        comes = np.array([random.multinomial(runs, p) for p in own]) @ np.arange(1, len(PASSES) + 1)
        limits = np.array(
            [
                upper_limit(predict_passes(fit, size=size, runs=runs), quantile=CONFIDENCE)
                for size in [*range(len(spans)), None]
            ]
        )
        enough += comes <= limits
        one_less += comes <= limits - 1
    return 100 * enough / HISTORIES, 100 * one_less / HISTORIES


def _cover_losses(spans: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(22)
    enough, one_less = np.zeros(len(spans) + 1), np.zeros(len(spans) + 1)
    for _ in range(HISTORIES):
        own = random.beta(0.04 * 50, 0.96 * 50, len(spans) + 1)
        uses = 2 * np.array(spans)
        fit = fit_losses(uses=uses, lost=random.binomial(uses, own[:-1]), prior_mean=0.05, prior_uses=20)
        comes = random.binomial(DAY_USES, own)
        limits = np.array(
            [
                upper_limit(predict_losses(fit, size=size, uses=DAY_USES), quantile=CONFIDENCE)
                for size in [*range(len(spans)), None]
            ]
        )
        enough += comes <= limits
        one_less += comes <= limits - 1
    return 100 * enough / HISTORIES, 100 * one_less / HISTORIES


def _report(kind: str, covered: np.ndarray) -> list[Measurement]:
    rows = {"lowest of the sizes": covered[:-1].min(), "highest of the sizes": covered[:-1].max()}
    rows["a size never seen"] = covered[-1]
    return [
        Measurement(what=f"{kind}: {name}", value=float(value), unit="%", at_least=88, at_most=92)
        for name, value in rows.items()
    ]


def _report_counts(kind: str, covered: tuple[np.ndarray, np.ndarray]) -> list[Measurement]:
    enough, one_less = covered
    lowest, highest = float(enough.min()), float(one_less.max())
    return [
        Measurement(what=f"{kind}: enough, lowest of the sizes", value=lowest, unit="%", at_least=90),
        Measurement(what=f"{kind}: one less, highest of the sizes", value=highest, unit="%", at_most=90),
    ]
