"""What is expected of a span or run where nobody reads it: what fills its bore, what stays on its wall."""

import math
from dataclasses import dataclass

from jobs.calc.bore import bore_volume_m3
from jobs.models import CableSize, EstimatingPolicy, LearntFit, LearntSize, Span, SpanAttempt

# How far off a volume taken from a size's bore may be (standard uncertainties, estimates without a source):
# measured by the company, or a recalled nominal value of this confidence.
MEASURED_BORE_UNCERTAINTY = 0.005
BORE_UNCERTAINTY = {
    CableSize.Confidence.SOUND: 0.015,
    CableSize.Confidence.MEDIUM: 0.03,
    CableSize.Confidence.WEAK: 0.06,
}
# And off a length: as designed, or as found.
DESIGNED_LENGTH_UNCERTAINTY = 0.01
FOUND_LENGTH_UNCERTAINTY = 0.003


@dataclass(frozen=True)
class Expected:
    """A volume that is expected [m3], with the part of its uncertainty that is its own and the shared one."""

    volume_m3: float
    own_m3: float
    shared_m3: float
    shared_by: str


@dataclass(frozen=True)
class Ratio:
    """A ratio that is reckoned with: its mean, how the next span scatters, how unsure the mean itself is."""

    mean: float
    own_sd: float
    shared_sd: float


class Expectations:
    """What the company reckons with: as learnt from its reports by size, else its policy."""

    def __init__(self, policy: EstimatingPolicy, learnt: dict[tuple[str, int | None], LearntSize]) -> None:
        self._policy = policy
        self._learnt = learnt

    def injected(self, size: CableSize) -> Ratio:
        """Injected over bore."""
        return self._find(LearntFit.Subject.INJECTED, size, self._policy.injected_ratio_mean, 0.0)

    def caught(self, size: CableSize) -> Ratio:
        """Caught of what was injected."""
        policy = self._policy
        return self._find(
            LearntFit.Subject.CAUGHT, size, policy.caught_fraction_mean, policy.caught_fraction_sd
        )

    def recovered(self, size: CableSize) -> Ratio:
        """Recovered of what was injected."""
        policy = self._policy
        return self._find(
            LearntFit.Subject.RECOVERED, size, policy.recovered_fraction_mean, policy.recovered_fraction_sd
        )

    @property
    def set_up_volume_l(self) -> float:
        return self._policy.set_up_volume_l

    def film(self, spans: list[Span]) -> Expected:
        """What does not come out of a run that was swept: the share that is not recovered of what went in."""
        volume = own = shared = 0.0
        for span in spans:
            into = self.injected(span.found_size).mean * bore_m3(span)
            recovered = self.recovered(span.found_size)
            volume += max(1 - recovered.mean, 0.0) * into
            own = math.hypot(own, recovered.own_sd * into)
            shared += recovered.shared_sd * into
        return Expected(volume, own, shared, "the film's share")

    def _find(self, subject: str, size: CableSize, mean: float, sd: float) -> Ratio:
        learnt = self._learnt.get((subject, size.pk)) or self._learnt.get((subject, None))
        if learnt is None:
            # Nobody knows how the company's estimate is off, but it is off the same way all day.
            return Ratio(mean, 0.0, sd)
        own = math.sqrt(max(learnt.sd**2 - learnt.mean_sd**2, 0.0))
        return Ratio(learnt.mean, own, learnt.mean_sd)


def load_expectations(policy: EstimatingPolicy) -> Expectations:
    """The company's policy and the newest fits of each subject; two queries."""
    # The last of a subject is the newest.
    newest = dict(LearntFit.objects.order_by("made_at", "pk").values_list("subject", "pk"))
    sizes = LearntSize.objects.filter(fit__in=newest.values()).select_related("fit")
    return Expectations(policy, {(row.fit.subject, row.cable_size_id): row for row in sizes})


def bore_m3(span: Span) -> float:
    """The volume of the sheath of a span as it was found."""
    return bore_volume_m3(bore_mm=span.found_size.bore_mm, length_m=span.found_length_m)


def bore_error(size: CableSize) -> str:
    """The name of the error that all bores of one size share."""
    return f"the bore of {size.designation}"


def standing_after(attempt: SpanAttempt) -> Expected:
    """What stands in a span's bore after the last try of a day.

    Once the core is all out, its bore; else anything between the part whose core came out and the whole.
    """
    span, size = attempt.span, attempt.span.found_size
    whole = bore_m3(span)
    shared = MEASURED_BORE_UNCERTAINTY
    if size.measured_bore_mm is None:
        shared = BORE_UNCERTAINTY[CableSize.Confidence(size.confidence)]
    is_found = span.as_found_length_um is not None
    own = FOUND_LENGTH_UNCERTAINTY if is_found else DESIGNED_LENGTH_UNCERTAINTY
    by = bore_error(size)
    if attempt.outcome == SpanAttempt.Outcome.ALL_OUT:
        return Expected(whole, own * whole, shared * whole, by)
    least = whole * min((attempt.core_out_um or 0) / span.found_length_um, 1.0)
    middle, half = (least + whole) / 2, (whole - least) / 2
    return Expected(middle, math.hypot(own * middle, half / math.sqrt(3)), shared * middle, by)
