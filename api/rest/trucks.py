"""Trucks: everything moved to another vehicle, hand-overs and their answers, purchases, whom to chase."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import truck_acts
from api.wire.door import Door
from api.wire.filters import HAND_OVER_FILTERS
from api.wire.pages import Order
from api.wire.schemas import listing, of, page_of, shape
from api.wire.truck_answers import hand_over_json, unconfirmed_truck_json
from jobs.queries.truck_stock import list_unconfirmed_trucks, visible_hand_overs

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

    post = act_method(truck_acts.GIVE)


class HandOverAnswer(Door):
    """The receiver's word on one hand-over."""

    post = act_method(truck_acts.REPLY)


class Purchases(Door):
    """Purchases at a counter."""

    post = act_method(truck_acts.BUY)


class VehicleMove(Door):
    """Everything on a crew's truck onto another vehicle."""

    post = act_method(truck_acts.MOVE)


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
