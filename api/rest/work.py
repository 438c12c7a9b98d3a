"""Jobs and what they used, and the pull sheets of crew-days."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import job_acts
from api.wire.answers import job_json
from api.wire.door import Door
from api.wire.filters import BY_REFERENCE, JOB_FILTERS
from api.wire.input_fields import read_day
from api.wire.kit_acts import find_day
from api.wire.pull_sheets import pull_sheet_body
from api.wire.schemas import of, page_of
from api.wire.statements import statement_body
from inventory.errors import BadInput, Fault
from jobs.queries.access import get_visible_job, visible_jobs
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.queries.statement import make_statement

CREW_AND_DATE = [
    OpenApiParameter("crew", {"type": "string"}, required=True, description="the crew's code"),
    OpenApiParameter("date", {"type": "string", "format": "date"}, required=True),
]


class Jobs(ListDoor):
    """Jobs."""

    order = BY_REFERENCE
    filters = JOB_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_jobs(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [job_json(row) for row in rows]

    @extend_schema(
        operation_id="list_jobs",
        parameters=list_parameters(BY_REFERENCE, JOB_FILTERS),
        responses={200: OpenApiResponse(page_of("Job"))},
    )
    def get(self, request: Request) -> Response:
        """List jobs by reference."""
        return super().get(request)


class OneJob(Door):
    """One job by its reference."""

    @extend_schema(operation_id="get_job", responses={200: OpenApiResponse(of("Job"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get one job."""
        return Response(job_json(get_visible_job(self.viewer, reference)))


class JobState(Door):
    """The state of one job."""

    post = act_method(job_acts.CHANGE_STATE)


class JobStatement(Door):
    """The materials and cost of one job."""

    @extend_schema(operation_id="get_statement", responses={200: OpenApiResponse(of("Statement"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get what a job drew, returned, used and recovered, by material and part, and its cost."""
        statement = make_statement(get_visible_job(self.viewer, reference))
        return Response(statement_body(statement, has_money=self.viewer.may_see_money))


class PullSheets(Door):
    """The kit of a crew-day, by parameters."""

    @extend_schema(
        operation_id="find_pull_sheet",
        parameters=CREW_AND_DATE,
        responses={200: OpenApiResponse(of("PullSheet"))},
    )
    def get(self, request: Request) -> Response:
        """Get what a crew loads for a day, given as `crew` and `date`."""
        given = request.query_params
        faults = [
            Fault(name[:60], str(text)[:60], "is not known here; the parameters are crew, date")
            for name, text in given.items()
            if name not in {"crew", "date"}
        ]
        faults += [Fault(name, "", "is missing") for name in ("crew", "date") if not given.get(name)]
        if given.get("date") and read_day(given["date"]) is None:
            faults.append(Fault("date", given["date"][:60], "must be a day such as 2026-03-31"))
        if faults:
            raise BadInput.of(faults)
        return _answer_pull_sheet(self, given["crew"], given["date"])


class OnePullSheet(Door):
    """The kit of a crew-day, by its address."""

    @extend_schema(operation_id="get_pull_sheet", responses={200: OpenApiResponse(of("PullSheet"))})
    def get(self, request: Request, crew: str, date: str) -> Response:
        """Get what a crew loads for a day."""
        return _answer_pull_sheet(self, crew, date)


def _answer_pull_sheet(door: Door, crew: str, text: str) -> Response:
    return Response(pull_sheet_body(make_pull_sheet(find_day(door.viewer, crew, text))))
