"""The steps of a crew-day as people read them."""

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.units import convert, format_amount
from jobs.models import CrewDayStep, Span
from jobs.queries.day_work import DayWork, job_of

UM_PER_M = 1_000_000


@dataclass(frozen=True)
class SheetStep:
    """One step in the order of work, as a person reads it."""

    position: int
    kind: str
    title: str
    detail: str
    job: str
    is_stopped: bool


@dataclass(frozen=True)
class PlannedCrewDay:
    """One crew's day with the steps that are still to be done."""

    crew_code: str
    crew_name: str
    date: date
    vehicle: str
    warehouse: str
    state: str
    steps: list[SheetStep]


def list_steps(work: DayWork) -> list[SheetStep]:
    """The steps of a day as people read them, those that are not to be done among them."""
    stopped = {step.pk for step in work.stopped}
    every = sorted([*work.steps, *work.stopped], key=lambda step: step.position)
    return [_make_step(step, work, is_stopped=step.pk in stopped) for step in every]


def _make_step(step: CrewDayStep, work: DayWork, *, is_stopped: bool) -> SheetStep:
    job = job_of(step)
    if step.span is not None:
        detail = _show_span(step.span)
    else:
        assert step.run is not None
        detail = _show_run(work.spans_of(step.run))
    if is_stopped:
        detail = _("not to be done: {why}").format(why=work.why_stopped(step))
    return SheetStep(step.position, step.kind, step_title(step), detail, job.reference, is_stopped)


def step_title(step: CrewDayStep) -> str:
    """What is to be done, by name."""
    if step.span is not None:
        return _("Extract span {span}").format(span=step.span)
    if step.kind == CrewDayStep.Kind.CLEAN:
        return _("Clean run {run}").format(run=step.run)
    return _("Blow run {run}").format(run=step.run)


def _show_span(span: Span) -> str:
    parts = [
        _show_ends(span.near, span.far),
        str(span.found_size),
        _show_length(span.found_length_um, span.entered_unit),
    ]
    if span.bends:
        parts.append(ngettext("{n} bend", "{n} bends", span.bends).format(n=span.bends))
    return ", ".join(parts)


def _show_run(spans: list[Span]) -> str:
    if not spans:
        return _("no spans left in this run")
    length = _show_length(sum(span.found_length_um for span in spans), spans[0].entered_unit)
    count = ngettext("{n} span", "{n} spans", len(spans)).format(n=len(spans))
    ends = _show_ends(spans[0].near, spans[-1].far)
    return f"{ends}, {spans[0].found_size}, {count}, {length}"


def _show_ends(near: object, far: object) -> str:
    return _("{near} to {far}").format(near=_show_point(near), far=_show_point(far))


def _show_point(point: object) -> str:
    kind = getattr(point, "kind", "")
    return f"{_(kind)} {point}" if kind else str(point)


def _show_length(length_um: int, unit: str) -> str:
    return format_amount(convert(length_um / UM_PER_M, "m", unit), unit)
