"""What suppliers brought, what of it is held back, and what is on the way between warehouses."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire.answers import make_writer
from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.filters import CREDIT_FILTERS, HELD_FILTERS, RECEIPT_FILTERS, SHIPMENT_FILTERS
from api.wire.input_fields import read_uuid
from api.wire.pages import Order
from api.wire.schemas import of, page_of
from api.wire.shipment_answers import shipments_json
from api.wire.supply_acts import NOTE_CREDIT
from api.wire.supply_answers import credit_json, receipts_json, received_lines
from api.wire.supply_requests import (
    DIFFERENCE,
    read_arrival,
    read_outcome,
    read_receipt,
    read_shipment,
    read_values,
)
from inventory.errors import NotFound
from inventory.queries.supply_access import (
    get_receipt,
    get_shipment,
    require_may_buy,
    require_may_send,
    require_may_unload,
    visible_credits,
    visible_held_lines,
    visible_receipts,
    visible_shipments,
)
from inventory.services.receiving.outcomes import decide_held
from inventory.services.receiving.receipts import receive_delivery
from inventory.services.shipments.arriving import name_difference, receive_shipment
from inventory.services.shipments.sending import send_shipment

BY_RECORDING = Order("pk", is_number=True)


class Receipts(ListDoor):
    """Receipts in the order in which they were recorded."""

    order = BY_RECORDING
    filters = RECEIPT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_receipts(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return receipts_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_receipts",
        parameters=list_parameters(BY_RECORDING, RECEIPT_FILTERS),
        responses={200: OpenApiResponse(page_of("Receipt"))},
    )
    def get(self, request: Request) -> Response:
        """List what suppliers brought, line by line, with what was found and what became of it."""
        return super().get(request)

    @extend_schema(
        operation_id="receive_delivery",
        request={"application/json": of("DeliveryRequest")},
        responses={201: OpenApiResponse(of("Receipt"), description="now or from the first time")},
    )
    def post(self, request: Request) -> Response:
        """Record what came, not what was ordered. What is not as ordered goes into quarantine."""
        values = read_receipt(request.data, self.viewer)
        refuse_ahead(values, now())
        for line in values["lines"]:
            require_may_buy(self.viewer, line.target.place)
        require_may_buy(self.viewer, values["place"])
        receipt = receive_delivery(by=self.actor, **values)
        found = get_receipt(self.viewer, receipt.uuid)
        headers = {"Location": reverse("receipt", kwargs={"id": receipt.uuid})}
        return Response(receipts_json([found], make_writer(self.viewer))[0], status=201, headers=headers)


class OneReceipt(Door):
    """One receipt by its id."""

    @extend_schema(operation_id="get_receipt", responses={200: OpenApiResponse(of("Receipt"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one receipt."""
        receipt = get_receipt(self.viewer, read_uuid(id))
        return Response(receipts_json([receipt], make_writer(self.viewer))[0])


class HeldGoods(ListDoor):
    """Lines that were held back."""

    order = BY_RECORDING
    filters = HELD_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_held_lines(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        found = visible_held_lines(self.viewer).filter(pk__in=[row.pk for row in rows])
        bodies = {line.pk: body for line, body in received_lines(found, make_writer(self.viewer))}
        return [bodies[row.pk] for row in rows]

    @extend_schema(
        operation_id="list_held_goods",
        parameters=list_parameters(BY_RECORDING, HELD_FILTERS),
        responses={200: OpenApiResponse(page_of("ReceivedLine"))},
    )
    def get(self, request: Request) -> Response:
        """List what was held back on receipt, with what has become of it."""
        return super().get(request)


class HeldOutcome(Door):
    """What becomes of one line that was held back."""

    @extend_schema(
        operation_id="decide_held_goods",
        request={"application/json": of("HeldOutcomeRequest")},
        responses={201: OpenApiResponse(of("Receipt"))},
    )
    def post(self, request: Request, id: str, position: str) -> Response:
        """Refuse the goods, send them back, keep them at a price, or match them with an order."""
        head, decision = read_outcome(request.data, self.viewer)
        refuse_ahead(head, now())
        receipt = get_receipt(self.viewer, read_uuid(id))
        require_may_buy(self.viewer, decision.target or receipt.place)
        line = receipt.lines.filter(position=_number(position)).first()
        if line is None:
            raise NotFound("There is no such line of this receipt.")
        decide_held(by=self.actor, received_line=line, decision=decision, **head)
        found = get_receipt(self.viewer, receipt.uuid)
        return Response(receipts_json([found], make_writer(self.viewer))[0], status=201)


class ShipmentDoor(Door):
    """What the doors of shipments share."""

    def answer(self, reference: str, *, status: int = 201) -> Response:
        headers = {"Location": reverse("shipment", kwargs={"reference": reference})}
        found = get_shipment(self.viewer, reference)
        return Response(shipments_json([found])[0], status=status, headers=headers)


class Shipments(ShipmentDoor, ListDoor):
    """Shipments between warehouses."""

    order = BY_RECORDING
    filters = SHIPMENT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_shipments(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return shipments_json(rows)

    @extend_schema(
        operation_id="list_shipments",
        parameters=list_parameters(BY_RECORDING, SHIPMENT_FILTERS),
        responses={200: OpenApiResponse(page_of("Shipment"))},
    )
    def get(self, request: Request) -> Response:
        """List what was sent from one warehouse to another, what arrived and what differs."""
        return super().get(request)

    @extend_schema(
        operation_id="send_shipment",
        request={"application/json": of("ShipmentRequest")},
        responses={201: OpenApiResponse(of("Shipment"), description="now or from the first time")},
    )
    def post(self, request: Request) -> Response:
        """Send goods or whole containers to another warehouse; they are on the way until unloaded."""
        values = read_shipment(request.data, self.viewer)
        refuse_ahead(values, now())
        require_may_send(self.viewer, values["source"])
        return self.answer(send_shipment(by=self.actor, **values).reference)


class OneShipment(ShipmentDoor):
    """One shipment by its reference."""

    @extend_schema(operation_id="get_shipment", responses={200: OpenApiResponse(of("Shipment"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get one shipment."""
        return self.answer(reference, status=200)


class ShipmentArrival(ShipmentDoor):
    """What of a shipment was unloaded."""

    @extend_schema(
        operation_id="receive_shipment",
        request={"application/json": of("ShipmentArrivalRequest")},
        responses={201: OpenApiResponse(of("Shipment"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Record what was unloaded as it was found; a line without amount came as it was sent."""
        values = read_arrival(request.data, self.viewer)
        refuse_ahead(values, now())
        shipment = get_shipment(self.viewer, reference)
        require_may_unload(self.viewer, shipment.target)
        for row in values["unloaded"]:
            require_may_unload(self.viewer, row.place or shipment.target)
        receive_shipment(by=self.actor, shipment=shipment, **values)
        return self.answer(reference)


class ShipmentDifference(ShipmentDoor):
    """Why a line did not arrive as it was sent."""

    @extend_schema(
        operation_id="name_shipment_difference",
        request={"application/json": of("ShipmentDifferenceRequest")},
        responses={201: OpenApiResponse(of("Shipment"))},
    )
    def post(self, request: Request, reference: str) -> Response:
        """Name a difference; the goods follow what is said."""
        values = read_values(DIFFERENCE, request.data, self.viewer)
        refuse_ahead(values, now())
        shipment = get_shipment(self.viewer, reference)
        require_may_unload(self.viewer, shipment.target)
        line = shipment.lines.filter(position=values.pop("position")).first()
        if line is None:
            raise NotFound("There is no such line of this shipment.")
        name_difference(by=self.actor, line=line, **values)
        return self.answer(reference)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0


class ExpectedCredits(ListDoor):
    """Credits for goods that were sent back."""

    order = BY_RECORDING
    filters = CREDIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_credits(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [credit_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_expected_credits",
        parameters=list_parameters(BY_RECORDING, CREDIT_FILTERS),
        responses={200: OpenApiResponse(page_of("ExpectedCredit"))},
    )
    def get(self, request: Request) -> Response:
        """List what suppliers owe for goods sent back, and what they have credited."""
        return super().get(request)


class SupplierCredit(Door):
    """What came of one of them."""

    post = act_method(NOTE_CREDIT)
