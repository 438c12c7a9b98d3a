"""What is held, and the nouns it is made of: materials, places, containers."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.answers import container_json, holding_json, make_writer, material_json, place_json
from api.wire.door import Door
from api.wire.filters import (
    BY_CODE,
    BY_LABEL,
    BY_NAME,
    CONTAINER_FILTERS,
    HOLDING_FILTERS,
    MATERIAL_FILTERS,
    PLACE_FILTERS,
)
from api.wire.schemas import of, page_of
from inventory.queries.access import (
    get_container,
    get_material,
    get_place,
    visible_containers,
    visible_holdings,
    visible_materials,
    visible_places,
)
from inventory.queries.unit_costs import find_unit_costs

Json = dict[str, Any]


class Holdings(ListDoor):
    """What lies in our places."""

    order = BY_NAME
    filters = HOLDING_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_holdings(self.viewer).select_related("place", "material", "owner", "container")

    def write(self, rows: list[Any]) -> list[Json]:
        writer = make_writer(self.viewer)
        costs = find_unit_costs(rows) if writer.shows_money else {}
        return [holding_json(row, costs, writer) for row in rows]

    @extend_schema(
        operation_id="list_holdings",
        parameters=list_parameters(BY_NAME, HOLDING_FILTERS),
        responses={200: OpenApiResponse(page_of("Holding"))},
    )
    def get(self, request: Request) -> Response:
        """List what lies in stock places: warehouses, bins, vehicles, sites, in transit."""
        return super().get(request)


class Materials(ListDoor):
    """Materials."""

    order = BY_CODE
    filters = MATERIAL_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_materials(self.viewer).select_related("recovered_from")

    def write(self, rows: list[Any]) -> list[Json]:
        writer = make_writer(self.viewer)
        return [material_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_materials",
        parameters=list_parameters(BY_CODE, MATERIAL_FILTERS),
        responses={200: OpenApiResponse(page_of("Material"))},
    )
    def get(self, request: Request) -> Response:
        """List materials by code."""
        return super().get(request)


class OneMaterial(Door):
    """One material by its code."""

    @extend_schema(operation_id="get_material", responses={200: OpenApiResponse(of("Material"))})
    def get(self, request: Request, code: str) -> Response:
        """Get one material."""
        return Response(material_json(get_material(self.viewer, code), make_writer(self.viewer)))


class Places(ListDoor):
    """Places."""

    order = BY_CODE
    filters = PLACE_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_places(self.viewer)

    def write(self, rows: list[Any]) -> list[Json]:
        return [place_json(row, self.viewer) for row in rows]

    @extend_schema(
        operation_id="list_places",
        parameters=list_parameters(BY_CODE, PLACE_FILTERS),
        responses={200: OpenApiResponse(page_of("Place"))},
    )
    def get(self, request: Request) -> Response:
        """List places by code: our own, those of jobs, runs and spans, and those outside."""
        return super().get(request)


class OnePlace(Door):
    """One place by its code."""

    @extend_schema(operation_id="get_place", responses={200: OpenApiResponse(of("Place"))})
    def get(self, request: Request, code: str) -> Response:
        """Get one place."""
        return Response(place_json(get_place(self.viewer, code), self.viewer))


class Containers(ListDoor):
    """Containers."""

    order = BY_LABEL
    filters = CONTAINER_FILTERS

    def rows(self) -> QuerySet[Any]:
        related = ("material", "owner", "place", "filled_from")
        return visible_containers(self.viewer).select_related(*related)

    def write(self, rows: list[Any]) -> list[Json]:
        return [container_json(row) for row in rows]

    @extend_schema(
        operation_id="list_containers",
        parameters=list_parameters(BY_LABEL, CONTAINER_FILTERS),
        responses={200: OpenApiResponse(page_of("Container"))},
    )
    def get(self, request: Request) -> Response:
        """List drums, totes, pails, truck tanks, reels and lots by label."""
        return super().get(request)


class OneContainer(Door):
    """One container by its label."""

    @extend_schema(operation_id="get_container", responses={200: OpenApiResponse(of("Container"))})
    def get(self, request: Request, label: str) -> Response:
        """Get one container."""
        return Response(container_json(get_container(self.viewer, label)))
