"""What field reports have taught, by cable size, and what the company estimates where there are none."""

from dataclasses import dataclass, field

from django.http import HttpRequest, HttpResponse

from api.pages.page import Page
from jobs.calc.passes import passes_moments
from jobs.models import EstimatingPolicy, LearntFit, LearntSize
from jobs.queries.access import require_sees_all_work
from jobs.queries.jobs import get_policy
from jobs.queries.learnt import list_fits_that_count

Subject = LearntFit.Subject
# What one reading of a subject is about.
NOUNS = {Subject.PASSES: "run", Subject.FITTING_LOSS: "use"}
SHARES = frozenset({Subject.CAUGHT, Subject.RECOVERED, Subject.FITTING_LOSS})


@dataclass(frozen=True)
class SizeShown:
    """What is expected of one cable size, and where nine of ten lie."""

    name: str
    mean: str
    between: str
    covered_count: int


@dataclass(frozen=True)
class SubjectShown:
    """One subject: its fit and what it says by size, or without any fit what the company estimates."""

    title: str
    noun: str
    has_ranges: bool
    estimate: str
    fit: LearntFit | None
    spread: str = ""
    sizes: list[SizeShown] = field(default_factory=list)


class LearntPage(Page):
    """One table for each thing that is learnt, smallest size first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_all_work(self.viewer)
        policy = get_policy()
        fits = {fit.subject: fit for fit in list_fits_that_count()}
        return self.show(
            "learnt", subjects=[_show(subject, fits.get(subject), policy) for subject in Subject]
        )


def _show(subject: Subject, fit: LearntFit | None, policy: EstimatingPolicy) -> SubjectShown:
    # Of a single use a fitting is lost or not, so a range of one use says nothing.
    about = (subject.label, NOUNS.get(subject, "span"), subject != Subject.FITTING_LOSS)
    estimate = _estimate(subject, policy)
    if fit is None:
        return SubjectShown(*about, estimate, None)
    spread = ""
    if fit.between_sd is not None and fit.within_sd is not None:
        spread = (
            f"Sizes differ by about {_write(subject, fit.between_sd)}, "
            f"spans of one size by about {_write(subject, fit.within_sd)}."
        )
    sizes = [_show_size(subject, row) for row in fit.sizes.all()]
    return SubjectShown(*about, estimate, fit, spread, sizes)


def _show_size(subject: Subject, row: LearntSize) -> SizeShown:
    between = f"{_write_limit(subject, row.low)} to {_write_limit(subject, row.high)}"
    name = str(row.cable_size) if row.cable_size is not None else "a size never seen"
    return SizeShown(name, _write(subject, row.mean), between, row.covered_count)


def _estimate(subject: Subject, policy: EstimatingPolicy) -> str:
    """What the company set, which holds until there are reports."""
    if subject == Subject.PASSES:
        return _write(subject, passes_moments(passes=policy.passes)[0])
    if subject == Subject.FITTING_LOSS:
        return _write(subject, policy.fitting_loss_probability)
    mean, sd = {
        Subject.INJECTED: (policy.injected_ratio_mean, policy.injected_ratio_sd),
        Subject.CAUGHT: (policy.caught_fraction_mean, policy.caught_fraction_sd),
        Subject.RECOVERED: (policy.recovered_fraction_mean, policy.recovered_fraction_sd),
    }[subject]
    return f"{_write(subject, mean)}, give or take {_write(subject, sd)}"


def _write(subject: Subject, number: float) -> str:
    return f"{100 * number:.1f} %" if subject in SHARES else f"{number:.2f}"


def _write_limit(subject: Subject, number: float) -> str:
    """Limits of counts are whole numbers."""
    return f"{number:.0f}" if subject == Subject.PASSES else _write(subject, number)
