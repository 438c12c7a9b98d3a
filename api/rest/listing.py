"""Lists: filters from the address, one page by cursor, the same for every noun."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Model, Q, QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.door import Door
from api.wire.input_fields import read_day
from api.wire.pages import Order, Page, take_page
from inventory.errors import BadInput, Fault

USUAL_SIZE, LARGEST_SIZE = 50, 200
LONGEST_FILTER = 200


@dataclass(frozen=True)
class Filter:
    """One parameter by which a list is narrowed: how its text is read and what it asks of the rows."""

    about: str
    condition: Callable[[Any], Q]
    read: Callable[[str], Any | None] = str
    schema: Mapping[str, Any] | None = None
    complaint: str = "is not understood"


def by_text(column: str, about: str) -> Filter:
    """Rows whose column is this text."""
    return Filter(about, lambda value: Q(**{column: value}), schema={"type": "string", "minLength": 1})


def by_word(column: str, words: list[str], about: str) -> Filter:
    """Rows whose column is one word of a short list."""
    return Filter(
        about,
        lambda value: Q(**{column: value}),
        lambda text: text if text in words else None,
        {"type": "string", "enum": words},
        f"must be one of {', '.join(words)}",
    )


def by_day(about: str, condition: Callable[[date], Q]) -> Filter:
    """Rows by a day of the calendar."""
    schema = {"type": "string", "format": "date"}
    return Filter(about, condition, read_day, schema, "must be a day such as 2026-03-31")


def by_flag(column: str, about: str) -> Filter:
    """Rows by yes or no."""
    words = {"true": True, "false": False}
    return Filter(
        about, lambda value: Q(**{column: value}), words.get, {"type": "boolean"}, "must be true or false"
    )


def list_parameters(order: Order, filters: Mapping[str, Filter]) -> list[OpenApiParameter]:
    """What a list takes in its address, for the published schema."""
    sorts = {"type": "string", "enum": [order.column, f"-{order.column}"], "default": order.name}
    sizes = {"type": "integer", "minimum": 1, "maximum": LARGEST_SIZE, "default": USUAL_SIZE}
    return [
        OpenApiParameter("cursor", {"type": "string"}, description="`next_cursor` of the page before"),
        OpenApiParameter("limit", sizes, description="rows on a page"),
        OpenApiParameter("sort", sorts, description="order, downwards with a minus"),
        *(
            OpenApiParameter(name, dict(filter.schema or {"type": "string"}), description=filter.about)
            for name, filter in filters.items()
        ),
    ]


class ListDoor(Door):
    """A list of one noun. A parameter that is not known is refused: a slip would list too much."""

    order: Order
    filters: Mapping[str, Filter] = {}

    def rows(self) -> QuerySet[Any]:
        """The rows that the asker may see."""
        raise NotImplementedError

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        """A page's rows as JSON."""
        raise NotImplementedError

    def get(self, request: Request) -> Response:
        page = self.take_page(request)
        return Response({"results": self.write(page.rows), "next_cursor": page.next_cursor})

    def take_page(self, request: Request) -> Page[Model]:
        parameters = request.query_params
        faults: list[Fault] = []
        condition = self._read_filters(parameters, faults)
        size = _read_size(parameters.get("limit"), faults)
        order = self._read_order(parameters.get("sort"), faults)
        if faults:
            raise BadInput.of(faults)
        rows = self.rows().filter(condition)
        return take_page(rows, order=order, size=size, cursor=parameters.get("cursor"))

    def _read_filters(self, parameters: Mapping[str, str], faults: list[Fault]) -> Q:
        condition = Q()
        for name, text in parameters.items():
            if name in {"cursor", "limit", "sort"}:
                continue
            if name not in self.filters:
                known = ", ".join(["cursor", "limit", "sort", *self.filters])
                faults.append(Fault(name[:60], text[:60], f"is not known here; the parameters are {known}"))
                continue
            filter = self.filters[name]
            value = filter.read(text) if 0 < len(text) <= LONGEST_FILTER else None
            if value is None:
                faults.append(Fault(name, text[:60], filter.complaint))
            else:
                condition &= filter.condition(value)
        return condition

    def _read_order(self, text: str | None, faults: list[Fault]) -> Order:
        order = self.order
        if text is None:
            return order
        if text.removeprefix("-") != order.column or text.startswith("--"):
            choices = f"must be {order.column} or -{order.column}"
            faults.append(Fault("sort", text[:60], choices))
        return Order(order.column, is_downward=text.startswith("-"), is_number=order.is_number)


def _read_size(text: str | None, faults: list[Fault]) -> int:
    if text is None:
        return USUAL_SIZE
    size = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    if not 1 <= size <= LARGEST_SIZE:
        faults.append(Fault("limit", text[:60], f"must be a whole number from 1 to {LARGEST_SIZE}"))
    return size
