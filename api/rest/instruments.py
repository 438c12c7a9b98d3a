"""Scales, meters, dip sticks, gauges and thermometers, and their checks."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.door import Door
from api.wire.instruments import (
    BY_TAG,
    INSTRUMENT_FILTERS,
    check_json,
    instrument_with_checks_json,
    instruments_json,
    kept_json,
    read_check,
    read_instrument,
)
from api.wire.schemas import of, page_of
from api.wire.versions import require_match
from inventory.models import Instrument
from inventory.queries.access import require_may_keep_instruments
from inventory.queries.instruments import find_instrument, get_instrument, with_places
from inventory.services.instruments import record_check, save_instrument

IF_MATCH = OpenApiParameter(
    "If-Match",
    {"type": "string"},
    location=OpenApiParameter.HEADER,
    description="ETag of the instrument as it was seen; for one that is on record already",
)


class Instruments(ListDoor):
    """Instruments by tag."""

    order = BY_TAG
    filters = INSTRUMENT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return with_places(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return instruments_json(rows)

    @extend_schema(
        operation_id="list_instruments",
        parameters=list_parameters(BY_TAG, INSTRUMENT_FILTERS),
        responses={200: OpenApiResponse(page_of("Instrument"))},
    )
    def get(self, request: Request) -> Response:
        """List instruments, each with how far it is trusted today."""
        return super().get(request)


class OneInstrument(Door):
    """One instrument by its tag."""

    @extend_schema(
        operation_id="get_instrument", responses={200: OpenApiResponse(of("InstrumentWithChecks"))}
    )
    def get(self, request: Request, tag: str) -> Response:
        """Get one instrument with its checks, the newest first."""
        return self.answer(get_instrument(self.viewer, tag), status=200)

    @extend_schema(
        operation_id="save_instrument",
        parameters=[IF_MATCH],
        request={"application/json": of("InstrumentRequest")},
        responses={
            200: OpenApiResponse(of("InstrumentWithChecks"), description="as it is now"),
            201: OpenApiResponse(of("InstrumentWithChecks"), description="registered"),
        },
    )
    def put(self, request: Request, tag: str) -> Response:
        """Register an instrument under its tag, or change what is known of it."""
        require_may_keep_instruments(self.viewer)
        standing = find_instrument(self.viewer, tag)
        if standing is not None:
            require_match(request, kept_json(standing))
        values = read_instrument(request.data, viewer=self.viewer)
        saved, is_new = save_instrument(tag=tag, **values)
        return self.answer(saved, status=201 if is_new else 200)

    def answer(self, row: Instrument, *, status: int) -> Response:
        body = instrument_with_checks_json(row)
        return Response(body, status=status, headers={"ETag": body["version"]})


class InstrumentChecks(Door):
    """Checks of one instrument."""

    needs_key = True

    @extend_schema(
        operation_id="record_instrument_check",
        request={"application/json": of("InstrumentCheckRequest")},
        responses={
            200: OpenApiResponse(of("InstrumentCheck"), description="the same check was there"),
            201: OpenApiResponse(of("InstrumentCheck"), description="written down"),
        },
    )
    def post(self, request: Request, tag: str) -> Response:
        """Write a check down; an instrument is checked once a day, and the same check again is harmless."""
        require_may_keep_instruments(self.viewer)
        found = get_instrument(self.viewer, tag)
        check, is_new = record_check(instrument=found, by=self.actor, **read_check(request.data))
        return Response(check_json(check), status=201 if is_new else 200)
