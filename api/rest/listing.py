"""Lists: filters from the address, one page by cursor or all of them as a stream, the same for every noun."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.db.models import Q, QuerySet
from django.http import StreamingHttpResponse
from drf_spectacular.utils import OpenApiParameter
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.door import Door
from api.wire.filters import Filter, read_filters
from api.wire.pages import Order, Page, take_page
from inventory.errors import BadInput, Fault

USUAL_SIZE, LARGEST_SIZE = 50, 200
LINES_TYPE = "application/x-ndjson"


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


class LinesRenderer(JSONRenderer):
    """A row on each line; refusals are problem details as everywhere."""

    media_type = LINES_TYPE
    format = "lines"


class ListDoor(Door):
    """A list of one noun. A parameter that is not known is refused: a slip would list too much.

    Asked for as lines it is answered whole, page by page as it is read, so that its size costs no memory.
    """

    renderer_classes = [JSONRenderer, LinesRenderer]
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
        if request.accepted_renderer.media_type == LINES_TYPE:
            # It is a response all the same, of which only the framework's class knows less.
            return StreamingHttpResponse(self._lines(request, page), content_type=LINES_TYPE)  # type: ignore[return-value]
        return Response({"results": self.write(page.rows), "next_cursor": page.next_cursor})

    def _lines(self, request: Request, page: Page[Any]) -> Iterator[bytes]:
        """Every row from this page on; each page is read once the one before it has gone out."""
        renderer = JSONRenderer()
        while True:
            for row in self.write(page.rows):
                yield renderer.render(row) + b"\n"
            if page.next_cursor is None:
                return
            page = self.take_page(request, cursor=page.next_cursor)

    def take_page(self, request: Request, *, cursor: str | None = None) -> Page[Any]:
        parameters = request.query_params
        faults: list[Fault] = []
        condition = self._read_filters(parameters, faults)
        size = read_size(parameters.get("limit"), faults)
        order = self._read_order(parameters.get("sort"), faults)
        if faults:
            raise BadInput.of(faults)
        rows = self.rows().filter(condition)
        return take_page(rows, order=order, size=size, cursor=cursor or parameters.get("cursor"))

    def _read_filters(self, parameters: Mapping[str, str], faults: list[Fault]) -> Q:
        own = {"cursor", "limit", "sort"}
        known = ", ".join(["cursor", "limit", "sort", *self.filters])
        for name, text in parameters.items():
            if name not in own and name not in self.filters:
                faults.append(Fault(name[:60], text[:60], f"is not known here; the parameters are {known}"))
        given = {name: text for name, text in parameters.items() if name in self.filters}
        return read_filters(given, self.filters, faults, viewer=self.viewer)

    def _read_order(self, text: str | None, faults: list[Fault]) -> Order:
        order = self.order
        if text is None:
            return order
        if text.removeprefix("-") != order.column or text.startswith("--"):
            choices = f"must be {order.column} or -{order.column}"
            faults.append(Fault("sort", text[:60], choices))
        return Order(order.column, is_downward=text.startswith("-"), is_number=order.is_number)


def read_size(text: str | None, faults: list[Fault]) -> int:
    """How many rows are asked for; a fault is noted and counts as none."""
    if text is None:
        return USUAL_SIZE
    size = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    if not 1 <= size <= LARGEST_SIZE:
        faults.append(Fault("limit", text[:60], f"must be a whole number from 1 to {LARGEST_SIZE}"))
    return size
