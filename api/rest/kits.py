"""The life of kits: agreed, loaded, out; and what a warehouse gives out on a day."""

import datetime

from django.utils.timezone import now
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.door import Door
from api.wire.entry_requests import refuse_ahead
from api.wire.input_fields import read_day
from api.wire.kit_requests import STATE, read_load
from api.wire.kits import comes_back_body, kits_of_day_body, loaded_kit_body
from api.wire.pull_sheets import pull_sheet_body
from api.wire.schemas import listing, of
from api.wire.truck_requests import read_record
from inventory.errors import NotFound
from inventory.models import Place
from inventory.queries.access import get_place
from jobs.models import CrewDay
from jobs.queries.access import (
    get_visible_crew_day,
    get_visible_job,
    require_may_bring_kit_to,
    require_may_load,
    require_may_print_kits,
    require_sees_all_work,
)
from jobs.queries.come_back import list_goods_to_come_back
from jobs.queries.kits_of_day import get_kits_of_day
from jobs.queries.pull_sheet import get_pull_sheet
from jobs.services.day_life import change_day_state
from jobs.services.kits.loading import load_kit
from jobs.services.kits.printing import print_kits_of_day

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

    @extend_schema(
        operation_id="change_kit_state",
        request={"application/json": of("KitStateRequest")},
        responses={200: OpenApiResponse(of("PullSheet"))},
    )
    def post(self, request: Request, crew: str, date: str) -> Response:
        """Bring a kit to another state: planners agree it, crews and stores load it and send it out.

        An agreed kit is promised what its sheet names. To the state that it is in already is harmless.
        """
        day = find_day(self, crew, date)
        state = read_record(STATE, request.data)["state"]
        require_may_bring_kit_to(self.viewer, day, state)
        change_day_state(crew_code=crew, date=day.date, state=state, by=self.actor, occurred_at=now())
        return Response(pull_sheet_body(get_pull_sheet(crew_code=crew, date=day.date)))


class KitLoads(Door):
    """What was loaded for one crew-day."""

    @extend_schema(
        operation_id="load_kit",
        request={"application/json": of("KitLoadRequest")},
        responses={201: OpenApiResponse(of("LoadedKit"), description="the load, now or from the first time")},
        examples=[LOAD_EXAMPLE],
    )
    def post(self, request: Request, crew: str, date: str) -> Response:
        """Move goods of the day's warehouse onto its truck, container by container, in as many goes.

        What the sheet does not name needs a `reason`. Sending it again under its id is harmless.
        """
        day = find_day(self, crew, date)
        require_may_load(self.viewer, day)
        values = read_load(request.data, day=day)
        refuse_ahead(values, now())
        loaded = load_kit(
            id=values["id"],
            by=self.actor,
            occurred_at=values["occurred_at"],
            crew_code=crew,
            date=day.date,
            containers=values["containers"],
            goods=values["lines"],
            is_complete=values["is_complete"],
            as_report=values["as_report"],
        )
        return Response(loaded_kit_body(loaded), status=201)


class WarehouseKits(Door):
    """The kits of a warehouse's day."""

    @extend_schema(operation_id="get_kits_of_day", responses={200: OpenApiResponse(of("KitsOfDay"))})
    def get(self, request: Request, code: str, date: str) -> Response:
        """Get all kits of a day side by side, one list by bin, and what changed since the last print."""
        require_sees_all_work(self.viewer)
        warehouse, day = find_warehouse(self, code), read_path_day(date)
        return Response(kits_of_day_body(get_kits_of_day(warehouse=warehouse, date=day)))


class WarehouseKitPrints(Door):
    """The printed lists of a warehouse's day."""

    needs_key = True

    @extend_schema(
        operation_id="print_kits_of_day",
        request=None,
        responses={201: OpenApiResponse(of("KitsOfDay"), description="the list, with what it changes")},
    )
    def post(self, request: Request, code: str, date: str) -> Response:
        """Set down that the list is printed as it stands, so that later ones are compared with it."""
        require_sees_all_work(self.viewer)
        warehouse, day = find_warehouse(self, code), read_path_day(date)
        require_may_print_kits(self.viewer, warehouse)
        found = print_kits_of_day(warehouse=warehouse, date=day, by=self.actor, occurred_at=now())
        return Response(kits_of_day_body(found), status=201)


class JobComeBack(Door):
    """What is out for a job."""

    @extend_schema(
        operation_id="list_goods_to_come_back",
        responses={200: OpenApiResponse(listing(of("ComesBack")))},
    )
    def get(self, request: Request, reference: str) -> Response:
        """List what was loaded for a job or furnished for it and must come back where it is cancelled."""
        return Response(comes_back_body(list_goods_to_come_back(get_visible_job(self.viewer, reference))))


def find_day(door: Door, crew: str, text: str) -> CrewDay:
    return get_visible_crew_day(door.viewer, crew_code=crew, date=read_path_day(text))


def read_path_day(text: str) -> datetime.date:
    day = read_day(text)
    if day is None:
        raise NotFound("That is not a day; write it like 2026-03-31.")
    return day


def find_warehouse(door: Door, code: str) -> Place:
    place = get_place(door.viewer, code)
    if place.kind != Place.Kind.WAREHOUSE:
        raise NotFound("There is no warehouse of that code.")
    return place
