"""Stock as the accounts see it: on any day, and from one day to another."""

from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.accounting import DAY, AccountsDoor
from api.wire import accounting_answers as answers
from api.wire.door import Door
from api.wire.schemas import listing, of, shape
from inventory.queries.access import get_place
from inventory.queries.account_balances import tie_accounts
from inventory.queries.holdings import list_bins
from inventory.queries.stock_accounts import list_stock_ages, list_stock_at, roll_forward

PLACE = OpenApiParameter("place", {"type": "string"}, description="code of a place, its bins with it")


class StockAt(AccountsDoor):
    """Stock on the evening of any day."""

    @extend_schema(
        operation_id="list_stock_at",
        parameters=[
            OpenApiParameter("date", DAY, required=True),
            PLACE,
        ],
        responses={200: OpenApiResponse(shape(results=listing(of("StockRow"))))},
    )
    def get(self, request: Request) -> Response:
        """List what lay where on a day, by lot and owner, with its value and age."""
        rows = list_stock_at(day=self.day(request, "date"), places=_places(self, request))
        return Response({"results": [answers.stock_row_json(row, self.currency) for row in rows]})


class StockAges(AccountsDoor):
    """How old stock was on the evening of any day."""

    @extend_schema(
        operation_id="list_stock_ages",
        parameters=[OpenApiParameter("date", DAY, required=True)],
        responses={200: OpenApiResponse(shape(results=listing(of("StockAge"))))},
    )
    def get(self, request: Request) -> Response:
        """List how much of each material of our stock was how old: what is left is taken to be the newest."""
        rows = list_stock_ages(day=self.day(request, "date"))
        return Response({"results": [answers.stock_age_json(row) for row in rows]})


class RollForward(AccountsDoor):
    """Stock from one day to another."""

    @extend_schema(
        operation_id="get_roll_forward",
        parameters=[
            OpenApiParameter("first_date", DAY),
            OpenApiParameter("last_date", DAY, required=True),
            PLACE,
        ],
        responses={200: OpenApiResponse(shape(results=listing(of("RolledForward"))))},
    )
    def get(self, request: Request) -> Response:
        """Get opening stock, what came and went by word, and closing stock, by material."""
        rows = roll_forward(
            first_date=self.day(request, "first_date", is_needed=False),
            last_date=self.day(request, "last_date"),
            places=_places(self, request),
        )
        return Response({"results": [answers.rolled_json(row, self.currency) for row in rows]})


class AccountTies(AccountsDoor):
    """Accounts as the book has them, beside what went out."""

    @extend_schema(
        operation_id="list_account_ties",
        parameters=[OpenApiParameter("until", DAY, required=True)],
        responses={200: OpenApiResponse(of("AccountTies"))},
    )
    def get(self, request: Request) -> Response:
        """List each account's balance, what batches up to the day brought it, and what is to go out.

        Beside them stands what the roll-forward closes with.
        """
        found = tie_accounts(booked_until=self.day(request, "until"))
        return Response(answers.ties_json(found, self.currency))


def _places(door: Door, request: Request) -> list[int] | None:
    code = request.query_params.get("place")
    return list_bins(get_place(door.viewer, code)) if code else None
