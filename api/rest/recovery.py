"""How much comes back, drawn and listed, and who or what begins to differ."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.cost_sheets import PICTURE
from api.rest.listing import ListDoor, list_parameters
from api.wire import recovery as wire
from api.wire.door import Door
from api.wire.pictures.recovery import draw_recovery
from api.wire.pictures.tables import picture_body
from api.wire.schemas import page_of
from jobs.queries import fluid_access as access
from jobs.queries.access import require_sees_all_work
from jobs.queries.recovery_rates import list_rates_by_size


class RecoveryRates(ListDoor):
    """Recovered over injected of groups of spans."""

    order = wire.BY_PK
    filters = wire.RATE_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_rates(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return wire.rates_json(rows)

    @extend_schema(
        operation_id="list_recovery_rates",
        parameters=list_parameters(wire.BY_PK, wire.RATE_FILTERS),
        responses={200: OpenApiResponse(page_of("RecoveryRate"))},
    )
    def get(self, request: Request) -> Response:
        """List rates by cable size, fluid, crew and month with their intervals, and who begins to differ."""
        return super().get(request)


class RecoveryPicture(Door):
    """The rates by cable size, drawn."""

    @extend_schema(operation_id="get_recovery_picture", responses={200: OpenApiResponse(PICTURE)})
    def get(self, request: Request) -> Response:
        """Get the picture of recovery by cable size with intervals, and its table."""
        require_sees_all_work(self.viewer)
        return Response(picture_body(draw_recovery(list_rates_by_size())))


class RecoveryDrifts(ListDoor):
    """Crews and sizes that began to differ."""

    order = wire.BY_PK
    filters = wire.DRIFT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_drifts(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.drift_json(row) for row in rows]

    @extend_schema(
        operation_id="list_recovery_drifts",
        parameters=list_parameters(wire.BY_PK, wire.DRIFT_FILTERS),
        responses={200: OpenApiResponse(page_of("RecoveryDrift"))},
    )
    def get(self, request: Request) -> Response:
        """List readings at which a crew's or a size's recovery left its chart, looked at or not."""
        return super().get(request)


class DriftLook(Door):
    """What somebody found about a drift."""

    post = act_method(wire.LOOK)
