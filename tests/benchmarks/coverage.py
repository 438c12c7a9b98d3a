"""How often what is learnt from field reports holds: share of 90 % predictions that contain what came.

Each history has its own ratios and readings, drawn with a fixed seed; a prediction is made for one more span
of each size, for one of a size never seen, and held against what that span then does. Eight histories share
an arrangement: which spans there are, how large, and which of them share a drum.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.learning import RatioPrior, fit_ratios, predict_each
from jobs.calc.learning_counts import fit_losses, fit_passes, predict_losses, predict_passes, upper_limit
from jobs.calc.learning_readings import gather_readings
from tests.benchmarks.measurement import Measurement

HISTORIES, SHARING = 4_000, 8
CONFIDENCE = 0.9
THIRTEEN = (2, 3, 3, 5, 5, 8, 10, 12, 15, 20, 30, 50, 200)
THREE = (2, 3, 5)
# Worth a tenth of a reading, as the service has it: what a company estimates must not bend what it measures.
PRIOR = RatioPrior(mean=1.1, sd=0.1, readings=0.1)
# Mean ratio, scatter of the sizes, scatter of the spans of one size.
TRUTHS = {
    "equal": (1.1, 0.05, 0.05),
    "sizes alike": (1.2, 0.02, 0.08),
    "sizes differ": (1.0, 0.1, 0.03),
    "sizes the same": (0.93, 0.0, 0.04),
    "twice as far": (0.9, 0.08, 0.04),
}
UNCERTAINTY = 0.2
# Common probabilities of 1, 2, 3, ... projectiles, and of how many runs the sizes' own ones scatter as much.
PASSES = {
    "usual": (np.array([0.02, 0.08, 0.45, 0.3, 0.1, 0.05]), 30),
    "fewer": (np.array([0.08, 0.22, 0.35, 0.23, 0.08, 0.04]), 100),
    "few": (np.array([0.2, 0.4, 0.25, 0.1, 0.03, 0.02]), 100),
}
PASSES_THOUGHT = np.array([0.05, 0.15, 0.3, 0.3, 0.15, 0.05])
# Chance that a fitting is lost in a use, and of how many uses the sizes' own ones scatter as much.
LOSSES = {"seldom": (0.04, 50), "at times": (0.06, 100), "often": (0.12, 20)}
LOSS_THOUGHT = 0.05
# So far from what was thought that a few reports cannot yet say so: shown, and held to nothing.
UNLIKE = {"few", "often"}
DAY_RUNS, DAY_USES = 6, 20


@dataclass(frozen=True)
class Arrangement:
    """Size and volume of each span, and the drum that it was read with."""

    sizes: np.ndarray
    volumes: np.ndarray
    drums: np.ndarray


def main() -> list[Measurement]:
    found = []
    for name, spans in (("13 sizes", THIRTEEN), ("3 sizes", THREE)):
        for is_grouped in (False, True):
            kind = f"{name}{', shared drums' if is_grouped else ''}"
            for label, covered in _cover_ratios(spans, is_grouped).items():
                found += _report(f"{kind}, {label}", covered)
    for name, spans in (("13 sizes", THIRTEEN), ("3 sizes", THREE)):
        for label, passes in PASSES.items():
            for what, runs in (("a run", 1), ("a day", DAY_RUNS)):
                counted = _cover_passes(spans, runs, *passes)
                found += _report_counts(f"{label} passes of {what}, {name}", counted, label in UNLIKE)
        for label, losses in LOSSES.items():
            counted = _cover_losses(spans, *losses)
            found += _report_counts(f"fittings {label} lost in a day, {name}", counted, label in UNLIKE)
    return found


def _cover_ratios(spans: Sequence[int], is_grouped: bool) -> dict[str, np.ndarray]:
    """For each truth the share of histories covered, for each size and last for one never seen [%]."""
    random = np.random.default_rng(20)
    hits = {label: np.zeros(len(spans) + 1) for label in TRUTHS}
    for _ in range(HISTORIES // SHARING):
        arrangement = _arrange(random, spans, is_grouped)
        for label, truth in TRUTHS.items():
            for _ in range(SHARING):
                hits[label] += _is_covered(random, arrangement, truth)
    return {label: 100 * hit / HISTORIES for label, hit in hits.items()}


def _arrange(random: np.random.Generator, spans: Sequence[int], is_grouped: bool) -> Arrangement:
    sizes = np.repeat(np.arange(len(spans)), spans)
    # A drum takes the next span as well with even chances, of whatever size that is.
    starts = random.random(len(sizes) - 1) < 0.5 if is_grouped else np.ones(len(sizes) - 1, dtype=bool)
    return Arrangement(sizes, random.uniform(5, 40, len(sizes)), np.concatenate([[0], np.cumsum(starts)]))


def _is_covered(
    random: np.random.Generator, arrangement: Arrangement, truth: tuple[float, float, float]
) -> np.ndarray:
    mean, between, within = truth
    sizes, volumes, drums = arrangement.sizes, arrangement.volumes, arrangement.drums
    number = int(sizes.max()) + 1
    own = mean + between * random.standard_normal(number + 1)
    totals = np.bincount(drums, volumes * (own[sizes] + within * random.standard_normal(len(sizes))))
    readings = gather_readings(
        totals=totals + UNCERTAINTY * random.standard_normal(len(totals)),
        uncertainties=np.full(len(totals), UNCERTAINTY),
        span_readings=drums,
        span_sizes=sizes,
        span_volumes=volumes,
        number_of_sizes=number,
    )
    fit = fit_ratios(readings=readings, prior=PRIOR)
    ends = predict_each(fit, sizes=[*range(number), None], confidence=CONFIDENCE)
    low, high = np.array([found.interval for found in ends]).T
    comes = own + within * random.standard_normal(len(own))
    return (low <= comes) & (comes <= high)


def _cover_passes(
    spans: Sequence[int], runs: int, common: np.ndarray, likeness: float
) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(21)
    enough, one_less = np.zeros(len(spans) + 1), np.zeros(len(spans) + 1)
    for _ in range(HISTORIES):
        own = random.dirichlet(likeness * common, len(spans) + 1)
        seen = [random.multinomial(n, p) for n, p in zip(spans, own[:-1], strict=True)]
        fit = fit_passes(runs=seen, prior=PASSES_THOUGHT, prior_runs=len(common) / 2)
        comes = np.array([random.multinomial(runs, p) for p in own]) @ np.arange(1, len(common) + 1)
        limits = np.array(
            [
                upper_limit(predict_passes(fit, size=size, runs=runs), quantile=CONFIDENCE)
                for size in [*range(len(spans)), None]
            ]
        )
        enough += comes <= limits
        one_less += comes <= limits - 1
    return 100 * enough / HISTORIES, 100 * one_less / HISTORIES


def _cover_losses(spans: Sequence[int], chance: float, likeness: float) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(22)
    enough, one_less = np.zeros(len(spans) + 1), np.zeros(len(spans) + 1)
    for _ in range(HISTORIES):
        own = random.beta(chance * likeness, (1 - chance) * likeness, len(spans) + 1)
        uses = 2 * np.array(spans)
        fit = fit_losses(
            uses=uses, lost=random.binomial(uses, own[:-1]), prior_mean=LOSS_THOUGHT, prior_uses=20
        )
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


def _report_counts(kind: str, covered: tuple[np.ndarray, np.ndarray], is_unlike: bool) -> list[Measurement]:
    lowest, highest = float(covered[0].min()), float(covered[1].max())
    bound = None if is_unlike else 90.0
    return [
        Measurement(what=f"{kind}: enough, lowest of the sizes", value=lowest, unit="%", at_least=bound),
        Measurement(what=f"{kind}: one less, highest of the sizes", value=highest, unit="%", at_most=bound),
    ]
