"""How often what is learnt from field reports holds: share of 90 % predictions that contain what came.

Each history has its own ratios and readings, drawn with a fixed seed; a prediction is made for one more span
of each size, for one of a size never seen, and held against what that span then does. Twenty histories share
an arrangement: which spans there are, how large, and which of them share a drum.

The rows "as thought" are the claim and are held to their bounds. Each of their histories has a truth of its
own, drawn about what the company estimated beforehand: the mean ratio as much beside it as the estimate's
spread, the scatter of the spans and that of the sizes each within a factor of two of what was thought, and
one company in four whose sizes are alike; for counts the common chances as unsure as the estimate says. A
prediction from two reports rests on the estimate by necessity, since ten readings cannot tell three scatters
apart, so what it can promise is a share over such companies and not one for every truth. The rows below show
single truths, among them some far from what was thought, and are held to nothing.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from jobs.calc.learning import RatioPrior, fit_ratios, predict_each
from jobs.calc.learning_counts import fit_losses, fit_passes, predict_losses, predict_passes, upper_limit
from jobs.calc.learning_readings import gather_readings
from tests.benchmarks.measurement import Measurement

HISTORIES, SHARING = 4_000, 20
# Of each single truth, which is shown and held to nothing.
SHOWN, SHOWN_SHARING = 800, 4
CONFIDENCE = 0.9
THIRTEEN = (2, 3, 3, 5, 5, 8, 10, 12, 15, 20, 30, 50, 200)
THREE = (2, 3, 5)
SIZES = (("13 sizes", THIRTEEN), ("3 sizes", THREE))
CLAIM = "as thought"
# Worth a tenth of a reading, as the service has it: what a company estimates must not bend what it measures.
PRIOR = RatioPrior(mean=1.1, sd=0.1, readings=0.1)
FACTOR, ALIKE_SHARE = 2.0, 0.25
# Mean ratio, scatter of the sizes, scatter of the spans of one size.
Truth = tuple[float, float, float]
Chance = TypeVar("Chance")
TRUTHS: dict[str, Truth] = {
    "equal": (1.1, 0.05, 0.05),
    "sizes alike": (1.2, 0.02, 0.08),
    "sizes differ": (1.0, 0.1, 0.03),
    "sizes the same": (0.93, 0.0, 0.04),
    "twice as far": (0.9, 0.08, 0.04),
}
UNCERTAINTY = 0.2
# Common probabilities of 1, 2, 3, ... projectiles, and of how many runs the sizes' own ones scatter as much.
PASSES = {
    "usual": (np.array([0.02, 0.08, 0.45, 0.3, 0.1, 0.05]), 30.0),
    "fewer": (np.array([0.08, 0.22, 0.35, 0.23, 0.08, 0.04]), 100.0),
    "few": (np.array([0.2, 0.4, 0.25, 0.1, 0.03, 0.02]), 100.0),
}
PASSES_THOUGHT, RUNS_THOUGHT = np.array([0.05, 0.15, 0.3, 0.3, 0.15, 0.05]), 3.0
# Chance that a fitting is lost in a use, and of how many uses the sizes' own ones scatter as much.
LOSSES = {"seldom": (0.04, 50.0), "at times": (0.06, 100.0), "often": (0.12, 20.0)}
LOSS_THOUGHT, USES_THOUGHT = 0.05, 20.0
LEAST_LIKENESS, MOST_LIKENESS = 10.0, 300.0
DAY_RUNS, DAY_USES = 6, 20
# A chance of exactly nothing cannot be drawn from.
TRACE = 1e-9


@dataclass(frozen=True)
class Arrangement:
    """Size and volume of each span, and the drum that it was read with."""

    sizes: np.ndarray
    volumes: np.ndarray
    drums: np.ndarray


@dataclass
class Counted:
    """Histories in which the limit was enough, and in which one less would have been, by size."""

    enough: np.ndarray
    one_less: np.ndarray
    histories: int = 0

    def add(self, comes: np.ndarray, limits: np.ndarray) -> None:
        self.enough += comes <= limits
        self.one_less += comes <= limits - 1
        self.histories += 1


def main() -> list[Measurement]:
    found = []
    for name, spans in SIZES:
        for is_grouped in (False, True):
            kind = f"{name}{', shared drums' if is_grouped else ''}"
            for label, covered in _cover_ratios(spans, is_grouped).items():
                found += _report(f"{kind}, {label}", covered, is_claim=label == CLAIM)
    for name, spans in SIZES:
        for what, runs in (("a run", 1), ("a day", DAY_RUNS)):
            for label, counted in _cover_passes(spans, runs).items():
                found += _report_counts(f"passes of {what}, {name}, {label}", counted, label == CLAIM)
        for label, counted in _cover_losses(spans).items():
            found += _report_counts(f"fittings lost in a day, {name}, {label}", counted, label == CLAIM)
    return sorted(found, key=lambda row: CLAIM not in row.what)


def _cover_ratios(spans: Sequence[int], is_grouped: bool) -> dict[str, np.ndarray]:
    """For each truth the share of histories covered, for each size and last for one never seen [%]."""
    random = np.random.default_rng(20)
    hits = {label: np.zeros(len(spans) + 1) for label in (CLAIM, *TRUTHS)}
    for _ in range(HISTORIES // SHARING):
        arrangement = _arrange(random, spans, is_grouped)
        for _ in range(SHARING):
            hits[CLAIM] += _is_covered(random, arrangement, _draw_truth(random))
        for label, truth in TRUTHS.items():
            for _ in range(SHOWN_SHARING):
                hits[label] += _is_covered(random, arrangement, truth)
    return {label: 100 * hit / (HISTORIES if label == CLAIM else SHOWN) for label, hit in hits.items()}


def _draw_truth(random: np.random.Generator) -> Truth:
    """Mean, scatter of the sizes and of the spans about what was thought of them."""
    between, within = PRIOR.sd * np.sqrt([PRIOR.between_share, 1 - PRIOR.between_share])
    between, within = (sd * FACTOR ** random.uniform(-1, 1) for sd in (between, within))
    is_alike = random.random() < ALIKE_SHARE
    return PRIOR.mean + PRIOR.sd * random.standard_normal(), 0.0 if is_alike else between, within


def _arrange(random: np.random.Generator, spans: Sequence[int], is_grouped: bool) -> Arrangement:
    sizes = np.repeat(np.arange(len(spans)), spans)
    # A drum takes the next span as well with even chances, of whatever size that is.
    starts = random.random(len(sizes) - 1) < 0.5 if is_grouped else np.ones(len(sizes) - 1, dtype=bool)
    return Arrangement(sizes, random.uniform(5, 40, len(sizes)), np.concatenate([[0], np.cumsum(starts)]))


def _is_covered(random: np.random.Generator, arrangement: Arrangement, truth: Truth) -> np.ndarray:
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


def _cover_passes(spans: Sequence[int], runs: int) -> dict[str, Counted]:
    random = np.random.default_rng(21)

    def draw() -> tuple[np.ndarray, float]:
        return random.dirichlet(RUNS_THOUGHT * PASSES_THOUGHT), _draw_likeness(random)

    found: dict[str, Counted] = {}
    for label, (common, likeness) in _each_truth(PASSES, draw):
        own = random.dirichlet(likeness * common + TRACE, len(spans) + 1)
        seen = [random.multinomial(n, p) for n, p in zip(spans, own[:-1], strict=True)]
        fit = fit_passes(runs=seen, prior=PASSES_THOUGHT, prior_runs=RUNS_THOUGHT)
        comes = np.array([random.multinomial(runs, p) for p in own]) @ np.arange(1, len(common) + 1)
        predicted = [predict_passes(fit, size=size, runs=runs) for size in [*range(len(spans)), None]]
        _count(found, label, comes, predicted)
    return found


def _cover_losses(spans: Sequence[int]) -> dict[str, Counted]:
    random = np.random.default_rng(22)
    uses = 2 * np.array(spans)

    def draw() -> tuple[float, float]:
        common = random.beta(LOSS_THOUGHT * USES_THOUGHT, (1 - LOSS_THOUGHT) * USES_THOUGHT)
        return common, _draw_likeness(random)

    found: dict[str, Counted] = {}
    for label, (common, likeness) in _each_truth(LOSSES, draw):
        own = random.beta(common * likeness + TRACE, (1 - common) * likeness, len(spans) + 1)
        lost = random.binomial(uses, own[:-1])
        fit = fit_losses(uses=uses, lost=lost, prior_mean=LOSS_THOUGHT, prior_uses=USES_THOUGHT)
        comes = random.binomial(DAY_USES, own)
        predicted = [predict_losses(fit, size=size, uses=DAY_USES) for size in [*range(len(spans)), None]]
        _count(found, label, comes, predicted)
    return found


def _each_truth(shown: Mapping[str, Chance], draw: Callable[[], Chance]) -> Iterator[tuple[str, Chance]]:
    """One truth for each history: drawn ones for the claim, then those that are shown."""
    for _ in range(HISTORIES):
        yield CLAIM, draw()
    for label, truth in shown.items():
        for _ in range(SHOWN):
            yield label, truth


def _draw_likeness(random: np.random.Generator) -> float:
    return float(np.exp(random.uniform(np.log(LEAST_LIKENESS), np.log(MOST_LIKENESS))))


def _count(found: dict[str, Counted], label: str, comes: np.ndarray, predicted: Sequence[np.ndarray]) -> None:
    limits = np.array([upper_limit(chances, quantile=CONFIDENCE) for chances in predicted])
    known = found.setdefault(label, Counted(np.zeros(len(comes)), np.zeros(len(comes))))
    known.add(comes, limits)


def _report(kind: str, covered: np.ndarray, *, is_claim: bool) -> list[Measurement]:
    rows = {"lowest of the sizes": covered[:-1].min(), "highest of the sizes": covered[:-1].max()}
    rows["a size never seen"] = covered[-1]
    least, most = (88.0, 92.0) if is_claim else (None, None)
    return [
        Measurement(what=f"{kind}: {name}", value=float(value), unit="%", at_least=least, at_most=most)
        for name, value in rows.items()
    ]


def _report_counts(kind: str, counted: Counted, is_claim: bool) -> list[Measurement]:
    enough, one_less = (100 * hits / counted.histories for hits in (counted.enough, counted.one_less))
    lowest, highest, bound = float(enough.min()), float(one_less.max()), 90.0 if is_claim else None
    return [
        Measurement(what=f"{kind}: enough, lowest of the sizes", value=lowest, unit="%", at_least=bound),
        Measurement(what=f"{kind}: one less, highest of the sizes", value=highest, unit="%", at_most=bound),
    ]
