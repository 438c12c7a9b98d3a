"""`manage.py import_spans FILE --job REF`: a job's spans from CSV, XLSX or GeoJSON, all or nothing."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Group
from rich.table import Table
from rich.text import Text

from api.management.base import SpanstockCommand
from api.wire.taken_lists import span_import_json
from inventory.services.references import DEFAULT_SYSTEM
from jobs.services.job_life import JobOpening
from jobs.services.spans import SpanImport, import_spans
from jobs.services.spans.difference import show_length, show_span_length

# A person reads the first few of each kind; the whole list is in the JSON.
SHOWN_ROWS = 12


class Command(SpanstockCommand):
    help = (
        "Take a job's spans from a CSV, XLSX or GeoJSON file: all of them, or nothing and every fault named."
    )
    is_posting = True

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="the span list")
        parser.add_argument("--job", required=True, help="the job's reference")
        parser.add_argument("--create-job", action="store_true", help="make the job where there is none yet")
        parser.add_argument("--name", default="", help="name of a job that is made")
        parser.add_argument("--customer", default="", help="code of the customer of a job that is made")
        parser.add_argument("--fibre", default="", help="code of the fibre cable of a job that is made")
        parser.add_argument("--fibre-owner", default="", help="code of the party that furnishes the fibre")
        parser.add_argument("--reference", default="", help="what another system calls the job")
        parser.add_argument(
            "--reference-system", default=DEFAULT_SYSTEM, help=f"which system; {DEFAULT_SYSTEM} if not given"
        )
        parser.add_argument("--dry-run", action="store_true", help="show what would happen, store nothing")

    def answer(self, options: dict[str, Any]) -> SpanImport:
        opening = JobOpening(
            name=options["name"],
            customer_code=options["customer"],
            fibre_code=options["fibre"],
            fibre_owner_code=options["fibre_owner"],
        )
        with self.progress() as report:
            return import_spans(
                path=options["file"],
                job_reference=options["job"],
                by=self.actor(),
                occurred_at=timezone.now(),
                opening=opening if options["create_job"] else None,
                job_known_as=_known_as(options),
                is_dry_run=options["dry_run"],
                report=report,
            )

    def to_json(self, answer: SpanImport) -> Any:
        return span_import_json(answer)

    def to_text(self, answer: SpanImport) -> Group:
        difference = answer.difference
        parts: list[Any] = [Text(_headline(answer), style="bold"), _counts(answer)]
        rows = _rows(answer)
        if rows and not answer.is_job_new:
            parts.append(_table(rows))
        if answer.changed_days:
            parts.append(_changed_days(answer))
        if answer.ignored_headers:
            parts.append(Text(f"Columns not used: {', '.join(answer.ignored_headers)}."))
        if not answer.is_stored and not difference.is_nothing:
            parts.append(Text("Dry run: nothing was stored. Leave out --dry-run to store it."))
        return Group(*parts)


def _known_as(options: dict[str, Any]) -> tuple[str, str] | None:
    return (options["reference_system"], options["reference"]) if options["reference"] else None


def _changed_days(answer: SpanImport) -> Text:
    """Whoever takes a list again must hear which crews it reaches."""
    shown = ", ".join(f"{crew} on {day:%a} {day.isoformat()}" for day, crew in answer.changed_days)
    off = " Withdrawn spans come off these days." if answer.difference.withdrawn else ""
    return Text(f"Planned days that this reaches: {shown}. Look at their pull sheets.{off}", style="bold")


def _headline(answer: SpanImport) -> str:
    if answer.difference.is_nothing:
        return f"Job {answer.job_reference} already has these spans; nothing to change."
    done = "taken" if answer.is_stored else "read"
    new = "new job " if answer.is_job_new else "job "
    return f"{answer.span_count} spans in {answer.run_count} runs {done} for {new}{answer.job_reference}."


def _counts(answer: SpanImport) -> Text:
    difference = answer.difference
    counts = (
        ("added", len(difference.added)),
        ("changed", len(difference.changed)),
        ("withdrawn", len(difference.withdrawn)),
        ("unchanged", difference.unchanged_count),
    )
    shown = ", ".join(f"{number} {word}" for word, number in counts if number)
    return Text(f"{answer.length_m / 0.3048:.0f} ft ({answer.length_m:.0f} m) of sheath: {shown}.")


def _rows(answer: SpanImport) -> list[tuple[str, str, str]]:
    difference = answer.difference
    added = [
        (
            "added",
            listed.name,
            f"{show_length(listed.length_um, listed.entered_unit)} of {listed.cable_size}, run {listed.run}"
            + (f", cut from {difference.split[listed.name].name}" if listed.name in difference.split else ""),
        )
        for listed in difference.added
    ]
    changed = [("changed", change.span.name, "; ".join(change.sentences)) for change in difference.changed]
    withdrawn = [
        ("withdrawn", span.name, f"{show_span_length(span)} of {span.cable_size}, run {span.run.name}")
        for span in difference.withdrawn
    ]
    rows = []
    for kind in (added, changed, withdrawn):
        rows += kind[:SHOWN_ROWS]
        if len(kind) > SHOWN_ROWS:
            rows.append((kind[0][0], "...", f"and {len(kind) - SHOWN_ROWS} more"))
    return rows


def _table(rows: list[tuple[str, str, str]]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("", no_wrap=True)
    table.add_column("Span", overflow="fold")
    table.add_column("What", overflow="fold", ratio=1)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return table
