"""Taking a field report: kept, booked and marked done at one stroke, once however often it is sent."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import is_dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import IntegrityError, OperationalError, connection, transaction
from django.db.models import QuerySet
from django.utils import timezone

from inventory.errors import NotFound, SpanstockError
from inventory.models import Actor
from inventory.services.posting.errors import BookBusy, GoodsMovedOn
from inventory.services.posting.retries import may_retry, pause
from inventory.services.posting.rows import Rows, exchange, insert_rows, read_rows
from jobs.models import CrewDay, FieldReport, Job
from jobs.services.reports.after import hint_refits, refit_statements
from jobs.services.reports.as_found import note_as_found, tells_as_found
from jobs.services.reports.booking import SceneSearch, book_report
from jobs.services.reports.checking import check_content
from jobs.services.reports.content import ReportContent
from jobs.services.reports.dividing import divide_runs
from jobs.services.reports.doing import (
    DaySteps,
    make_steps,
    mark_work_done,
    select_steps,
    unmark_work_done,
)
from jobs.services.reports.earlier import Earlier, find_earlier
from jobs.services.reports.keeping import load_told, make_keys, rows_to_keep, select_keys
from jobs.services.reports.later import book_again, find_later, in_order, unbook_all
from jobs.services.reports.manifests import note_manifests
from jobs.services.reports.marking import follow_marks
from jobs.services.reports.names import Names, find_names
from jobs.services.reports.opening import Opened, open_day
from jobs.services.reports.rows import Told, make_rows
from jobs.services.reports.scene import Scene
from jobs.services.reports.searching import Search
from jobs.services.reports.splitting import split_spans
from jobs.services.reports.unknown import leave_out_unknown
from jobs.services.rules.evaluating import evaluate_report
from jobs.services.rules.reading import Record, make_record, select_record
from jobs.services.safety.incidents import open_spill_incidents
from jobs.services.unreported import settle_by_report

MOST_TURNS = 10


class ReportConflict(SpanstockError):
    """The id stands for another report, or for one of somebody else."""

    code = "report_conflict"


class ReportIsUndone(SpanstockError):
    """A report that was corrected is not corrected again; its correction is."""

    code = "report_is_undone"


def post_report(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    crew_code: str,
    date: date,
    content: ReportContent,
    device: str = "",
    jobs: QuerySet[Job] | None = None,
) -> FieldReport:
    """Take what a crew tells of its day. The same report again gives the same one back.

    Nothing is refused because the book is wrong: what it lacks is booked as short, a drum it has elsewhere is
    found here, what names something on no record is kept as it was told. `jobs` limits whose spans and runs
    may be named.

    Raises
    ------
    ReportConflict
        If the id was used for a report with other content, or by somebody else.
    NotFound
        If the crew has no such day.
    BadInput
        If a span or run is not on record or an amount is none; nothing is stored then.
    BookBusy
        If others kept getting in the way; nothing was changed.
    """
    request = _Request(id, by, occurred_at, crew_code, date, content, device, jobs)
    return _take(request)


def correct_report(
    *,
    id: UUID,
    corrects: UUID,
    by: Actor,
    occurred_at: datetime,
    content: ReportContent,
    device: str = "",
    jobs: QuerySet[Job] | None = None,
) -> FieldReport:
    """Put another report in the place of one: its entries are reversed, the new ones posted.

    Reports that came after it are booked again behind the new one. Goods that the report brought and that
    have gone further since are booked as short: what was told wrongly does not stand because of that.

    Raises
    ------
    ReportIsUndone
        If the report was corrected before by another.
    """
    old = FieldReport.objects.select_related("crew_day__crew").filter(uuid=corrects).first()
    if old is None:
        raise NotFound("There is no field report of that id.")
    day = old.crew_day
    request = _Request(id, by, occurred_at, day.crew.code, day.date, content, device, jobs, corrects=corrects)
    return _take(request)


class _Request:
    """A report as it was asked for."""

    def __init__(
        self,
        id: UUID,
        by: Actor,
        occurred_at: datetime,
        crew_code: str,
        date: date,
        content: ReportContent,
        device: str,
        jobs: QuerySet[Job] | None,
        corrects: UUID | None = None,
    ) -> None:
        self.id = id
        self.by = by
        self.occurred_at = occurred_at
        self.crew_code = crew_code
        self.date = date
        self.content = content
        self.device = device
        self.jobs = jobs
        self.corrects = corrects

    def make_report(self, crew_day: CrewDay) -> FieldReport:
        """The report, unsaved."""
        return FieldReport(
            uuid=self.id,
            crew_day=crew_day,
            occurred_at=self.occurred_at,
            recorded_at=timezone.now(),
            by=self.by,
            device=self.device,
            note=self.content.note,
            fingerprint=self.fingerprint(),
        )

    def fingerprint(self) -> str:
        """Hash of everything the sender decides, so that a retry can be told from another report."""
        form = {
            "occurred_at": self.occurred_at.astimezone(UTC).isoformat(),
            "crew": self.crew_code,
            "date": self.date.isoformat(),
            "corrects": str(self.corrects or ""),
            "content": vars(self.content),
        }
        return hashlib.sha256(json.dumps(form, sort_keys=True, default=_plain).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if is_dataclass(value):
        return vars(value)
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _take(request: _Request) -> FieldReport:
    check_content(request.content)
    for turn in range(MOST_TURNS):
        try:
            with transaction.atomic():
                return _take_once(request)
        except IntegrityError:
            # Another transaction took the same id between our look and our write: look again, once.
            if turn or not FieldReport.objects.filter(uuid=request.id).exists():
                raise
        except OperationalError as error:
            if connection.in_atomic_block or not may_retry(error):
                raise
            pause(turn)
    raise BookBusy("The book is too busy to take this report now. Nothing was changed: send it again.")


def _take_once(request: _Request) -> FieldReport:
    content = request.content
    search = Search(content)
    beside = [*search.selects(), *select_keys(len(content.caught))]
    opened = open_day(
        id=request.id,
        crew_code=request.crew_code,
        date=request.date,
        occurred_at=request.occurred_at,
        meters=[attempt.meter for attempt in content.attempts if attempt.meter],
        # Pieces of a span that is yet to be split can be named only when it is.
        beside=() if content.splits else beside,
    )
    if opened.known is not None:
        return _accept_again(opened.known, request)
    report = request.make_report(opened.day)
    report.corrects = _lock_corrected(request)
    if content.splits:
        report.save()
        split_spans(content, report=report, jobs=request.jobs)
    *found, report_key, catch_keys = read_rows(*beside) if content.splits else opened.beside
    names = find_names(search, found, crew_day=opened.day, company=opened.company, jobs=request.jobs)
    content, unknown = leave_out_unknown(content, report=report, names=names)
    told = make_rows(content, report=report, names=names)
    told.gaps += unknown
    later: list[FieldReport] = []
    corrected: Told | None = None
    if report.corrects is not None:
        corrected = load_told([report.corrects])[report.corrects.pk]
        later = _take_out(told, report.corrects, corrected, by=request.by)
    elif opened.has_later:
        later = _take_out_late(find_later(report, told), by=request.by)
    rows = rows_to_keep(told, make_keys([report_key, catch_keys]))
    scene, record, steps = _keep(rows, told, opened, names, corrected)
    book_report(told, scene, by=request.by)
    note_manifests(told, corrected)
    follow_marks(told, corrected)
    evaluate_report(
        told, content=content, names=names, company=opened.company, record=record, corrected=corrected
    )
    open_spill_incidents(told.losses)
    refits = refit_statements(at=report.recorded_at)
    mark_work_done(told, opened.day, steps, by=request.by, beside=refits)
    book_again(later)
    settle_by_report(opened.unreported, at=report.recorded_at)
    hint_refits()
    return report


def _keep(
    rows: list[Rows], told: Told, opened: Opened, names: Names, corrected: Told | None
) -> tuple[Scene, Record, DaySteps]:
    """Insert the rows and read what booking and rules need behind them, mostly in one message.

    Where spans were found other than planned, or the day has reports already, the rows go first: what is to
    be read then hangs on them.
    """
    earlier = Earlier()
    if opened.has_reports or any(tells_as_found(row) for row in told.attempts):
        insert_rows(*rows)
        rows = []
        _note_as_found(told)
        earlier = find_earlier(told) if opened.has_reports else earlier
    search = SceneSearch(
        told,
        opened.day,
        company=opened.company.party,
        spans_of_runs=names.spans_of_runs,
        earlier=earlier,
        special_places=names.special_places,
    )
    of_steps, of_scene = select_steps(told, opened.day), search.selects()
    answers = exchange(*rows, *of_steps, *of_scene, *select_record(told, corrected))
    behind_steps, behind_scene = len(of_steps), len(of_steps) + len(of_scene)
    steps = make_steps(answers[:behind_steps])
    scene = search.make(answers[behind_steps:behind_scene])
    if told.meters_told_before:
        # What others told before has been taken off what the rows say went in.
        return scene, make_record(read_rows(*select_record(told, corrected))), steps
    return scene, make_record(answers[behind_scene:]), steps


def _accept_again(known: FieldReport, request: _Request) -> FieldReport:
    if known.by_id != request.by.pk:
        # Nothing about someone else's report is told, not even whose it was.
        raise ReportConflict(f"The id {request.id} is taken. Use a new one.")
    if known.fingerprint != request.fingerprint():
        raise ReportConflict(
            f"The id {request.id} was used for a report of crew {known.crew_day.crew.code} for "
            f"{known.crew_day.date} with other content. Use a new id for another report; "
            "correct the first one to change it."
        )
    return known


def _lock_corrected(request: _Request) -> FieldReport | None:
    if request.corrects is None:
        return None
    old = FieldReport.objects.select_for_update(of=("self",)).get(uuid=request.corrects)
    if old.is_undone:
        raise ReportIsUndone("This report was corrected before; correct the report that took its place.")
    return old


def _take_out(told: Told, corrected: FieldReport, old: Told, *, by: Actor) -> list[FieldReport]:
    """Take out of the book what is corrected, and what is to be booked again behind the correction."""
    later = {report.pk: report for report in find_later(told.report, told)}
    later |= {report.pk: report for report in find_later(corrected, old)}
    later.pop(corrected.pk, None)
    found = sorted(later.values(), key=in_order)
    again = f"booked again behind the correction {told.report.uuid}"
    _take_out_though_moved_on(found, by=by, reason=again)
    _take_out_though_moved_on([corrected], by=by, reason=f"corrected by {told.report.uuid}")
    corrected.is_undone = True
    corrected.save(update_fields=["is_undone"])
    unmark_work_done(old, told.report.crew_day)
    _note_as_found(old)
    return found


def _take_out_though_moved_on(reports: Sequence[FieldReport], *, by: Actor, reason: str) -> None:
    """Take reports out of the book; what others have taken further since is short then, for a count."""
    try:
        with transaction.atomic():
            unbook_all(reports, by=by, reason=reason)
    except GoodsMovedOn:
        for report in reports:
            report.refresh_from_db()
        unbook_all(reports, by=by, reason=reason, covers_missing=True)


def _take_out_late(later: Sequence[FieldReport], *, by: Actor) -> list[FieldReport]:
    """Take out what is to be booked again behind a late report, unless others moved those goods since.

    Where something has, the late report is booked into what stands, and a count settles the rest: what
    happened is not refused.
    """
    if not later:
        return []
    try:
        with transaction.atomic():
            unbook_all(later, by=by, reason="booked again behind a late report")
    except GoodsMovedOn:
        for report in later:
            report.refresh_from_db()
        return []
    return list(later)


def _note_as_found(told: Told) -> None:
    """Note sizes, lengths and splices as found where a report tells of any, and divide runs by them."""
    spans = {row.span_id: row.span.run_id for row in told.attempts if tells_as_found(row)}
    if spans:
        note_as_found(spans)
        divide_runs(spans.values())
