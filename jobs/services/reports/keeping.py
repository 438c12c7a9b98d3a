"""A report's rows in the tables, and back out of them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import Model

from inventory.services.posting.rows import Rows, Select
from jobs.models import (
    ContainerReading,
    FieldReport,
    FluidCaught,
    PieceReport,
    ReportedLoss,
    RunBlowing,
    RunCleaning,
    Span,
    SpanAttempt,
    WasteHandover,
)
from jobs.services.reports.rows import Told

_PAIRS = FluidCaught.spans.through


@dataclass(frozen=True)
class Keys:
    """Primary keys for a report and its catches, which other rows of it name."""

    report: int
    catches: list[int]


def select_keys(catches: int) -> list[Select]:
    """Ask for the keys of one report and so many catches; a report that is refused leaves a gap in them."""
    return [_select_keys(FieldReport, 1), _select_keys(FluidCaught, catches)]


def make_keys(answers: Sequence[list[tuple[Any, ...]]]) -> Keys:
    """The keys, of the answers to `select_keys`."""
    [[(report,)], catches] = answers
    return Keys(report, [key for (key,) in catches])


def _select_keys(model: type[Model], count: int) -> Select:
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        taken = "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)"
        return Select(taken, (table, count))
    # The write lock is held, so nobody else counts on from the same number.
    last = "COALESCE((SELECT seq FROM sqlite_sequence WHERE name = %s), 0)"
    numbers = "WITH RECURSIVE each(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM each WHERE n < %s)"
    return Select(f"{numbers} SELECT {last} + n FROM each WHERE n <= %s", (count, table, count))


def rows_to_keep(told: Told, keys: Keys) -> list[Rows]:
    """A report and its rows as they are to be inserted; a report that was kept already keeps its key."""
    parts: list[Sequence[Model]] = [
        told.attempts,
        told.cleanings,
        told.blowings,
        told.readings,
        told.pieces,
        told.waste,
        told.losses,
    ]
    report, tables = told.report, []
    if not report.pk:
        report.pk = keys.report
        report._state.adding, report._state.db = False, connection.alias
        tables.append(_rows_of([report], with_key=True))
    tables += [_rows_of(part) for part in parts if part]
    if told.caught:
        # Of what was caught some may only be noted.
        for row, key in zip(told.caught, keys.catches, strict=False):
            row.pk = key
        tables.append(_rows_of(told.caught, with_key=True))
        pairs = [
            (row.pk, span.pk)
            for row, spans in zip(told.caught, told.caught_spans, strict=True)
            for span in spans
        ]
        if pairs:
            tables.append(Rows(_PAIRS, ("fluidcaught_id", "span_id"), pairs))
    return tables


def _rows_of(rows: Sequence[Model], *, with_key: bool = False) -> Rows:
    model = type(rows[0])
    columns = [field.attname for field in model._meta.concrete_fields if with_key or not field.primary_key]
    for row in rows:
        # The report got its key after the row was made of it.
        if model is not FieldReport:
            row.report_id = row.report.pk  # type: ignore[attr-defined]
    return Rows(model, columns, [[getattr(row, column) for column in columns] for row in rows])


def load_told(reports: Sequence[FieldReport]) -> dict[int, Told]:
    """The rows of reports that are kept, by report; a query for each table however many reports."""
    told = {report.pk: Told(report) for report in reports}
    for row in _rows(SpanAttempt, told, "span__job__place", "span__place", "span__cable_size",
                     "span__as_found_size", "fluid", "source_container__place",
                     "source_container__owner"):  # fmt: skip
        told[row.report_id].attempts.append(row)
    for row in _rows(RunCleaning, told, "run__place", "run__job", "projectile"):
        told[row.report_id].cleanings.append(row)
    for row in _rows(RunBlowing, told, "run__place", "reel__place", "reel__owner", "reel__material"):
        told[row.report_id].blowings.append(row)
    for row in _rows(FluidCaught, told, "container__place", "container__owner", "run__place",
                     "material__recovered_from"):  # fmt: skip
        told[row.report_id].caught.append(row)
    for row in _rows(ContainerReading, told, "container__place", "container__owner", "container__material",
                     "material", "instrument"):  # fmt: skip
        told[row.report_id].readings.append(row)
    for row in _rows(PieceReport, told, "material", "span__place", "run__place"):
        told[row.report_id].pieces.append(row)
    for row in _rows(WasteHandover, told, "container__place", "container__owner", "material"):
        told[row.report_id].waste.append(row)
    for row in _rows(ReportedLoss, told, "material", "container__place", "container__owner",
                     "span__place", "run__place"):  # fmt: skip
        told[row.report_id].losses.append(row)
    _load_caught_spans(told)
    return told


def _rows(model: Any, told: dict[int, Told], *related: str) -> Any:
    order = "pk" if model is ContainerReading else "position"
    return model.objects.filter(report__in=told).select_related(*related).order_by("report", order)


def _load_caught_spans(told: dict[int, Told]) -> None:
    keys = [row.pk for each in told.values() for row in each.caught]
    spans: dict[int, list[Span]] = defaultdict(list)
    if keys:
        pairs = _PAIRS.objects.filter(fluidcaught__in=keys).order_by("pk")
        for pair in pairs.select_related("span__place", "span__cable_size", "span__as_found_size"):
            spans[pair.fluidcaught_id].append(pair.span)
    for each in told.values():
        each.caught_spans = [spans[row.pk] for row in each.caught]
