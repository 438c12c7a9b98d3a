"""Recovered fluid: what stands where, tests and their limits, straining, blending, passing, spending."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import fluid_acts as acts
from api.wire import fluid_answers as wire
from api.wire.door import Door
from api.wire.input_fields import read_uuid
from api.wire.schemas import of, page_of
from inventory.errors import NotFound
from inventory.models import FluidPolicy
from jobs.queries import fluid_access as access


class RecoveredFluid(ListDoor):
    """Recovered fluid in vessels."""

    order = wire.BY_KEY
    filters = wire.RECOVERED_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_recovered_fluid(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return wire.recovered_json(rows)

    @extend_schema(
        operation_id="list_recovered_fluid",
        parameters=list_parameters(wire.BY_KEY, wire.RECOVERED_FILTERS),
        responses={200: OpenApiResponse(page_of("RecoveredFluid"))},
    )
    def get(self, request: Request) -> Response:
        """List recovered fluid vessel by vessel: its state, how it came back, how often it was in."""
        return super().get(request)


class FluidTests(ListDoor):
    """Tests of recovered fluid."""

    order = wire.BY_PK
    filters = wire.TEST_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_fluid_tests(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.test_json(row) for row in rows]

    @extend_schema(
        operation_id="list_fluid_tests",
        parameters=list_parameters(wire.BY_PK, wire.TEST_FILTERS),
        responses={200: OpenApiResponse(page_of("FluidTest"))},
    )
    def get(self, request: Request) -> Response:
        """List tests, each value beside the limit that held then."""
        return super().get(request)

    post = act_method(acts.RECORD_TEST)


class OneFluidTest(Door):
    """One test."""

    @extend_schema(operation_id="get_fluid_test", responses={200: OpenApiResponse(of("FluidTest"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one test."""
        uuid = read_uuid(id)
        if uuid is None:
            raise NotFound("There is no fluid test of that id.")
        return Response(wire.test_json(access.get_visible_test(self.viewer, uuid)))


class FluidLimits(ListDoor):
    """Limits of what is measured in recovered fluid."""

    needs_key = True
    order = wire.BY_PK
    filters = wire.LIMIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_fluid_limits()

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.limit_json(row) for row in rows]

    @extend_schema(
        operation_id="list_fluid_limits",
        parameters=list_parameters(wire.BY_PK, wire.LIMIT_FILTERS),
        responses={200: OpenApiResponse(page_of("FluidLimit"))},
    )
    def get(self, request: Request) -> Response:
        """List limits, withdrawn ones among them. Where a fluid has none that stands, no test passes it."""
        return super().get(request)

    post = act_method(acts.SET_LIMIT)


class FluidLimitWithdrawal(Door):
    """The withdrawal of a limit."""

    post = act_method(acts.WITHDRAW_LIMIT)


class FluidPolicies(ListDoor):
    """What may be used again untested."""

    needs_key = True
    order = wire.BY_PK
    filters = wire.LIMIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return FluidPolicy.objects.select_related("material")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.policy_json(row) for row in rows]

    @extend_schema(
        operation_id="list_fluid_policies",
        parameters=list_parameters(wire.BY_PK, wire.LIMIT_FILTERS),
        responses={200: OpenApiResponse(page_of("FluidPolicy"))},
    )
    def get(self, request: Request) -> Response:
        """List what the company lets be used again untested. A fluid without a row may not be."""
        return super().get(request)

    post = act_method(acts.SET_POLICY)


class FluidReleases(ListDoor):
    """Fluid that was passed as fit for use."""

    order = wire.BY_PK
    filters = wire.RELEASE_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_fluid_releases(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [wire.release_json(row) for row in rows]

    @extend_schema(
        operation_id="list_fluid_releases",
        parameters=list_parameters(wire.BY_PK, wire.RELEASE_FILTERS),
        responses={200: OpenApiResponse(page_of("FluidRelease"))},
    )
    def get(self, request: Request) -> Response:
        """List passes as fit for use, those that are over among them."""
        return super().get(request)

    post = act_method(acts.RELEASE)


class Strainings(Door):
    """Straining."""

    post = act_method(acts.STRAIN)


class Blendings(Door):
    """Blending by recipe."""

    post = act_method(acts.BLEND)


class SpentFluid(Door):
    """Declaring fluid spent."""

    post = act_method(acts.SPEND)
