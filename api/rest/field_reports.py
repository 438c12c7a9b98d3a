"""Field reports: sent by crews, listed by crew-day, corrected by others that take their place."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.field_reports import CORRECTION, read_report
from api.wire.filters import REPORT_FILTERS
from api.wire.input_fields import read_uuid
from api.wire.pages import Order
from api.wire.report_answers import reports_json
from api.wire.schemas import of, page_of
from inventory.errors import NotFound
from jobs.models import FieldReport, Job
from jobs.queries.access import get_visible_crew_day, require_may_report, visible_jobs
from jobs.queries.field_reports import get_report, visible_reports, with_rows
from jobs.services.reports.reporting import correct_report, post_report

BY_RECORDING = Order("pk", is_number=True)
EXAMPLE = OpenApiExample(
    "two spans extracted, a drum read",
    request_only=True,
    value={
        "id": "7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01",
        "crew": "north",
        "date": "2026-03-31",
        "occurred_at": "2026-03-31T17:20:00-05:00",
        "attempts": [{"span": {"job": "J-1", "name": "S1"}}, {"span": {"job": "J-1", "name": "S2"}}],
        "readings": [{"container": "D-1", "method": "quarters", "value": 2}],
    },
)


class ReportDoor(Door):
    """What the doors of reports share."""

    @property
    def jobs(self) -> QuerySet[Job] | None:
        """The jobs whose spans and runs the asker may name; None for all."""
        return None if self.viewer.places is None else visible_jobs(self.viewer)

    def answer(self, report: FieldReport, *, status: int) -> Response:
        found = get_report(self.viewer, report.uuid)
        headers = {"Location": reverse("field-report", kwargs={"id": report.uuid})}
        return Response(reports_json([found])[0], status=status, headers=headers)


class FieldReports(ReportDoor, ListDoor):
    """Field reports in the order in which they came in."""

    order = BY_RECORDING
    filters = REPORT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return with_rows(visible_reports(self.viewer))

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return reports_json(rows)

    @extend_schema(
        operation_id="list_field_reports",
        parameters=list_parameters(BY_RECORDING, REPORT_FILTERS),
        responses={200: OpenApiResponse(page_of("FieldReport"))},
    )
    def get(self, request: Request) -> Response:
        """List the reports of the crew-days that the asker may see."""
        return super().get(request)

    @extend_schema(
        operation_id="post_field_report",
        request={"application/json": of("FieldReportRequest")},
        responses={
            201: OpenApiResponse(of("FieldReport"), description="the report, now or from the first time")
        },
        examples=[EXAMPLE],
    )
    def post(self, request: Request) -> Response:
        """Report what a crew did. It is never refused because the book is wrong.

        Sending it again under its id is harmless; other content under the same id is refused with 409 and
        `report_conflict`.
        """
        head, content = read_report(request.data)
        refuse_ahead(head, now())
        require_may_report(self.viewer)
        get_visible_crew_day(self.viewer, crew_code=head["crew"], date=head["date"])
        report = post_report(
            id=head["id"],
            by=self.actor,
            occurred_at=head["occurred_at"],
            crew_code=head["crew"],
            date=head["date"],
            content=content,
            device=head["device"],
            jobs=self.jobs,
        )
        return self.answer(report, status=201)


class OneFieldReport(ReportDoor):
    """One report by its id."""

    @extend_schema(operation_id="get_field_report", responses={200: OpenApiResponse(of("FieldReport"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one report with all it tells, its findings and its entries."""
        return Response(reports_json([_find(self, id)])[0])


class Correction(ReportDoor):
    """A report that takes the place of another."""

    @extend_schema(
        operation_id="correct_field_report",
        request={"application/json": of("FieldReportCorrection")},
        responses={201: OpenApiResponse(of("FieldReport"), description="the report that stands now")},
    )
    def post(self, request: Request, id: str) -> Response:
        """Correct a report: its entries are reversed, those of this one posted in their place."""
        head, content = read_report(request.data, record=CORRECTION)
        refuse_ahead(head, now())
        require_may_report(self.viewer)
        report = correct_report(
            id=head["id"],
            corrects=_find(self, id).uuid,
            by=self.actor,
            occurred_at=head["occurred_at"],
            content=content,
            device=head["device"],
            jobs=self.jobs,
        )
        return self.answer(report, status=201)


def _find(door: Door, id: str) -> FieldReport:
    uuid = read_uuid(id)
    if uuid is None:
        raise NotFound("There is no field report of that id.")
    return get_report(door.viewer, uuid)
