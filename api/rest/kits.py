"""The life of kits: agreed, loaded, out; and what a warehouse gives out on a day."""

from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.wire import kit_acts
from api.wire.door import Door
from api.wire.kit_acts import find_warehouse, read_path_day
from api.wire.kits import comes_back_body, kits_of_day_body
from api.wire.schemas import listing, of
from jobs.queries.access import get_visible_job, require_sees_all_work
from jobs.queries.come_back import list_goods_to_come_back
from jobs.queries.kits_of_day import get_kits_of_day

LOAD_EXAMPLE = OpenApiExample(
    "a drum, and another reel than the sheet names",
    request_only=True,
    value={
        "id": "7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01",
        "occurred_at": "2026-03-31T06:40:00-05:00",
        "containers": [
            {"container": "D-1"},
            {"container": "REEL-7", "instead_of": "REEL-4", "reason": "REEL-4 stands behind the tote"},
        ],
        "lines": [
            {"material": "union-.500", "amount": {"value": "2", "unit": "1"}, "place": "main-yard"},
        ],
    },
)


class KitState(Door):
    """The state of one crew-day's kit."""

    post = act_method(kit_acts.CHANGE_STATE)


class KitLoads(Door):
    """What was loaded for one crew-day."""

    post = extend_schema(examples=[LOAD_EXAMPLE])(act_method(kit_acts.LOAD_KIT))


class WarehouseKits(Door):
    """The kits of a warehouse's day."""

    @extend_schema(operation_id="get_kits_of_day", responses={200: OpenApiResponse(of("KitsOfDay"))})
    def get(self, request: Request, warehouse: str, date: str) -> Response:
        """Get all kits of a day side by side, one list by bin, and what changed since the last print."""
        require_sees_all_work(self.viewer)
        place, day = find_warehouse(self.viewer, warehouse), read_path_day(date)
        return Response(kits_of_day_body(get_kits_of_day(warehouse=place, date=day)))


class WarehouseKitPrints(Door):
    """The printed lists of a warehouse's day."""

    needs_key = True

    post = act_method(kit_acts.PRINT)


class JobComeBack(Door):
    """What is out for a job."""

    @extend_schema(
        operation_id="list_goods_to_come_back",
        responses={200: OpenApiResponse(listing(of("ComesBack")))},
    )
    def get(self, request: Request, reference: str) -> Response:
        """List what was loaded for a job or furnished for it and must come back where it is cancelled."""
        return Response(comes_back_body(list_goods_to_come_back(get_visible_job(self.viewer, reference))))
