"""Relay connections over the same pages that REST gives."""

from collections.abc import Mapping
from typing import Any

import graphene
from django.db.models import QuerySet
from graphene import relay

from api.graphql.batches import load_together
from api.wire.filters import Filter, read_filters
from api.wire.pages import Order, Page, make_cursor, take_page
from inventory.errors import BadInput, Fault
from inventory.queries.access import Viewer

USUAL_SIZE, LARGEST_SIZE = 20, 100


def connection_field(connection: Any, **arguments: Any) -> graphene.Field:
    """A field that pages."""
    return graphene.Field(
        graphene.NonNull(connection),
        first=graphene.Int(default_value=USUAL_SIZE, description=f"rows on a page, at most {LARGEST_SIZE}"),
        after=graphene.String(description="`endCursor` of the page before"),
        **arguments,
    )


def filter_arguments(filters: Mapping[str, Filter]) -> dict[str, Any]:
    """The filters of a noun as arguments."""
    found: dict[str, Any] = {}
    for name, filter in filters.items():
        is_flag = (filter.schema or {}).get("type") == "boolean"
        kind = graphene.Boolean if is_flag else graphene.String
        found[name] = kind(description=filter.about)
    return found


def page_of(
    connection: Any,
    rows: QuerySet[Any],
    *,
    order: Order,
    filters: Mapping[str, Filter],
    first: int,
    after: str | None,
    given: Mapping[str, Any],
    viewer: Viewer,
) -> Any:
    """The page of a noun at the top of a query."""
    size, faults = check_size(first), []  # type: tuple[int, list[Fault]]
    texts = {
        name: str(value).lower() if isinstance(value, bool) else value
        for name, value in given.items()
        if value is not None
    }
    condition = read_filters(texts, filters, faults, viewer=viewer)
    if faults:
        raise BadInput.of(faults)
    page: Page[Any] = take_page(rows.filter(condition), order=order, size=size, cursor=after)
    load_together(page.rows)
    return connect(connection, page)


def connect(connection: Any, page: Page[Any]) -> Any:
    """A page as a connection."""
    edges = [connection.Edge(node=row, cursor=make_cursor(row, page.order)) for row in page.rows]
    return connection(
        edges=edges,
        page_info=relay.PageInfo(
            has_next_page=page.has_more,
            has_previous_page=False,
            start_cursor=edges[0].cursor if edges else None,
            end_cursor=edges[-1].cursor if edges else None,
        ),
    )


def check_size(first: int | None) -> int:
    if first is None or not 1 <= first <= LARGEST_SIZE:
        raise BadInput.of([Fault("first", str(first), f"must be a whole number from 1 to {LARGEST_SIZE}")])
    return first
