"""A span cut in two where an access point was found or dug in its middle, and the plan cut with it."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import F, QuerySet

from inventory.errors import BadInput, Fault
from inventory.models import Place
from inventory.units import convert
from jobs.models import AccessPoint, CrewDayStep, FieldReport, Span, SpanSplit
from jobs.services.needs import find_days_ahead, write_needs
from jobs.services.reports.content import ReportContent, SplitContent
from jobs.services.reports.told_amounts import UM_PER_M, read_um

MOST_NAME = 64


class BadSplit(BadInput):
    """A span cannot be cut there."""

    code = "bad_split"


def split_spans(content: ReportContent, *, report: FieldReport, jobs: QuerySet[Any] | None = None) -> None:
    """Cut the spans that a report says were cut; one that was cut before is left as it is.

    Raises
    ------
    BadSplit
        If there is no such span, or the cut lies outside it.
    """
    touched: list[Span] = []
    for number, split in enumerate(content.splits):
        span = _find_span(split, jobs, f"/splits/{number}")
        if not span.pieces.exists():
            touched.append(_split(span, split, report, f"/splits/{number}"))
    if touched:
        keys, runs = [span.pk for span in touched], [span.run_id for span in touched]
        write_needs(find_days_ahead(span_keys=keys, run_keys=runs))


def _find_span(split: SplitContent, jobs: QuerySet[Any] | None, pointer: str) -> Span:
    rows = Span.objects.filter(job__reference=split.span.job, name=split.span.name)
    rows = rows if jobs is None else rows.filter(job__in=jobs)
    span = rows.select_related("job", "run__place", "near", "far", "place").first()
    if span is None:
        raise BadSplit.of([Fault(f"{pointer}/span", str(split.span), "there is no span of that name")])
    return span


def _split(span: Span, split: SplitContent, report: FieldReport, pointer: str) -> Span:
    at_um = read_um(split.at, f"{pointer}/at") or 0
    if not 0 < at_um < span.found_length_um:
        length = convert(Fraction(span.found_length_um, UM_PER_M), "m", split.at.unit)
        message = f"must lie inside the span, which is {float(length):g} long"
        raise BadSplit.of([Fault(f"{pointer}/at", str(split.at), message)])
    point, _is_new = AccessPoint.objects.get_or_create(
        job=span.job, name=split.access_point, defaults={"kind": split.access_point_kind}
    )
    if point in (span.near, span.far):
        message = "is an end of the span already; name the new one"
        raise BadSplit.of([Fault(f"{pointer}/access_point", str(point), message)])
    Span.objects.filter(run=span.run, sequence__gt=span.sequence).update(sequence=F("sequence") + 1)
    first = _make_piece(span, split.first, "1", span.near, point, at_um, span.sequence)
    rest = span.found_length_um - at_um
    second = _make_piece(span, split.second, "2", point, span.far, rest, span.sequence + 1)
    SpanSplit.objects.create(report=report, span=span, at_um=at_um, access_point=point)
    _plan_pieces(span, first, second)
    Span.objects.filter(pk=span.pk).update(is_withdrawn=True)
    Place.objects.filter(pk=span.place_id).update(is_withdrawn=True)
    return second


def _make_piece(
    span: Span, name: str, number: str, near: AccessPoint, far: AccessPoint, length_um: int, sequence: int
) -> Span:
    name = name or _free_name(span, number)
    place = Place.objects.create(
        code=f"{Place.Kind.SPAN.value}:{span.job.reference}:{name}",
        name=f"Span {name} of {span.job.reference}",
        kind=Place.Kind.SPAN,
        parent=span.run.place,
    )
    entered = convert(Fraction(length_um, UM_PER_M), "m", span.entered_unit)
    return Span.objects.create(
        job=span.job,
        run=span.run,
        name=name,
        sequence=sequence,
        cable_size_id=span.cable_size_id,
        as_found_size_id=span.as_found_size_id,
        length_um=length_um,
        entered_length=f"{Decimal(str(round(float(entered), 6))).normalize():f}",
        entered_unit=span.entered_unit,
        near=near,
        far=far,
        # The loop stood at the span's far end; nothing is known of one at the new point.
        slack_um=span.slack_um if far == span.far else 0,
        place=place,
        split_from=span,
    )


def _free_name(span: Span, number: str) -> str:
    base = f"{span.name[: MOST_NAME - 6]}-{number}"
    name, turn = base, 2
    while Span.objects.filter(job=span.job, name=name).exists():
        name, turn = f"{base}-{turn}", turn + 1
    return name


def _plan_pieces(span: Span, first: Span, second: Span) -> None:
    """The step that waits for the span becomes one for each piece, in the order of work."""
    step = CrewDayStep.objects.filter(span=span, done_at__isnull=True).first()
    if step is None:
        return
    later = CrewDayStep.objects.filter(crew_day=step.crew_day_id, position__gt=step.position)
    for row in later.order_by("-position"):
        # One by one from behind, since no two steps of a day may share a position even for a moment.
        row.position += 1
        row.save(update_fields=["position"])
    step.span = first
    step.save(update_fields=["span"])
    CrewDayStep.objects.create(
        crew_day_id=step.crew_day_id, position=step.position + 1, kind=step.kind, span=second
    )
