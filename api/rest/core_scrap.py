"""The core that came out: masses, terms, lots, and a job's share of them."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import core_scrap as wire
from api.wire.answers import make_writer
from api.wire.door import Door
from api.wire.schemas import of, page_of
from jobs.models import CoreMass
from jobs.queries import fluid_access as access
from jobs.queries.access import get_visible_job


class CoreMasses(ListDoor):
    """What core weighs by cable size."""

    needs_key = True
    order = wire.BY_PK

    def rows(self) -> QuerySet[Any]:
        return CoreMass.objects.select_related("cable_size")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.mass_json(row) for row in rows]

    @extend_schema(
        operation_id="list_core_masses",
        parameters=list_parameters(wire.BY_PK, {}),
        responses={200: OpenApiResponse(page_of("CoreMass"))},
    )
    def get(self, request: Request) -> Response:
        """List what a metre of core weighs; where nobody weighed it, it is reckoned and says so."""
        return super().get(request)

    post = act_method(wire.SET_MASS)


class ScrapTermsDoor(ListDoor):
    """Whose the core of jobs is."""

    needs_key = True
    order = wire.BY_PK
    filters = wire.TERMS_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_scrap_terms(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.terms_json(row) for row in rows]

    @extend_schema(
        operation_id="list_scrap_terms",
        parameters=list_parameters(wire.BY_PK, wire.TERMS_FILTERS),
        responses={200: OpenApiResponse(page_of("ScrapTerms"))},
    )
    def get(self, request: Request) -> Response:
        """List whose core is by contract; of a job that is not listed nobody has said."""
        return super().get(request)

    post = act_method(wire.SET_TERMS)


class ScrapParts(Door):
    """Gathering core."""

    post = act_method(wire.GATHER)


class ScrapLots(ListDoor):
    """Lots of core."""

    order = wire.BY_LABEL
    filters = wire.LOT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_lots(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return wire.lots_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_scrap_lots",
        parameters=list_parameters(wire.BY_LABEL, wire.LOT_FILTERS),
        responses={200: OpenApiResponse(page_of("ScrapLot"))},
    )
    def get(self, request: Request) -> Response:
        """List lots with what is in them and, once weighed, whose it is."""
        return super().get(request)


class OneScrapLot(Door):
    """One lot."""

    @extend_schema(operation_id="get_scrap_lot", responses={200: OpenApiResponse(of("ScrapLot"))})
    def get(self, request: Request, lot: str) -> Response:
        """Get one lot."""
        found = access.get_visible_lot(self.viewer, lot)
        return Response(wire.lots_json([found], make_writer(self.viewer))[0])


class ScrapWeighing(Door):
    """Weighing a lot."""

    post = act_method(wire.WEIGH)


class ScrapSale(Door):
    """Selling a lot."""

    post = act_method(wire.SELL)


class JobScrapDoor(Door):
    """The core of one job."""

    @extend_schema(operation_id="get_job_scrap", responses={200: OpenApiResponse(of("JobScrap"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get what a job's core should weigh, did weigh and brought."""
        job = get_visible_job(self.viewer, reference)
        return Response(wire.job_scrap_json(job, make_writer(self.viewer)))
