"""Field reports as the doors show them: by crew-day, with their rows, for whoever may see the crew's days."""

from collections.abc import Collection
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from inventory.errors import NotFound
from inventory.models import Entry
from inventory.queries.recorded import IDS_AT_ONCE
from jobs.models import (
    ContainerReading,
    FieldReport,
    FluidCaught,
    Incident,
    PieceReport,
    ReportedLoss,
    RunBlowing,
    RunCleaning,
    Span,
    SpanAttempt,
    SpanSplit,
    WasteHandover,
)
from jobs.queries.access import WorkViewer

_PARTS: dict[str, QuerySet] = {
    "attempts": SpanAttempt.objects.select_related(
        "span__job", "pressure_end", "meter", "fluid", "source_container", "as_found_size"
    ),
    "cleanings": RunCleaning.objects.select_related("run__job", "projectile"),
    "blowings": RunBlowing.objects.select_related("run__job", "reel"),
    "caught": FluidCaught.objects.select_related("container", "material", "run__job").prefetch_related(
        Prefetch("spans", Span.objects.select_related("job"))
    ),
    "readings": ContainerReading.objects.select_related("container", "material", "instrument"),
    "pieces": PieceReport.objects.select_related("material", "span__job", "run__job"),
    "waste": WasteHandover.objects.select_related("container", "material"),
    "losses": ReportedLoss.objects.select_related(
        "material", "container", "span__job", "run__job", "liable_party"
    ),
    "splits": SpanSplit.objects.select_related("span__job", "access_point").prefetch_related(
        Prefetch("span__pieces", Span.objects.order_by("sequence"))
    ),
    "incidents": Incident.objects.order_by("pk"),
}


def visible_reports(viewer: WorkViewer) -> QuerySet[FieldReport]:
    """Reports of the days of crews whose days the viewer sees."""
    reports = FieldReport.objects.select_related("crew_day__crew", "by", "corrects", "corrected_by")
    return reports if viewer.crews is None else reports.filter(crew_day__crew__in=viewer.crews)


def with_rows(reports: QuerySet[FieldReport]) -> QuerySet[FieldReport]:
    """The same reports with all they tell, in a number of queries that does not grow with them."""
    prefetches = [Prefetch(name, rows.all()) for name, rows in _PARTS.items()]
    return reports.prefetch_related(*prefetches, "findings")


def get_report(viewer: WorkViewer, uuid: UUID) -> FieldReport:
    """One report with all it tells."""
    report = with_rows(visible_reports(viewer)).filter(uuid=uuid).first()
    if report is None:
        raise NotFound("There is no field report of that id.")
    return report


def find_reported(ids: Collection[UUID]) -> set[UUID]:
    """Of these ids those under which a report was taken."""
    listed = list(ids)
    found: set[UUID] = set()
    for start in range(0, len(listed), IDS_AT_ONCE):
        rows = FieldReport.objects.filter(uuid__in=listed[start : start + IDS_AT_ONCE])
        found.update(rows.values_list("uuid", flat=True))
    return found


def find_entries(reports: list[FieldReport]) -> dict[str, list[UUID]]:
    """By document, the ids of the entries that stand in the book for these reports; one query."""
    ids: dict[UUID, str] = {}
    for report in reports:
        codes = [row.material.code for row in report.caught.all()]
        ids |= dict.fromkeys(report.standing_ids(codes).values(), report.document)
    found: dict[str, list[UUID]] = {report.document: [] for report in reports}
    rows = Entry.objects.filter(uuid__in=ids, reversed_by__isnull=True).order_by("key")
    for uuid in rows.values_list("uuid", flat=True):
        found[ids[uuid]].append(uuid)
    return found
