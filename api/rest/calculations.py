"""Stateless calculations, the same as `manage.py calculate`."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.calculations import Calculation, calculate, get_calculation, list_calculations
from api.wire.door import Door
from api.wire.schemas import listing, of, shape


class Calculations(Door):
    """All calculations."""

    @extend_schema(
        operation_id="list_calculations",
        responses={200: OpenApiResponse(shape(results=listing(of("CalculationName"))))},
    )
    def get(self, request: Request) -> Response:
        """List the calculations by name."""
        found = [{"name": row.name, "summary": row.summary} for row in list_calculations()]
        return Response({"results": found})


class OneCalculation(Door):
    """One calculation: what it takes and gives, and its answer."""

    reading_methods = frozenset({"POST"})

    @extend_schema(operation_id="get_calculation", responses={200: OpenApiResponse(of("Calculation"))})
    def get(self, request: Request, name: str) -> Response:
        """Get a calculation's schemas and an example request."""
        return Response(_calculation_json(get_calculation(name)))

    @extend_schema(
        operation_id="calculate",
        request={"application/json": {"type": "object"}},
        responses={200: OpenApiResponse({"type": "object"}, description="as its answer schema says")},
    )
    def post(self, request: Request, name: str) -> Response:
        """Calculate. Stores nothing and reads nothing."""
        return Response(calculate(name, request.data))


def _calculation_json(calculation: Calculation) -> dict[str, Any]:
    return {
        "name": calculation.name,
        "summary": calculation.summary,
        "request_schema": calculation.request_schema(),
        "answer_schema": calculation.answer_schema(),
        "example": calculation.example,
    }
