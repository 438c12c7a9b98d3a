"""Goods held back, and lifting that."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import quarantines as wire
from api.wire.door import Door
from api.wire.input_fields import read_uuid
from api.wire.schemas import of, page_of
from jobs.queries import fluid_access as access


class Quarantines(ListDoor):
    """Quarantines, lifted ones among them."""

    order = wire.BY_PK
    filters = wire.FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_quarantines(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return wire.quarantines_json(rows, self.viewer)

    @extend_schema(
        operation_id="list_quarantines",
        parameters=list_parameters(wire.BY_PK, wire.FILTERS),
        responses={200: OpenApiResponse(page_of("Quarantine"))},
    )
    def get(self, request: Request) -> Response:
        """List quarantines that hold something, oldest first."""
        return super().get(request)

    post = act_method(wire.HOLD)


class OneQuarantine(Door):
    """One quarantine."""

    @extend_schema(operation_id="get_quarantine", responses={200: OpenApiResponse(of("QuarantineReach"))})
    def get(self, request: Request, quarantine: str) -> Response:
        """Get all that was poured from what is in doubt, the spans it went into, the kits now short."""
        found = access.get_visible_quarantine(self.viewer, read_uuid(quarantine))
        return Response(wire.quarantine_json(found, self.viewer))


class QuarantineLift(Door):
    """The lifting of a quarantine."""

    post = act_method(wire.LIFT)
