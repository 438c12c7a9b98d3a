"""What is known of ratios and counts before a day: learnt from reports, where there are none estimated."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from django.db.models import Exists, F, OuterRef, Prefetch, Q, prefetch_related_objects

from jobs.calc.learning_counts import LossFit, PassesFit, predict_losses, predict_passes, upper_limit
from jobs.models import CableSize, EstimatingPolicy, LearntFit, LearntSize

Subject = LearntFit.Subject
# A share of mean m has a standard deviation below the root of m (1 - m), which only all or nothing reaches.
MOST_SPREAD = 0.95


@dataclass(frozen=True)
class Moments:
    """Mean and standard deviation of the next span; `mean_sd` of it is shared by all spans of the size."""

    mean: float
    sd: float
    mean_sd: float = 0.0


@dataclass(frozen=True)
class CountMoments:
    """A count of a day: mean, variance, and what suffices at the company's quantile."""

    mean: float
    variance: float
    enough: int


@dataclass(frozen=True)
class Learnt:
    """The newest fit of each subject, with what it says by cable size; None for sizes never seen."""

    policy: EstimatingPolicy
    fits: dict[str, LearntFit] = field(default_factory=dict)
    sizes: dict[tuple[str, int | None], LearntSize] = field(default_factory=dict)

    def injected(self, size: CableSize) -> Moments:
        policy = self.policy
        return self._moments(
            Subject.INJECTED, size, Moments(policy.injected_ratio_mean, policy.injected_ratio_sd)
        )

    def caught(self, size: CableSize) -> Moments:
        policy = self.policy
        usual = Moments(policy.caught_fraction_mean, policy.caught_fraction_sd)
        return _within_all(self._moments(Subject.CAUGHT, size, usual))

    def recovered(self, size: CableSize) -> Moments:
        policy = self.policy
        usual = Moments(policy.recovered_fraction_mean, policy.recovered_fraction_sd)
        return _within_all(self._moments(Subject.RECOVERED, size, usual))

    def passes(self, size: CableSize, *, runs: int) -> CountMoments | None:
        """Projectiles of so many runs of a size; None where nothing is learnt yet."""
        row = self._find(Subject.PASSES, size)
        if row is None:
            return None
        shares = np.array(row.distribution["probabilities"]) * row.distribution["worth"]
        fit = PassesFit(np.ones(1), shares[None, None, :].repeat(2, axis=1))
        return self._count(predict_passes(fit, size=0, runs=runs))

    def losses(self, size: CableSize, *, uses: int) -> CountMoments | None:
        """Fittings lost in so many uses of a size; None where nothing is learnt yet."""
        row = self._find(Subject.FITTING_LOSS, size)
        if row is None:
            return None
        lost, kept = row.distribution["lost"], row.distribution["kept"]
        fit = LossFit(np.ones(1), np.full((1, 2), lost), np.full((1, 2), kept))
        return self._count(predict_losses(fit, size=0, uses=uses))

    def explain(self, subject: str, sizes: Sequence[CableSize]) -> str:
        """Where the numbers of these sizes come from, as the end of a sentence."""
        fit = self.fits.get(subject)
        if fit is None:
            return "the company's estimate, no reports yet"
        said = f"learnt from {fit.covered_count} {_what(subject, fit.covered_count)} {_period(fit)}"
        unseen = sorted({str(size) for size in sizes if (subject, size.pk) not in self.sizes})
        return said + (f", none of {', '.join(unseen)}" if unseen else "")

    def _find(self, subject: str, size: CableSize) -> LearntSize | None:
        return self.sizes.get((subject, size.pk)) or self.sizes.get((subject, None))

    def _moments(self, subject: str, size: CableSize, usual: Moments) -> Moments:
        row = self._find(subject, size)
        return usual if row is None else Moments(row.mean, row.sd, row.mean_sd)

    def _count(self, probabilities: np.ndarray) -> CountMoments:
        numbers = np.arange(len(probabilities))
        mean = float(probabilities @ numbers)
        variance = float(probabilities @ (numbers - mean) ** 2)
        return CountMoments(mean, variance, upper_limit(probabilities, quantile=self.policy.quantile))


def load_learnt(policy: EstimatingPolicy) -> Learnt:
    """The newest fit of each subject, in two queries."""
    fits = list_newest_fits()
    rows = LearntSize.objects.filter(fit__in=[fit.pk for fit in fits.values()]).select_related("fit")
    return Learnt(policy, fits, {(row.fit.subject, row.cable_size_id): row for row in rows})


def list_fits_that_count() -> list[LearntFit]:
    """The newest fit of each subject with its sizes, smallest first, sizes never seen last."""
    sizes = LearntSize.objects.select_related("cable_size").order_by(
        F("cable_size__nominal_bore_mm").asc(nulls_last=True), "pk"
    )
    found = list(list_newest_fits().values())
    prefetch_related_objects(found, Prefetch("sizes", queryset=sizes))
    return sorted(found, key=lambda fit: Subject.values.index(fit.subject))


def list_newest_fits() -> dict[str, LearntFit]:
    """By subject the fit that counts."""
    newer = LearntFit.objects.filter(subject=OuterRef("subject")).filter(
        Q(made_at__gt=OuterRef("made_at")) | Q(made_at=OuterRef("made_at"), pk__gt=OuterRef("pk"))
    )
    return {fit.subject: fit for fit in LearntFit.objects.filter(~Exists(newer))}


def _within_all(moments: Moments) -> Moments:
    most = MOST_SPREAD * (moments.mean * (1 - moments.mean)) ** 0.5
    return Moments(moments.mean, min(moments.sd, most), min(moments.mean_sd, most))


def _period(fit: LearntFit) -> str:
    first, last = (f"{moment:%d %B %Y}".lstrip("0") for moment in (fit.first_at, fit.last_at))
    return f"of {last}" if first == last else f"between {first} and {last}"


def _what(subject: str, count: int) -> str:
    noun = {Subject.PASSES.value: "run", Subject.FITTING_LOSS.value: "use"}.get(subject, "span")
    return noun if count == 1 else f"{noun}s"
