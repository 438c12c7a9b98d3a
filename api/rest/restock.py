"""Restocking: the list, the stock ahead of a material, runs with their results, policies, lines to orders."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.door import Door
from api.wire.input_fields import read_day, read_uuid
from api.wire.pages import Order
from api.wire.restock import restock_json
from api.wire.restock_answers import policy_json, projected_stock_json, result_json, run_json, top_up_json
from api.wire.restock_requests import read_orders, read_policy, read_run
from api.wire.schemas import TEXT, listing, of, page_of, shape
from inventory.errors import BadInput, Fault, NotFound
from inventory.queries.access import get_material, get_place
from inventory.queries.company import get_company, get_today
from inventory.queries.projected_stock import ProjectedStock, project_stock
from inventory.queries.restock import list_restock
from inventory.queries.restock_runs import get_run, visible_results, visible_runs
from inventory.queries.stock_policies import visible_stock_policies
from inventory.queries.supply_access import require_may_buy, require_may_restock, require_sees_restock
from inventory.queries.vehicle_top_ups import list_top_ups
from inventory.services.restocking.ordering import write_orders_from_list
from inventory.services.restocking.policies import set_stock_policy
from inventory.services.restocking.runs import ask_for_restock

BY_KEY = Order("pk", is_number=True)
USUAL_DAYS = 28
WINDOW = [
    OpenApiParameter("place", TEXT, description="code of one warehouse; all of them without"),
    OpenApiParameter("date", {"type": "string", "format": "date"}, description="as seen on this day"),
    OpenApiParameter("days", {"type": "integer", "minimum": 1, "maximum": 730, "default": USUAL_DAYS}),
]


def read_window(door: Door, request: Request) -> dict[str, Any]:
    """Place, day and horizon from the address; every fault is named."""
    given, faults = request.query_params, []
    known = {"place", "date", "days"}
    faults += [
        Fault(name[:60], str(text)[:60], "is not known here; the parameters are place, date, days")
        for name, text in given.items()
        if name not in known
    ]
    day = read_day(given["date"]) if "date" in given else get_today()
    if day is None:
        faults.append(Fault("date", given["date"][:60], "must be a day such as 2026-03-31"))
    days = given.get("days", str(USUAL_DAYS))
    is_number = days.isascii() and days.isdigit() and len(days) < 5
    if not is_number or not 1 <= int(days) <= 730:
        faults.append(Fault("days", days[:60], "must be a whole number from 1 to 730"))
    if faults:
        raise BadInput.of(faults)
    place = get_place(door.viewer, given["place"]) if "place" in given else None
    return {"as_of": day, "place": place, "horizon_days": int(days)}


class Restock(Door):
    """The restock list as of a day."""

    @extend_schema(
        operation_id="get_restock", parameters=WINDOW, responses={200: OpenApiResponse(of("RestockList"))}
    )
    def get(self, request: Request) -> Response:
        """Get what to order, soonest run-out first, with why, by when, from whom and at what cost."""
        require_sees_restock(self.viewer)
        window = read_window(self, request)
        found = list_restock(cover_days=min(14, window["horizon_days"]), **window)
        body = restock_json(found, currency=get_company().currency, shows_money=self.viewer.may_see_money)
        return Response(body)


class StockAhead(Door):
    """One material's stock in the days ahead."""

    @extend_schema(
        operation_id="get_stock_ahead",
        parameters=WINDOW,
        responses={200: OpenApiResponse(of("ProjectedStock"))},
    )
    def get(self, request: Request, code: str) -> Response:
        """Get the stock of a material in a warehouse day by day, with the picture and its table."""
        return Response(projected_stock_json(self.project(request, code)))

    def project(self, request: Request, code: str) -> ProjectedStock:
        require_sees_restock(self.viewer)
        window = read_window(self, request)
        if window["place"] is None:
            raise BadInput.of([Fault("place", "", "is missing: the code of the warehouse")])
        found = project_stock(material=get_material(self.viewer, code), **window)
        if found is None:
            raise NotFound("The material is neither planned nor used there, so there is nothing to foresee.")
        return found


class StockAheadPicture(StockAhead):
    """The same as a picture alone."""

    @extend_schema(
        operation_id="get_stock_ahead_picture",
        parameters=WINDOW,
        responses={(200, "image/svg+xml"): OpenApiResponse(TEXT)},
    )
    def get(self, request: Request, code: str) -> HttpResponse:  # type: ignore[override]
        """Get the picture as SVG."""
        svg = projected_stock_json(self.project(request, code))["picture"]["svg"]
        return HttpResponse(svg, content_type="image/svg+xml; charset=utf-8")


class TopUps(Door):
    """What goes onto the vehicles."""

    @extend_schema(
        operation_id="list_top_ups",
        parameters=WINDOW[:2],
        responses={200: OpenApiResponse(shape(results=listing(of("TopUp"))))},
    )
    def get(self, request: Request) -> Response:
        """List what to put on each vehicle, filled up to its maximum where it is at its minimum or below."""
        require_sees_restock(self.viewer)
        window = read_window(self, request)
        found = list_top_ups(as_of=window["as_of"], place=window["place"])
        return Response({"results": [top_up_json(row) for row in found]})


class RestockRuns(ListDoor):
    """Runs that work out all policies."""

    order = BY_KEY

    def rows(self) -> QuerySet[Any]:
        require_sees_restock(self.viewer)
        return visible_runs(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [run_json(row) for row in rows]

    @extend_schema(
        operation_id="list_restock_runs",
        parameters=list_parameters(BY_KEY, {}),
        responses={200: OpenApiResponse(page_of("RestockRun"))},
    )
    def get(self, request: Request) -> Response:
        """List runs with how many of their chunks are done."""
        return super().get(request)

    @extend_schema(
        operation_id="ask_for_restock",
        request={"application/json": of("RestockRunRequest")},
        responses={202: OpenApiResponse(of("RestockRun"))},
    )
    def post(self, request: Request) -> Response:
        """Ask for a run; workers take it up at once. The same request again gives the same run."""
        require_sees_restock(self.viewer)
        values = read_run(request.data, viewer=self.viewer)
        run = ask_for_restock(
            id=values["id"],
            by=self.actor,
            occurred_at=now(),
            as_of=values["as_of"] or get_today(),
            place=values["place"],
            horizon_days=values["horizon_days"],
        )
        return Response(run_json(get_run(self.viewer, run.uuid)), status=202)


class OneRestockRun(Door):
    """One run by its id."""

    @extend_schema(operation_id="get_restock_run", responses={200: OpenApiResponse(of("RestockRun"))})
    def get(self, request: Request, id: str) -> Response:
        """Get a run and how far it has come."""
        require_sees_restock(self.viewer)
        uuid = read_uuid(id)
        if uuid is None:
            raise NotFound("There is no restock run of that id.")
        return Response(run_json(get_run(self.viewer, uuid)))


class RestockResults(ListDoor):
    """What a run found."""

    order = BY_KEY

    def rows(self) -> QuerySet[Any]:
        require_sees_restock(self.viewer)
        uuid = read_uuid(self.kwargs["id"])
        if uuid is None:
            raise NotFound("There is no restock run of that id.")
        return visible_results(self.viewer, get_run(self.viewer, uuid))

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        shows_money = self.viewer.may_see_money
        currency = get_company().currency
        return [result_json(row, currency=currency, shows_money=shows_money) for row in rows]

    @extend_schema(
        operation_id="list_restock_results",
        parameters=list_parameters(BY_KEY, {}),
        responses={200: OpenApiResponse(page_of("RestockResult"))},
    )
    def get(self, request: Request, id: str) -> Response:  # type: ignore[override]
        """List the policy of every material and what is to be ordered, by material."""
        return super().get(request)


class StockPolicies(ListDoor):
    """What is aimed at."""

    order = BY_KEY

    def rows(self) -> QuerySet[Any]:
        require_sees_restock(self.viewer)
        return visible_stock_policies(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        currency, shows = get_company().currency, self.viewer.may_see_money
        return [policy_json(row, currency=currency, shows_money=shows) for row in rows]

    @extend_schema(
        operation_id="list_stock_policies",
        parameters=list_parameters(BY_KEY, {}),
        responses={200: OpenApiResponse(page_of("StockPolicy"))},
    )
    def get(self, request: Request) -> Response:
        """List policies; the nearest to a material and place holds."""
        return super().get(request)

    @extend_schema(
        operation_id="set_stock_policy",
        request={"application/json": of("StockPolicyRequest")},
        responses={200: OpenApiResponse(of("StockPolicy"))},
    )
    def put(self, request: Request) -> Response:
        """Set what is aimed at for a material in a place, for one of them, or for all."""
        require_sees_restock(self.viewer)
        require_may_buy(self.viewer)
        values = read_policy(request.data, viewer=self.viewer)
        policy = set_stock_policy(by=self.actor, occurred_at=now(), **values)
        return Response(self.write([policy])[0])


class RestockOrders(Door):
    """Lines of the list as written orders."""

    @extend_schema(
        operation_id="write_restock_orders",
        request={"application/json": of("RestockOrdersRequest")},
        responses={201: OpenApiResponse(shape(orders=listing(TEXT)))},
    )
    def post(self, request: Request) -> Response:
        """Write lines of these materials, and all of these suppliers, as orders together; none is sent."""
        values = read_orders(request.data, viewer=self.viewer)
        require_may_restock(self.viewer, values["place"])
        orders = write_orders_from_list(
            by=self.actor,
            occurred_at=now(),
            as_of=get_today(),
            own_places=self.viewer.own_places,
            **values,
        )
        return Response({"orders": [order.reference for order in orders]}, status=201)
