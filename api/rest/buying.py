"""What suppliers ask, and the orders written to them."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import supply_acts as acts
from api.wire.answers import make_writer
from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.filters import ORDER_FILTERS, TERMS_FILTERS
from api.wire.pages import Order as Sorting
from api.wire.schemas import listing, of, page_of, shape
from api.wire.supply_answers import orders_json, supplier_json, terms_json
from api.wire.supply_requests import (
    CALLING_OFF,
    JOINT_ORDERS,
    ORDER,
    ORDER_CHANGE,
    PROMISE,
    SENDING,
    ordered_lines,
    read_values,
    wanted_lines,
)
from api.wire.versions import etag_of, read_if_match
from inventory.models import Order
from inventory.queries.supply_access import (
    get_order,
    require_may_buy,
    visible_orders,
    visible_suppliers,
    visible_terms,
)
from inventory.services.orders.joint import write_joint_orders
from inventory.services.orders.life import call_off, promise_order, send_order
from inventory.services.orders.writing import rewrite_order, write_order

BY_WRITING = Sorting("pk", is_number=True)
IF_MATCH = OpenApiParameter(
    "If-Match", {"type": "string"}, location="header", required=True, description="the ETag of what was read"
)


class SupplyTerms(ListDoor):
    """What suppliers ask."""

    needs_key = True
    order = BY_WRITING
    filters = TERMS_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_terms(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return terms_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_supply_terms",
        parameters=list_parameters(BY_WRITING, TERMS_FILTERS),
        responses={200: OpenApiResponse(page_of("SupplyTerms"))},
    )
    def get(self, request: Request) -> Response:
        """List who sells what on which terms, with the lead time that deliveries have shown."""
        return super().get(request)

    post = act_method(acts.SET_TERMS)


class Suppliers(ListDoor):
    """Who sells to the company."""

    needs_key = True
    order = BY_WRITING

    def rows(self) -> QuerySet[Any]:
        return visible_suppliers(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [supplier_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_suppliers",
        parameters=list_parameters(BY_WRITING, {}),
        responses={200: OpenApiResponse(page_of("Supplier"))},
    )
    def get(self, request: Request) -> Response:
        """List suppliers with what each asks for an order, and the least value that it delivers."""
        return super().get(request)

    post = act_method(acts.SET_SUPPLIER)


class OrderDoor(Door):
    """What the doors of orders share."""

    def answer(self, reference: str, *, status: int = 200) -> Response:
        order = get_order(self.viewer, reference)
        headers = {
            "ETag": etag_of(order.version),
            "Location": reverse("order", kwargs={"reference": reference}),
        }
        return Response(orders_json([order], make_writer(self.viewer))[0], status=status, headers=headers)

    def find(self, reference: str) -> Order:
        """The order that is to be changed."""
        order = get_order(self.viewer, reference)
        require_may_buy(self.viewer, order.place)
        return order


class Orders(OrderDoor, ListDoor):
    """Orders by when they were written."""

    order = BY_WRITING
    filters = ORDER_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_orders(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return orders_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_orders",
        parameters=list_parameters(BY_WRITING, ORDER_FILTERS),
        responses={200: OpenApiResponse(page_of("Order"))},
    )
    def get(self, request: Request) -> Response:
        """List orders with what came of each line and what is awaited."""
        return super().get(request)

    @extend_schema(
        operation_id="write_order",
        request={"application/json": of("OrderRequest")},
        responses={201: OpenApiResponse(of("Order"), description="the order, now or from the first time")},
    )
    def post(self, request: Request) -> Response:
        """Write an order. Nobody is told of it before it is sent; the same again is harmless."""
        values = read_values(ORDER, request.data, self.viewer)
        refuse_ahead(values, now())
        require_may_buy(self.viewer, values["place"])
        lines = ordered_lines(values.pop("lines"))
        return self.answer(write_order(by=self.actor, lines=lines, **values).reference, status=201)


class JointOrders(Door):
    """Orders for many wants at once."""

    @extend_schema(
        operation_id="write_joint_orders",
        request={"application/json": of("JointOrdersRequest")},
        responses={201: OpenApiResponse(shape(results=listing(of("Order"))))},
    )
    def post(self, request: Request) -> Response:
        """Write what is wanted as one order for each supplier and place, where together they cost least."""
        values = read_values(JOINT_ORDERS, request.data, self.viewer)
        refuse_ahead(values, now())
        for row in values["lines"]:
            require_may_buy(self.viewer, row["place"])
        wanted = wanted_lines(values.pop("lines"))
        orders = write_joint_orders(by=self.actor, wanted=wanted, **values)
        return Response({"results": orders_json(orders, make_writer(self.viewer))}, status=201)


class OneOrder(OrderDoor):
    """One order by its reference."""

    @extend_schema(operation_id="get_order", responses={200: OpenApiResponse(of("Order"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get one order; its ETag is what a change must send as If-Match."""
        return self.answer(reference)

    @extend_schema(
        operation_id="change_order",
        parameters=[IF_MATCH],
        request={"application/json": of("OrderChange")},
        responses={200: OpenApiResponse(of("Order"))},
    )
    def put(self, request: Request, reference: str) -> Response:
        """Change an order as a whole while it is only written."""
        values = read_values(ORDER_CHANGE, request.data, self.viewer)
        order, version = self.find(reference), read_if_match(request)
        lines = ordered_lines(values.pop("lines"))
        rewrite_order(order=order, version=version, lines=lines, **values)
        return self.answer(reference)


class OrderSending(OrderDoor):
    """That the supplier has an order."""

    @extend_schema(
        operation_id="send_order",
        request={"application/json": of("OrderSending")},
        responses={200: OpenApiResponse(of("Order"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Note that the order was sent: from now on it is awaited. Again, it changes nothing."""
        values = read_values(SENDING, request.data, self.viewer)
        refuse_ahead(values, now())
        send_order(order=self.find(reference), by=self.actor, **values)
        return self.answer(reference)


class OrderPromise(OrderDoor):
    """The day that a supplier has confirmed."""

    @extend_schema(
        operation_id="promise_order",
        parameters=[IF_MATCH],
        request={"application/json": of("OrderPromise")},
        responses={200: OpenApiResponse(of("Order"))},
    )
    def put(self, request: Request, reference: str) -> Response:
        """Note the day for which the supplier has confirmed the order, or null for none."""
        values = read_values(PROMISE, request.data, self.viewer)
        order, version = self.find(reference), read_if_match(request)
        promise_order(order=order, version=version, **values)
        return self.answer(reference)


class OrderCallingOff(OrderDoor):
    """That no more of an order is wanted."""

    @extend_schema(
        operation_id="call_off_order",
        request={"application/json": of("OrderCallingOff")},
        responses={200: OpenApiResponse(of("Order"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Await no more of these lines, or of none at all where none is named. What has come stays."""
        values = read_values(CALLING_OFF, request.data, self.viewer)
        refuse_ahead(values, now())
        call_off(
            order=self.find(reference),
            by=self.actor,
            occurred_at=values["occurred_at"],
            positions=values["lines"],
        )
        return self.answer(reference)
