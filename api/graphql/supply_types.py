"""Orders, receipts, shipments and counts as GraphQL types, made of the shapes that REST publishes.

A page holds the same bodies that REST lists, under the same cursor; what belongs to the rows is read for the
page as a whole.
"""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import graphene
from django.db.models import QuerySet

from api.graphql.asking import Asking, asking
from api.graphql.paging import LARGEST_SIZE, USUAL_SIZE, check_size, filter_arguments
from api.graphql.report_types import make_type
from api.wire import filters
from api.wire.count_answers import count_plan_json, count_sheets_json
from api.wire.filters import Filter, read_filters
from api.wire.pages import Order, take_page
from api.wire.shipment_answers import shipments_json
from api.wire.supply_answers import (
    credit_json,
    orders_json,
    receipts_json,
    received_lines,
    supplier_json,
    terms_json,
)
from inventory.errors import BadInput, Fault
from inventory.queries import supply_access as access
from inventory.queries.access import Viewer

BY_KEY = Order("pk", is_number=True)
Rows = Callable[[Viewer], QuerySet[Any]]
Write = Callable[[list[Any], Asking], list[Any]]


@cache
def _page_type(name: str) -> Any:
    fields = {
        "results": graphene.List(graphene.NonNull(make_type(name)), required=True),
        "next_cursor": graphene.String(description="of the next page; null on the last"),
        "__doc__": f"Some rows of {name}.",
    }
    return type(f"{name}Page", (graphene.ObjectType,), fields)


def paged_field(
    name: str, rows: Rows, write: Write, known: Mapping[str, Filter], order: Order = BY_KEY
) -> graphene.Field:
    """A field of a query that answers a page of a noun, as REST lists it."""

    def resolve(_root: Any, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        asked = asking(info)
        faults: list[Fault] = []
        texts = {name: value for name, value in given.items() if value is not None}
        condition = read_filters(texts, known, faults, viewer=asked.viewer)
        if faults:
            raise BadInput.of(faults)
        found = rows(asked.viewer).filter(condition)
        page = take_page(found, order=order, size=check_size(first), cursor=after)
        return {"results": write(page.rows, asked), "next_cursor": page.next_cursor}

    return graphene.Field(
        graphene.NonNull(_page_type(name)),
        first=graphene.Int(default_value=USUAL_SIZE, description=f"rows on a page, at most {LARGEST_SIZE}"),
        after=graphene.String(description="`nextCursor` of the page before"),
        resolver=resolve,
        **filter_arguments(known),
    )


def _held(rows: list[Any], asked: Asking) -> list[Any]:
    lines = access.visible_held_lines(asked.viewer).filter(pk__in=[row.pk for row in rows])
    bodies = {line.pk: body for line, body in received_lines(lines, asked.writer)}
    return [bodies[row.pk] for row in rows]


class SupplyQuery(graphene.ObjectType):
    """What is bought, came, is on the way and is counted."""

    supply_terms = paged_field(
        "SupplyTerms",
        access.visible_terms,
        lambda rows, asked: terms_json(rows, asked.writer),
        filters.TERMS_FILTERS,
    )
    suppliers = paged_field(
        "Supplier",
        access.visible_suppliers,
        lambda rows, asked: [supplier_json(row, asked.writer) for row in rows],
        {},
    )
    expected_credits = paged_field(
        "ExpectedCredit",
        access.visible_credits,
        lambda rows, asked: [credit_json(row, asked.writer) for row in rows],
        filters.CREDIT_FILTERS,
    )
    orders = paged_field(
        "Order",
        access.visible_orders,
        lambda rows, asked: orders_json(rows, asked.writer),
        filters.ORDER_FILTERS,
    )
    receipts = paged_field(
        "Receipt",
        access.visible_receipts,
        lambda rows, asked: receipts_json(rows, asked.writer),
        filters.RECEIPT_FILTERS,
    )
    held_goods = paged_field("ReceivedLine", access.visible_held_lines, _held, filters.HELD_FILTERS)
    shipments = paged_field(
        "Shipment",
        access.visible_shipments,
        lambda rows, _asked: shipments_json(rows),
        filters.SHIPMENT_FILTERS,
    )
    count_plans = paged_field(
        "CountPlan",
        lambda viewer: access.visible_count_plans(viewer).prefetch_related("rules"),
        lambda rows, asked: [count_plan_json(row, asked.writer) for row in rows],
        {},
    )
    count_sheets = paged_field(
        "CountSheet",
        access.visible_count_sheets,
        lambda rows, _asked: count_sheets_json(rows),
        filters.COUNT_SHEET_FILTERS,
    )
