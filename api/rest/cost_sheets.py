"""Jobs' cost sheets: as they stand, as files, and as they were issued."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.accounting import AccountsDoor, answer_file
from api.rest.listing import ListDoor, list_parameters
from api.wire.accounting_requests import ISSUE, read_request
from api.wire.answers import entry_json, make_writer
from api.wire.cost_sheets import cost_sheet_body, issued_sheet_json
from api.wire.cost_tables import cost_table
from api.wire.input_fields import read_day
from api.wire.pages import Order
from api.wire.papers.cost_sheet import print_cost_sheet
from api.wire.pictures.cost_bridge import draw_cost_bridge
from api.wire.pictures.tables import picture_body
from api.wire.schemas import TEXT, listing, of, page_of, shape
from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Entry
from inventory.queries.access import require_may_account, visible_entries, with_lines
from inventory.queries.company import get_company
from jobs.models import IssuedSheet, Job
from jobs.queries.access import get_visible_job
from jobs.queries.cost_sheet import list_line_movements, make_cost_sheet
from jobs.queries.issued_sheets import get_issued_sheet
from jobs.services.issued_sheets import issue_sheet

Json = dict[str, Any]
OF_A_LINE = frozenset({"material", "owner", "span", "run", "month", "crew"})
BY_NUMBER = Order("number", is_number=True)
BY_KEY = Order("key", is_number=True)
PICTURE = shape(
    svg=TEXT,
    table=shape(
        caption=TEXT,
        columns=listing(shape(key=TEXT, title=TEXT, unit=TEXT)),
        rows=listing({"type": "object", "additionalProperties": TEXT}),
    ),
)


class JobDoor(AccountsDoor):
    """A door about one job, for who sees money."""

    def job(self, reference: str) -> Job:
        return get_visible_job(self.viewer, reference)


class CostSheetDoor(JobDoor):
    """A job's cost sheet as it stands."""

    @extend_schema(operation_id="get_cost_sheet", responses={200: OpenApiResponse(of("CostSheet"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get estimate, use, losses, cost and why they differ, by material, part, month, crew and size."""
        return Response(cost_sheet_body(make_cost_sheet(self.job(reference))))


class CostSheetFile(JobDoor):
    """A job's cost sheet as a file."""

    @extend_schema(
        operation_id="get_cost_sheet_file", responses={(200, "application/pdf"): {"type": "string"}}
    )
    def get(self, request: Request, reference: str, ending: str) -> HttpResponse:
        """Get the sheet as `pdf`, `csv` or `xlsx`."""
        body = cost_sheet_body(make_cost_sheet(self.job(reference)))
        return _answer_sheet(f"cost-{reference}", ending, body)


def _answer_sheet(name: str, ending: str, body: Json, issued: Json | None = None) -> HttpResponse:
    if ending != "pdf":
        return answer_file(name, ending, *cost_table(body, issued))
    printed = print_cost_sheet(body, is_metric=get_company().uses_metric, printed_at=now(), issued=issued)
    return HttpResponse(
        printed,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )


class CostPicture(JobDoor):
    """From estimate to actual, drawn."""

    @extend_schema(operation_id="get_cost_picture", responses={200: OpenApiResponse(PICTURE)})
    def get(self, request: Request, reference: str) -> Response:
        """Get the picture from estimate to actual, and its table."""
        return Response(picture_body(draw_cost_bridge(make_cost_sheet(self.job(reference)))))


class CostEntries(JobDoor, ListDoor):
    """The entries behind one line of a cost sheet."""

    order = BY_KEY
    filters = {}

    def rows(self) -> QuerySet[Any]:
        given = self.request.query_params
        faults = [Fault(name, "", "is missing") for name in ("material", "owner") if not given.get(name)]
        parts = [(kind, given[kind]) for kind in ("span", "run") if kind in given]
        if len(parts) > 1:
            faults.append(Fault("run", given["run"][:60], "cannot be named beside a span"))
        month = read_day(f"{given['month']}-01") if "month" in given else None
        if month is None and "month" in given:
            faults.append(Fault("month", given["month"][:60], "must be a month such as 2026-03"))
        if faults:
            raise BadInput.of(faults)
        movements = list_line_movements(
            self.job(self.kwargs["reference"]),
            material=given["material"],
            owner=given["owner"],
            part=parts[0] if parts else None,
            month=month,
            crew=given.get("crew"),
        )
        entries = Entry.objects.filter(pk__in=movements.order_by().values("entry"))
        return with_lines(entries & visible_entries(self.viewer), self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [entry_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_cost_entries",
        parameters=[
            OpenApiParameter("material", {"type": "string"}, required=True),
            OpenApiParameter("owner", {"type": "string"}, required=True),
            OpenApiParameter("span", {"type": "string"}, description="only what went to or came from it"),
            OpenApiParameter("run", {"type": "string"}, description="the same; not beside a span"),
            OpenApiParameter("month", {"type": "string"}, description="only what was booked in it: 2026-03"),
            OpenApiParameter(
                "crew",
                {"type": "string"},
                description="only what its reports and balances brought; empty for what no crew's did",
            ),
            *list_parameters(BY_KEY, {}),
        ],
        responses={200: OpenApiResponse(page_of("Entry"))},
    )
    def get(self, request: Request, reference: str) -> Response:  # type: ignore[override]
        """List the entries that make up the figures of one material of one owner, in the book's order."""
        return super().get(request)

    def _read_filters(self, parameters: Any, faults: list[Fault]) -> Any:
        own = {name: text for name, text in parameters.items() if name not in OF_A_LINE}
        return super()._read_filters(own, faults)


class IssuedSheets(JobDoor, ListDoor):
    """Sheets of a job that were issued."""

    order = BY_NUMBER

    def rows(self) -> QuerySet[Any]:
        job = self.job(self.kwargs["reference"])
        return IssuedSheet.objects.filter(job=job).select_related("job", "issued_by")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [issued_sheet_json(row) for row in rows]

    @extend_schema(
        operation_id="list_issued_sheets",
        parameters=list_parameters(BY_NUMBER, {}),
        responses={200: OpenApiResponse(page_of("IssuedSheet"))},
    )
    def get(self, request: Request, reference: str) -> Response:  # type: ignore[override]
        """List the sheets of a job as they were issued."""
        return super().get(request)

    @extend_schema(
        operation_id="issue_cost_sheet",
        request={"application/json": of("SheetRequest")},
        responses={201: OpenApiResponse(of("IssuedSheet"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Issue the sheet as it stands now; asked again under its id it is the same sheet."""
        values = read_request(request.data, ISSUE)
        require_may_account(self.viewer)
        sheet = issue_sheet(
            id=values["id"],
            job=self.job(reference),
            by=self.actor,
            occurred_at=now(),
            write=cost_sheet_body,
        )
        return Response(issued_sheet_json(sheet), status=201)


class OneIssuedSheet(JobDoor):
    """One issued sheet."""

    @extend_schema(operation_id="get_issued_sheet", responses={200: OpenApiResponse(of("ComparedSheet"))})
    def get(self, request: Request, reference: str, number: int) -> Response:
        """Get a sheet as issued and as known now, and whether it is what was issued."""
        job = self.job(reference)
        return Response(issued_sheet_json(_get_sheet(job, number), now=make_cost_sheet(job)))


def _get_sheet(job: Job, number: int) -> IssuedSheet:
    if number >= 2**31:
        raise NotFound("There is no sheet of that number.")
    return get_issued_sheet(job, number)


class IssuedSheetFile(JobDoor):
    """One issued sheet as a file."""

    @extend_schema(
        operation_id="get_issued_sheet_file", responses={(200, "application/pdf"): {"type": "string"}}
    )
    def get(self, request: Request, reference: str, number: int, ending: str) -> HttpResponse:
        """Get the sheet as it was issued, from what was stored, as `pdf`, `csv` or `xlsx`."""
        sheet = _get_sheet(self.job(reference), number)
        return _answer_sheet(f"cost-{reference}-{number}", ending, sheet.content, issued_sheet_json(sheet))
