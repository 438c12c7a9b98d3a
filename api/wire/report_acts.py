"""What is done with field reports, for every door: posted, corrected, and their day closed."""

from typing import Any

from django.db.models import QuerySet

from api.wire.acts import Act, Asker
from api.wire.balances import day_balance_json
from api.wire.calculations.fields import Record
from api.wire.field_reports import CORRECTION, REPORT, make_report
from api.wire.input_fields import read_day, read_uuid
from api.wire.report_answers import reports_json
from inventory.errors import NotFound
from jobs.models import FieldReport, Job
from jobs.queries.access import WorkViewer, get_visible_crew_day, require_may_report, visible_jobs
from jobs.queries.balances import get_last_balance
from jobs.queries.field_reports import get_report
from jobs.services.balance.closing import close_crew_day
from jobs.services.reports.reporting import correct_report, post_report

Json = dict[str, Any]


def find_visible_report(viewer: WorkViewer, id: str) -> FieldReport:
    """A report by the id as it stands in an address."""
    uuid = read_uuid(id)
    if uuid is None:
        raise NotFound("There is no field report of that id.")
    return get_report(viewer, uuid)


def _jobs_of(viewer: WorkViewer) -> QuerySet[Job] | None:
    """The jobs whose spans and runs the asker may name; None for all."""
    return None if viewer.places is None else visible_jobs(viewer)


def _post_report(values: Json, asker: Asker) -> Json:
    head, content = make_report(values)
    require_may_report(asker.viewer)
    get_visible_crew_day(asker.viewer, crew_code=head["crew"], date=head["date"])
    report = post_report(
        id=head["id"],
        by=asker.by,
        occurred_at=head["occurred_at"],
        crew_code=head["crew"],
        date=head["date"],
        content=content,
        device=head["device"],
        jobs=_jobs_of(asker.viewer),
    )
    return _answer(report, asker)


def _correct_report(values: Json, asker: Asker) -> Json:
    head, content = make_report(values)
    require_may_report(asker.viewer)
    report = correct_report(
        id=head["id"],
        corrects=find_visible_report(asker.viewer, head["corrects"]).uuid,
        by=asker.by,
        occurred_at=head["occurred_at"],
        content=content,
        device=head["device"],
        jobs=_jobs_of(asker.viewer),
    )
    return _answer(report, asker)


def _answer(report: FieldReport, asker: Asker) -> Json:
    found: Json = reports_json([get_report(asker.viewer, report.uuid)])[0]
    return found


def _close_day(values: Json, asker: Asker) -> Json:
    date = read_day(values["date"])
    if date is None:
        raise NotFound("That is not a day; write it like 2026-03-31.")
    day = get_visible_crew_day(asker.viewer, crew_code=values["crew"], date=date)
    require_may_report(asker.viewer)
    close_crew_day(crew_code=values["crew"], date=date, by=asker.by, occurred_at=asker.now)
    return day_balance_json(get_last_balance(day))


POST_REPORT = Act(
    name="post_field_report",
    summary="Report what a crew did. It is never refused because the book is wrong.",
    record=REPORT,
    request="FieldReportRequest",
    answer="FieldReport",
    do=_post_report,
)
CORRECT_REPORT = Act(
    name="correct_field_report",
    summary="Correct a report: its entries are reversed, those of this one posted in their place.",
    record=CORRECTION,
    request="FieldReportCorrection",
    answer="FieldReport",
    do=_correct_report,
    names=("corrects",),
)
CLOSE_DAY = Act(
    name="close_crew_day",
    summary="Close a day as far as it is reported; again, without anything new, it changes nothing.",
    record=Record(fields={}),
    request="",
    answer="DayBalance",
    do=_close_day,
    status=200,
    names=("crew", "date"),
)
ACTS = (POST_REPORT, CORRECT_REPORT, CLOSE_DAY)
