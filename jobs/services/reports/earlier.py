"""What was told of a day before a report: which spans were tried, and what no reading has measured yet."""

from dataclasses import dataclass, field

from django.db.models import Q

from jobs.models import ContainerReading, FieldReport, SpanAttempt
from jobs.services.reports.rows import Told


@dataclass(frozen=True)
class Earlier:
    """The tries of the day before a report: without amount since the last reading, and the others."""

    unmeasured: list[SpanAttempt] = field(default_factory=list)
    measured: list[SpanAttempt] = field(default_factory=list)


def find_earlier(told: Told) -> Earlier:
    """Look at the day's standing reports that come before this one in order of time and id."""
    report = told.report
    if not _asks_for_earlier(told):
        return Earlier()
    before = Q(report__occurred_at__lt=report.occurred_at) | Q(
        report__occurred_at=report.occurred_at, report__uuid__lt=report.uuid
    )
    attempts = list(
        SpanAttempt.objects.filter(before, report__crew_day=report.crew_day_id, report__is_undone=False)
        .select_related(
            "report",
            "span__job__place",
            "span__place",
            "span__cable_size",
            "span__as_found_size",
            "fluid",
            "source_container",
        )
        .order_by("report__occurred_at", "report__uuid", "position")
    )
    if not attempts:
        return Earlier()
    last = _find_last_read(report, before)
    found = Earlier()
    for row in attempts:
        is_read_since = last is not None and (row.report.occurred_at, row.report.uuid) <= last
        is_measured = row.injected is not None or is_read_since
        (found.measured if is_measured else found.unmeasured).append(row)
    return found


def _asks_for_earlier(told: Told) -> bool:
    """Whether anything in a report is shared among the day's spans."""
    pieces = any(row.span_id is None and row.run_id is None for row in told.pieces)
    losses = any(row.span_id is None and row.run_id is None for row in told.losses)
    catches = any(
        row.run_id is None and not spans for row, spans in zip(told.caught, told.caught_spans, strict=True)
    )
    return bool(told.end_readings) or pieces or losses or catches


def _find_last_read(report: FieldReport, before: Q) -> tuple[object, object] | None:
    """The last report before this one that read what is left anywhere: what was used until then is booked."""
    readings = ContainerReading.objects.filter(
        before,
        report__crew_day=report.crew_day_id,
        report__is_undone=False,
        moment=ContainerReading.Moment.END,
    )
    return (
        readings.order_by("-report__occurred_at", "-report__uuid")
        .values_list("report__occurred_at", "report__uuid")
        .first()
    )
