"""Tagged pressure fittings: registered, inspected, approved, withdrawn."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire import safety as wire
from api.wire.door import Door
from api.wire.references import resolve
from api.wire.schemas import of, page_of
from api.wire.truck_requests import read_record
from inventory.services.tagged_fittings import (
    approve_fitting_pressure,
    inspect_fitting,
    register_fitting,
    withdraw_fitting,
)
from jobs.queries import safety_access as access
from jobs.services.safety.roles import require_safety


class TaggedFittings(ListDoor):
    """Tagged fittings by tag."""

    needs_key = True
    order = wire.BY_TAG
    filters = wire.FITTING_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_fittings(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.fitting_json(row) for row in rows]

    @extend_schema(
        operation_id="list_tagged_fittings",
        parameters=list_parameters(wire.BY_TAG, wire.FITTING_FILTERS),
        responses={200: OpenApiResponse(page_of("TaggedFitting"))},
    )
    def get(self, request: Request) -> Response:
        """List tagged fittings."""
        return super().get(request)

    @extend_schema(
        operation_id="register_tagged_fitting",
        request={"application/json": of("TaggedFittingRequest")},
        responses={201: OpenApiResponse(of("TaggedFitting"))},
    )
    def post(self, request: Request) -> Response:
        """Put an adapted fitting on record under its tag; the same again gives the one that stands."""
        access.require_may_keep_fittings(self.viewer)
        values = resolve(read_record(wire.FITTING_REQUEST, request.data), viewer=self.viewer)
        return Response(wire.fitting_json(register_fitting(**values)), status=201)


class OneTaggedFitting(Door):
    """One tagged fitting."""

    @extend_schema(operation_id="get_tagged_fitting", responses={200: OpenApiResponse(of("TaggedFitting"))})
    def get(self, request: Request, tag: str) -> Response:
        """Get one tagged fitting."""
        return self.answer(tag)

    def answer(self, tag: str) -> Response:
        return Response(wire.fitting_json(access.get_visible_fitting(self.viewer, tag)))


class FittingInspections(Door):
    """Inspections of one fitting."""

    @extend_schema(
        operation_id="inspect_tagged_fitting",
        request={"application/json": of("FittingInspectionRequest")},
        responses={201: OpenApiResponse(of("FittingInspection"))},
    )
    def post(self, request: Request, tag: str) -> Response:
        """Note an inspection, passed or not. Sending it again under its id is harmless."""
        access.require_may_inspect_fittings(self.viewer)
        found = access.get_visible_fitting(self.viewer, tag)
        values = read_record(wire.INSPECTION, request.data)
        row = inspect_fitting(tag=found.tag, by=self.actor, **values)
        return Response(wire.inspection_json(row), status=201)


class FittingApproval(OneTaggedFitting):
    """The pressure approved for one fitting."""

    @extend_schema(exclude=True)
    def get(self, request: Request, tag: str) -> Response:
        return super().get(request, tag)

    @extend_schema(
        operation_id="approve_fitting_pressure",
        request={"application/json": of("FittingApproval")},
        responses={200: OpenApiResponse(of("TaggedFitting"))},
    )
    def post(self, request: Request, tag: str) -> Response:
        """Note the pressure approved for this piece, by safety."""
        require_safety(self.viewer.role)
        found = access.get_visible_fitting(self.viewer, tag)
        pressure = read_record(wire.FITTING_APPROVAL, request.data)["pressure"]
        approve_fitting_pressure(tag=found.tag, pressure_kpa=wire.to_kpa(pressure), by=self.actor)
        return self.answer(tag)


class Withdrawal(OneTaggedFitting):
    """Taking a fitting out of service."""

    @extend_schema(exclude=True)
    def get(self, request: Request, tag: str) -> Response:
        return super().get(request, tag)

    @extend_schema(
        operation_id="withdraw_tagged_fitting",
        request={"application/json": of("FittingWithdrawal")},
        responses={200: OpenApiResponse(of("TaggedFitting"))},
    )
    def post(self, request: Request, tag: str) -> Response:
        """Take a fitting out of service for good."""
        access.require_may_keep_fittings(self.viewer)
        found = access.get_visible_fitting(self.viewer, tag)
        withdraw_fitting(tag=found.tag, **read_record(wire.FITTING_WITHDRAWAL, request.data))
        return self.answer(tag)
