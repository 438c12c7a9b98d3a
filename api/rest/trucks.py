"""Trucks: everything moved to another vehicle, hand-overs and their answers, purchases, whom to chase."""

from typing import Any

from django.db.models import QuerySet
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.filters import HAND_OVER_FILTERS
from api.wire.input_fields import read_day, read_uuid
from api.wire.pages import Order
from api.wire.report_answers import hand_over_json, purchase_json, unconfirmed_truck_json
from api.wire.schemas import listing, of, page_of, shape
from api.wire.truck_requests import (
    ANSWER,
    read_hand_over,
    read_purchase,
    read_record,
    read_vehicle_move,
)
from inventory.errors import NotFound
from inventory.models import Entry
from inventory.queries.access import require_may_post
from jobs.queries.access import get_visible_crew_day, require_may_report
from jobs.queries.truck_stock import find_day_of_vehicle, list_unconfirmed_trucks, visible_hand_overs
from jobs.services.trucks import answer_hand_over, buy_at_counter, hand_over, move_all_to_vehicle

BY_RECORDING = Order("pk", is_number=True)


class HandOvers(ListDoor):
    """Hand-overs from and to the trucks that the asker sees into."""

    order = BY_RECORDING
    filters = HAND_OVER_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_hand_overs(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [hand_over_json(row) for row in rows]

    @extend_schema(
        operation_id="list_hand_overs",
        parameters=list_parameters(BY_RECORDING, HAND_OVER_FILTERS),
        responses={200: OpenApiResponse(page_of("HandOver"))},
    )
    def get(self, request: Request) -> Response:
        """List hand-overs; with `is_confirmed=false` those that were disputed."""
        return super().get(request)

    @extend_schema(
        operation_id="hand_over",
        request={"application/json": of("HandOverRequest")},
        responses={201: OpenApiResponse(of("HandOver"))},
    )
    def post(self, request: Request) -> Response:
        """Hand goods over to another truck. They stand unconfirmed until its crew answers."""
        values = read_hand_over(request.data, viewer=self.viewer)
        refuse_ahead(values, now())
        require_may_post(self.viewer, Entry.Kind.TRANSFER, [(values["source"], values["target"])])
        return Response(hand_over_json(hand_over(by=self.actor, **values)), status=201)


class HandOverAnswer(Door):
    """The receiver's word on one hand-over."""

    @extend_schema(
        operation_id="answer_hand_over",
        request={"application/json": of("HandOverAnswer")},
        responses={200: OpenApiResponse(of("HandOver"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Confirm or dispute what was handed over; only whoever answers for the receiving truck may."""
        uuid = read_uuid(id)
        found = visible_hand_overs(self.viewer).filter(uuid=uuid).first() if uuid is not None else None
        if found is None:
            raise NotFound("There is no hand-over of that id.")
        values = read_record(ANSWER, request.data)
        require_may_post(self.viewer, Entry.Kind.TRANSFER, [(None, found.target)])
        answered = answer_hand_over(id=found.uuid, by=self.actor, **values)
        return Response(hand_over_json(answered))


class Purchases(Door):
    """Purchases at a counter."""

    @extend_schema(
        operation_id="buy_at_counter",
        request={"application/json": of("PurchaseRequest")},
        responses={201: OpenApiResponse(of("CounterPurchase"))},
    )
    def post(self, request: Request) -> Response:
        """Take goods bought at a counter onto a truck, with the number of the ticket."""
        values = read_purchase(request.data, viewer=self.viewer)
        refuse_ahead(values, now())
        require_may_report(self.viewer)
        require_may_post(self.viewer, Entry.Kind.REPORT, [(None, values["vehicle"])])
        day = find_day_of_vehicle(values["vehicle"], values["occurred_at"].date())
        bought = buy_at_counter(by=self.actor, crew_day=day, **values)
        return Response(purchase_json(bought), status=201)


class VehicleMove(Door):
    """Everything on a crew's truck onto another vehicle."""

    @extend_schema(
        operation_id="move_all_to_vehicle",
        request={"application/json": of("VehicleMoveRequest")},
        responses={200: OpenApiResponse(of("CrewDayVehicle"))},
    )
    def post(self, request: Request, crew: str, date: str) -> Response:
        """Move all to another vehicle, with which the crew's day goes on."""
        day = read_day(date)
        if day is None:
            raise NotFound("That is not a day; write it like 2026-03-31.")
        require_may_report(self.viewer)
        get_visible_crew_day(self.viewer, crew_code=crew, date=day)
        values = read_vehicle_move(request.data, viewer=self.viewer)
        refuse_ahead(values, now())
        moved = move_all_to_vehicle(by=self.actor, crew_code=crew, date=day, **values)
        return Response({"crew": crew, "date": date, "vehicle": moved.vehicle.code})


class UnconfirmedTrucks(Door):
    """Trucks whose crew has not reported by the cut-off."""

    @extend_schema(
        operation_id="list_unconfirmed_trucks",
        responses={200: OpenApiResponse(shape(results=listing(of("UnconfirmedTruck"))))},
    )
    def get(self, request: Request) -> Response:
        """List the trucks whose stock is unconfirmed, and whom to chase for a report or a count."""
        rows = list_unconfirmed_trucks(self.viewer)
        return Response({"results": [unconfirmed_truck_json(row) for row in rows]})
