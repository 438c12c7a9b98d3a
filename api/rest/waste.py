"""Waste and its manifests; vessels with a deposit."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.rest.listing import ListDoor, list_parameters
from api.wire import deposits, waste
from api.wire.answers import make_writer
from api.wire.door import Door
from api.wire.schemas import listing, of, page_of, shape
from inventory.queries.recovered_fluid import list_deposit_balances
from jobs.queries import fluid_access as access


class WasteDrums(Door):
    """Vessels that gather waste."""

    needs_key = True

    @extend_schema(
        operation_id="list_waste_drums",
        responses={200: OpenApiResponse(shape(results=listing(of("WasteDrum"))))},
    )
    def get(self, request: Request) -> Response:
        """List vessels that gather waste, the most pressing first; those without an approved limit lead."""
        return Response({"results": waste.waste_due_json(self.viewer)})

    post = act_method(waste.START)


class WasteManifests(ListDoor):
    """Manifests."""

    order = waste.BY_PK
    filters = waste.MANIFEST_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.with_goods(access.visible_manifests(self.viewer))

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return waste.manifests_json(rows)

    @extend_schema(
        operation_id="list_waste_manifests",
        parameters=list_parameters(waste.BY_PK, waste.MANIFEST_FILTERS),
        responses={200: OpenApiResponse(page_of("WasteManifest"))},
    )
    def get(self, request: Request) -> Response:
        """List manifests, each with what went under it."""
        return super().get(request)

    post = act_method(waste.HAND_OVER)


class DepositTermsDoor(ListDoor):
    """What suppliers charge for vessels."""

    needs_key = True
    order = deposits.BY_PK
    filters = deposits.TERMS_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_deposit_terms(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [deposits.terms_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_deposit_terms",
        parameters=list_parameters(deposits.BY_PK, deposits.TERMS_FILTERS),
        responses={200: OpenApiResponse(page_of("DepositTerms"))},
    )
    def get(self, request: Request) -> Response:
        """List what suppliers charge for a vessel of a kind."""
        return super().get(request)

    post = act_method(deposits.SET_TERMS)


class Deposits(ListDoor):
    """Deposits, paid back ones among them."""

    needs_key = True
    order = deposits.BY_PK
    filters = deposits.DEPOSIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_deposits(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return deposits.deposits_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_deposits",
        parameters=list_parameters(deposits.BY_PK, deposits.DEPOSIT_FILTERS),
        responses={200: OpenApiResponse(page_of("Deposit"))},
    )
    def get(self, request: Request) -> Response:
        """List deposits, oldest first."""
        return super().get(request)

    post = act_method(deposits.CHARGE)


class DepositBalances(Door):
    """Money that lies with suppliers for vessels."""

    @extend_schema(
        operation_id="list_deposit_balances",
        responses={200: OpenApiResponse(shape(results=listing(of("DepositBalance"))))},
    )
    def get(self, request: Request) -> Response:
        """List by supplier how many vessels are out, what lies there for them, what was not paid back."""
        access.require_sees_money(self.viewer)
        writer = make_writer(self.viewer)
        rows = list_deposit_balances()
        return Response({"results": [deposits.balance_json(row, writer) for row in rows]})


class Empties(ListDoor):
    """Empty vessels whose deposit only waits to be fetched."""

    order = deposits.BY_PK
    filters = deposits.DEPOSIT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return access.visible_empties(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return deposits.deposits_json(rows, make_writer(self.viewer))

    @extend_schema(
        operation_id="list_empties",
        parameters=list_parameters(deposits.BY_PK, deposits.DEPOSIT_FILTERS),
        responses={200: OpenApiResponse(page_of("Deposit"))},
    )
    def get(self, request: Request) -> Response:
        """List open deposits whose vessel holds nothing."""
        return super().get(request)


class EmptiesReturns(Door):
    """Sending empties back."""

    post = act_method(deposits.RETURN)
