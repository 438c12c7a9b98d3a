"""Field reports: sent by crews, listed by crew-day, corrected by others that take their place."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.acts import Act, Asker
from api.wire.door import Door
from api.wire.filters import REPORT_FILTERS
from api.wire.pages import Order
from api.wire.report_acts import CORRECT_REPORT, POST_REPORT, find_visible_report
from api.wire.report_answers import reports_json
from api.wire.schemas import of, page_of
from jobs.queries.field_reports import visible_reports, with_rows

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

    def do(self, act: Act, data: Any, **names: str) -> Response:
        """Do one act and answer the report that came of it."""
        body = act.run(data, names, Asker(self.viewer, self.actor, now()))
        headers = {"Location": reverse("field-report", kwargs={"id": body["id"]})}
        return Response(body, status=act.status, headers=headers)


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
        return self.do(POST_REPORT, request.data)


class OneFieldReport(ReportDoor):
    """One report by its id."""

    @extend_schema(operation_id="get_field_report", responses={200: OpenApiResponse(of("FieldReport"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one report with all it tells, its findings and its entries."""
        return Response(reports_json([find_visible_report(self.viewer, id)])[0])


class Correction(ReportDoor):
    """A report that takes the place of another."""

    @extend_schema(
        operation_id="correct_field_report",
        request={"application/json": of("FieldReportCorrection")},
        responses={201: OpenApiResponse(of("FieldReport"), description="the report that stands now")},
    )
    def post(self, request: Request, id: str) -> Response:
        """Correct a report: its entries are reversed, those of this one posted in their place."""
        return self.do(CORRECT_REPORT, request.data, corrects=id)
