"""Pages of a list, by a cursor on its unique order, the same for REST and GraphQL.

The cursor holds the last row's place in the order, so that rows that come or go meanwhile neither repeat
nor hide others, and the database seeks instead of counting from the start.
"""

import base64
import binascii
import json
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db.models import Model, QuerySet

from api.wire.input_fields import is_storable
from inventory.errors import BadInput, Fault

Row = TypeVar("Row", bound=Model)
LONGEST_CURSOR = 400
LARGEST_KEY = 2**63 - 1


class BadCursor(BadInput):
    """The cursor was not given out for this list and order."""

    code = "bad_cursor"


@dataclass(frozen=True)
class Order:
    """The unique column by which a list is ordered, upwards or downwards."""

    column: str
    is_downward: bool = False
    is_number: bool = False

    @property
    def name(self) -> str:
        return f"-{self.column}" if self.is_downward else self.column


@dataclass(frozen=True)
class Page(Generic[Row]):
    """Some rows, and whether others follow."""

    rows: list[Row]
    order: Order
    has_more: bool

    @property
    def next_cursor(self) -> str | None:
        return make_cursor(self.rows[-1], self.order) if self.has_more else None


def take_page(rows: QuerySet[Row], *, order: Order, size: int, cursor: str | None) -> Page[Row]:
    """The first `size` rows after the cursor."""
    if cursor:
        comparison = "lt" if order.is_downward else "gt"
        rows = rows.filter(**{f"{order.column}__{comparison}": read_cursor(cursor, order)})
    found = list(rows.order_by(order.name)[: size + 1])
    return Page(found[:size], order, len(found) > size)


def make_cursor(row: Model, order: Order) -> str:
    """Where a row stands in the order."""
    text = json.dumps([order.name, getattr(row, order.column)], separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_cursor(cursor: str, order: Order, *, pointer: str = "cursor") -> Any:
    """The place in the order that a cursor stands for."""
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        found = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
    except (binascii.Error, ValueError, RecursionError):
        found = None
    is_ours = len(cursor) <= LONGEST_CURSOR and isinstance(found, list) and len(found) == 2
    if not is_ours or found[0] != order.name or not _fits(found[1], order):
        message = "was not given out for this list and order; leave it out to begin anew"
        raise BadCursor.of([Fault(pointer, cursor[:60], message)])
    return found[1]


def _fits(value: object, order: Order) -> bool:
    if order.is_number:
        return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LARGEST_KEY
    return isinstance(value, str) and is_storable(value)
