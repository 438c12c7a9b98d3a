"""Count plans, what is due, how right the records were, and count sheets."""

from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.buying import IF_MATCH
from api.rest.listing import ListDoor, list_parameters
from api.wire.answers import make_writer
from api.wire.count_answers import accuracy_json, count_plan_json, count_sheets_json, due_count_json
from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.filters import COUNT_SHEET_FILTERS
from api.wire.input_fields import read_day
from api.wire.pages import Order
from api.wire.papers.answering import PAPER, PDF, answer_pdf, read_paper
from api.wire.papers.count_sheet import print_count_sheet
from api.wire.papers.labels import print_labels
from api.wire.schemas import listing, of, page_of, shape
from api.wire.supply_requests import (
    COUNT_SHEET,
    POSTING,
    SENDING,
    read_count,
    read_count_plan,
    read_found_count,
    read_values,
)
from api.wire.versions import etag_of, read_if_match
from inventory.errors import BadInput, Fault, NotFound
from inventory.models import CountPlan, CountSheet
from inventory.queries.access import find_containers, get_place
from inventory.queries.company import get_today
from inventory.queries.container_labels import make_labels
from inventory.queries.count_due import list_due_counts
from inventory.queries.record_accuracy import list_accuracy
from inventory.queries.supply_access import (
    get_count_plan,
    get_count_sheet,
    require_may_count,
    visible_count_plans,
    visible_count_sheets,
)
from inventory.services.counting.entering import enter_count
from inventory.services.counting.finding import add_found
from inventory.services.counting.plans import save_count_plan
from inventory.services.counting.sheets import (
    drop_count_sheet,
    list_lines_to_count,
    make_count_sheet,
    post_count_sheet,
)

BY_MAKING = Order("pk", is_number=True)
YEAR = timedelta(days=365)
MOST_LABELS = 200


class CountPlans(ListDoor):
    """Count plans."""

    order = BY_MAKING

    def rows(self) -> QuerySet[Any]:
        return visible_count_plans(self.viewer).prefetch_related("rules")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [count_plan_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_count_plans",
        parameters=list_parameters(BY_MAKING, {}),
        responses={200: OpenApiResponse(page_of("CountPlan"))},
    )
    def get(self, request: Request) -> Response:
        """List how each warehouse is counted."""
        return super().get(request)


class OneCountPlan(Door):
    """The count plan of one warehouse."""

    @extend_schema(operation_id="get_count_plan", responses={200: OpenApiResponse(of("CountPlan"))})
    def get(self, request: Request, place: str) -> Response:
        """Get how a warehouse is counted."""
        return self._answer(get_count_plan(self.viewer, place))

    @extend_schema(
        operation_id="set_count_plan",
        parameters=[IF_MATCH],
        request={"application/json": of("CountPlanChange")},
        responses={200: OpenApiResponse(of("CountPlan"))},
    )
    def put(self, request: Request, place: str) -> Response:
        """Set how a warehouse is counted. The first plan of a warehouse needs no If-Match."""
        values = read_count_plan(request.data, self.viewer)
        found = get_place(self.viewer, place)
        require_may_count(self.viewer, found)
        is_new = not CountPlan.objects.filter(place=found).exists()
        version = None if is_new else read_if_match(request)
        save_count_plan(place=found, version=version, **values)
        return self._answer(get_count_plan(self.viewer, place))

    def _answer(self, plan: CountPlan) -> Response:
        body = count_plan_json(plan, make_writer(self.viewer))
        return Response(body, headers={"ETag": etag_of(plan.version)})


class DueCounts(Door):
    """What is due to be counted."""

    @extend_schema(
        operation_id="list_due_counts",
        responses={200: OpenApiResponse(shape(as_of={"type": "string"}, results=listing(of("DueCount"))))},
    )
    def get(self, request: Request, place: str) -> Response:
        """List all that lies in a warehouse by when it is due to be counted, without how much there is."""
        plan, today = get_count_plan(self.viewer, place), get_today()
        rows = [due_count_json(row) for row in list_due_counts(plan, as_of=today)]
        return Response({"as_of": today.isoformat(), "results": rows})


class RecordAccuracy(Door):
    """How right the records of a warehouse were."""

    @extend_schema(
        operation_id="list_record_accuracy",
        parameters=[
            OpenApiParameter("since", {"type": "string", "format": "date"}, description="first day"),
            OpenApiParameter("until", {"type": "string", "format": "date"}, description="last day"),
        ],
        responses={200: OpenApiResponse(shape(results=listing(of("Accuracy"))))},
    )
    def get(self, request: Request, place: str) -> Response:
        """List by month how many counts found what the book said, with the interval of that share."""
        plan = get_count_plan(self.viewer, place)
        until = _read_date(request, "until", get_today())
        since = _read_date(request, "since", until - YEAR)
        writer = make_writer(self.viewer)
        rows = list_accuracy(place=plan.place, since=since, until=until)
        return Response({"results": [accuracy_json(row, writer) for row in rows]})


class SheetDoor(Door):
    """What the doors of count sheets share."""

    def answer(self, reference: str, *, status: int = 200) -> Response:
        found = get_count_sheet(self.viewer, reference)
        headers = {"Location": reverse("count-sheet", kwargs={"reference": reference})}
        return Response(count_sheets_json([found])[0], status=status, headers=headers)

    def find(self, reference: str) -> CountSheet:
        """The sheet that is to be filled in or closed."""
        sheet = get_count_sheet(self.viewer, reference)
        require_may_count(self.viewer, sheet.place)
        return sheet


class CountSheets(SheetDoor, ListDoor):
    """Count sheets."""

    order = BY_MAKING
    filters = COUNT_SHEET_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_count_sheets(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return count_sheets_json(rows)

    @extend_schema(
        operation_id="list_count_sheets",
        parameters=list_parameters(BY_MAKING, COUNT_SHEET_FILTERS),
        responses={200: OpenApiResponse(page_of("CountSheet"))},
    )
    def get(self, request: Request) -> Response:
        """List count sheets with which lines are still to be counted."""
        return super().get(request)

    @extend_schema(
        operation_id="make_count_sheet",
        request={"application/json": of("CountSheetRequest")},
        responses={201: OpenApiResponse(of("CountSheet"), description="now or from the first time")},
    )
    def post(self, request: Request) -> Response:
        """Make a sheet of what is due by the plan, or of all that lies there of the named materials."""
        values = read_values(COUNT_SHEET, request.data, self.viewer)
        refuse_ahead(values, now())
        require_may_count(self.viewer, values["place"])
        return self.answer(make_count_sheet(by=self.actor, **values).reference, status=201)


class OneCountSheet(SheetDoor):
    """One count sheet by its reference."""

    @extend_schema(operation_id="get_count_sheet", responses={200: OpenApiResponse(of("CountSheet"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get one sheet. What was found and what the book said is told once it is posted."""
        return self.answer(reference)


class SheetCounts(SheetDoor):
    """What one person found of a line."""

    @extend_schema(
        operation_id="enter_count",
        request={"application/json": of("LineCountRequest")},
        responses={201: OpenApiResponse(of("CountSheet"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Enter what was found of one line: counted, or a drum's contents by weighing, dipping or eye."""
        values, finding = read_count(request.data, self.viewer)
        refuse_ahead({"occurred_at": values["counted_at"]}, now())
        line = self.find(reference).lines.filter(position=values["position"]).first()
        if line is None:
            raise NotFound("There is no such line of this sheet.")
        enter_count(
            id=values["id"], by=self.actor, counted_at=values["counted_at"], line=line, finding=finding
        )
        return self.answer(reference, status=201)


class SheetFound(SheetDoor):
    """What was found and not asked for."""

    @extend_schema(
        operation_id="add_found",
        request={"application/json": of("FoundCountRequest")},
        responses={201: OpenApiResponse(of("CountSheet"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Add what lies here and is not on the sheet, loose or in a container, known or new, with its count.

        A vessel without label gets one; print it and stick it on.
        """
        values, come, finding = read_found_count(request.data, self.viewer)
        refuse_ahead({"occurred_at": values["counted_at"]}, now())
        add_found(
            id=values["id"],
            by=self.actor,
            counted_at=values["counted_at"],
            sheet=self.find(reference),
            come=come,
            finding=finding,
        )
        return self.answer(reference, status=201)


class SheetFile(SheetDoor):
    """A count sheet on paper."""

    @extend_schema(
        operation_id="get_count_sheet_file",
        parameters=[PAPER],
        responses=PDF,
    )
    def get(self, request: Request, reference: str) -> HttpResponse:
        """Get what is still to be counted as PDF for a clipboard, blind, with room for what is not on it."""
        sheet = get_count_sheet(self.viewer, reference)
        return answer_pdf(
            print_count_sheet(sheet, list_lines_to_count(sheet), paper=read_paper(request)), reference
        )


class ContainerLabels(Door):
    """Labels for containers on paper."""

    @extend_schema(
        operation_id="get_container_labels",
        parameters=[
            OpenApiParameter(
                "container",
                {"type": "array", "items": {"type": "string"}, "minItems": 1, "maxItems": MOST_LABELS},
                required=True,
                description="label of a container, once for each",
            ),
            PAPER,
        ],
        responses=PDF,
    )
    def get(self, request: Request) -> HttpResponse:
        """Get labels as PDF, ten to a page: code to scan and to read, contents, lot, size, date, cautions."""
        names = request.query_params.getlist("container")
        if not 1 <= len(names) <= MOST_LABELS:
            message = f"must be given once for each label, {MOST_LABELS} at most"
            raise BadInput.of([Fault("container", str(len(names)), message)])
        labels = make_labels(find_containers(self.viewer, names))
        return answer_pdf(print_labels(labels, paper=read_paper(request)), "labels")


class SheetPosting(SheetDoor):
    """The end of a sheet that was counted."""

    @extend_schema(
        operation_id="post_count_sheet",
        request={"application/json": of("CountSheetPosting")},
        responses={200: OpenApiResponse(of("CountSheet"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Post what was found; a difference beyond its limits needs a reason."""
        values = read_values(POSTING, request.data, self.viewer)
        refuse_ahead(values, now())
        reasons = {row["position"]: row["reason"] for row in values.pop("reasons")}
        post_count_sheet(sheet=self.find(reference), by=self.actor, reasons=reasons, **values)
        return self.answer(reference)


class SheetDropping(SheetDoor):
    """The end of a sheet that is given up."""

    @extend_schema(
        operation_id="drop_count_sheet",
        request={"application/json": of("OrderSending")},
        responses={200: OpenApiResponse(of("CountSheet"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Give a sheet up; nothing of it reaches the book."""
        values = read_values(SENDING, request.data, self.viewer)
        refuse_ahead(values, now())
        drop_count_sheet(sheet=self.find(reference), by=self.actor, **values)
        return self.answer(reference)


def _read_date(request: Request, name: str, usual: date) -> date:
    text = request.query_params.get(name)
    if text is None:
        return usual
    day = read_day(text)
    if day is None:
        raise BadInput.of([Fault(name, text[:60], "must be a day such as 2026-03-31")])
    return day
