"""Accounting periods: asked to be closed, how far that is, and what they state."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.accounting import BY_PK, DAY, AccountsDoor
from api.rest.listing import ListDoor, list_parameters
from api.wire import accounting_requests as requests
from api.wire.input_fields import read_day, read_uuid
from api.wire.period_answers import closing_json, job_cost_json, open_point_json, period_json
from api.wire.schemas import of, page_of
from inventory.errors import NotFound
from inventory.models import AccountingPeriod
from inventory.queries.access import require_may_account
from jobs.queries.closing_checks import list_closing_points
from jobs.queries.period_closings import get_closing, list_closings, list_job_costs
from jobs.services.closing import ask_to_close


class Periods(AccountsDoor, ListDoor):
    """Closed periods."""

    order = BY_PK

    def rows(self) -> QuerySet[Any]:
        return AccountingPeriod.objects.select_related("closed_by")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [period_json(row, self.currency) for row in rows]

    @extend_schema(
        operation_id="list_accounting_periods",
        parameters=list_parameters(BY_PK, {}),
        responses={200: OpenApiResponse(page_of("AccountingPeriod"))},
    )
    def get(self, request: Request) -> Response:
        """List closed periods, those opened again among them."""
        return super().get(request)

    @extend_schema(
        operation_id="close_period",
        request={"application/json": of("PeriodClosing")},
        responses={202: OpenApiResponse(of("ClosingProgress"), description="a worker closes it")},
    )
    def post(self, request: Request) -> Response:
        """Ask that all days up to one be closed. With open points on the check list a remark must say why.

        A worker takes it up at once; `Location` says where to look. It may be sent again.
        """
        values = requests.read_request(request.data, requests.CLOSING)
        require_may_account(self.viewer)
        asked = ask_to_close(by=self.actor, occurred_at=now(), **values)
        headers = {"Location": reverse("period-closing", kwargs={"id": asked.uuid})}
        body = closing_json(get_closing(asked.uuid), self.currency, now=now())
        return Response(body, status=202, headers=headers)


class PeriodClosings(AccountsDoor, ListDoor):
    """Closings that were asked for."""

    order = BY_PK

    def rows(self) -> QuerySet[Any]:
        return list_closings()

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [closing_json(row, self.currency, now=now()) for row in rows]

    @extend_schema(
        operation_id="list_period_closings",
        parameters=list_parameters(BY_PK, {}),
        responses={200: OpenApiResponse(page_of("ClosingProgress"))},
    )
    def get(self, request: Request) -> Response:
        """List closings and how far they have come."""
        return super().get(request)


class OnePeriodClosing(AccountsDoor):
    """One closing by its id."""

    @extend_schema(operation_id="get_period_closing", responses={200: OpenApiResponse(of("ClosingProgress"))})
    def get(self, request: Request, id: str) -> Response:
        """Get a closing and how many of its jobs have their cost stated."""
        return Response(closing_json(get_closing(read_uuid(id)), self.currency, now=now()))


class PeriodJobCosts(AccountsDoor, ListDoor):
    """What jobs had cost by the end of a period."""

    order = BY_PK

    def rows(self) -> QuerySet[Any]:
        day = read_day(self.kwargs["last_date"])
        if day is None:
            raise NotFound("There is no closed period of that day.")
        return list_job_costs(day)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [job_cost_json(row, self.currency) for row in rows]

    @extend_schema(
        operation_id="list_period_job_costs",
        parameters=list_parameters(BY_PK, {}),
        responses={200: OpenApiResponse(page_of("PeriodJobCost"))},
    )
    def get(self, request: Request, last_date: str) -> Response:  # type: ignore[override]
        """List what each job had cost by the end of a closed period, and what of it came within."""
        return super().get(request)


class CheckList(AccountsDoor):
    """What should be done before a period is closed."""

    @extend_schema(
        operation_id="get_closing_check_list",
        parameters=[OpenApiParameter("last_date", DAY, required=True)],
        responses={200: OpenApiResponse(of("CheckList"))},
    )
    def get(self, request: Request) -> Response:
        """Get what is open up to a day: reports, counts, receipts without a bill, requests."""
        day = self.day(request, "last_date")
        points = [open_point_json(point) for point in list_closing_points(day)]
        return Response({"last_date": day.isoformat(), "open_points": points})
