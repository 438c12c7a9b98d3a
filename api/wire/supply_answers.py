"""Suppliers, terms, orders, receipts and credits as JSON, with the shapes that are published of them."""

from collections.abc import Sequence
from typing import Any

from api.wire.amounts import quantity_json
from api.wire.answers import Json, Writer, named_json, place_name_json
from api.wire.moments import moment_json
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    UUID,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
    words,
)
from inventory.models import (
    HeldOutcome,
    Order,
    OrderLine,
    Party,
    Receipt,
    ReceivedLine,
    SupplierTerms,
    SupplyTerms,
)
from inventory.money import value_of
from inventory.queries.lead_times import find_lead_times
from inventory.queries.order_progress import find_progress
from inventory.queries.prices import price_breaks

COMPONENTS: dict[str, Schema] = {
    "SupplyTerms": shape(
        material=of("Named"),
        supplier=of("Named"),
        unit_cost=nullable(of("Money")),
        discount=words(SupplyTerms.Discount),
        breaks=listing(of("PriceBreak")),
        line_cost=nullable(of("Money")),
        pack=of("Quantity"),
        minimum=of("Quantity"),
        lead_time_days=NUMBER,
        lead_time_sd_days=NUMBER,
        learnt_lead_time=of("LearntLeadTime"),
        shelf_life_days=nullable(WHOLE),
    ),
    "Supplier": shape(
        code=TEXT,
        name=TEXT,
        order_cost=nullable(of("Money")),
        least_order_value=nullable(of("Money")),
    ),
    "ExpectedCredit": shape(
        id=UUID,
        supplier=of("Named"),
        material=of("Named"),
        quantity=of("Quantity"),
        sent_back_at=MOMENT,
        expected=nullable(of("Money")),
        credited=nullable(of("Money")),
        credited_at=nullable(MOMENT),
        document=TEXT,
        is_open=FLAG,
    ),
    "PriceBreak": shape(from_quantity=of("Quantity"), unit_cost=nullable(of("Money"))),
    "LearntLeadTime": shape(mean_days=NUMBER, sd_days=NUMBER, deliveries=WHOLE),
    "Order": shape(
        id=UUID,
        reference=TEXT,
        supplier=of("Named"),
        place=of("PlaceName"),
        state=words(Order.State),
        written_at=MOMENT,
        sent_at=nullable(MOMENT),
        promised_date=nullable(DAY),
        order_cost=nullable(of("Money")),
        total=nullable(of("Money")),
        missing_value=nullable(of("Money")),
        note=TEXT,
        version=WHOLE,
        lines=listing(of("OrderLine")),
    ),
    "OrderLine": shape(
        position=WHOLE,
        material=of("Named"),
        quantity=of("Quantity"),
        received=of("Quantity"),
        awaited=of("Quantity"),
        called_off=of("Quantity"),
        unit_cost=nullable(of("Money")),
        cost=nullable(of("Money")),
        why=TEXT,
    ),
    "OrderLineName": shape(order=TEXT, line=WHOLE),
    "Receipt": shape(
        id=UUID,
        supplier=of("Named"),
        place=of("PlaceName"),
        occurred_at=MOMENT,
        by=of("Named"),
        delivery_note=TEXT,
        note=TEXT,
        entry=UUID,
        is_undone=FLAG,
        lines=listing(of("ReceivedLine")),
    ),
    "ReceivedLine": shape(
        receipt=UUID,
        position=WHOLE,
        ordered=nullable(of("OrderLineName")),
        material=of("Named"),
        quantity=of("Quantity"),
        unit_cost=nullable(of("Money")),
        finding=words(ReceivedLine.Finding),
        place=of("PlaceName"),
        container=nullable(TEXT),
        held=of("Quantity"),
        note=TEXT,
        outcomes=listing(of("HeldOutcome")),
    ),
    "HeldOutcome": shape(
        id=UUID,
        outcome=words(HeldOutcome.Outcome),
        quantity=of("Quantity"),
        unit_cost=nullable(of("Money")),
        ordered=nullable(of("OrderLineName")),
        expected_credit=nullable(of("Money")),
        entry=UUID,
        is_undone=FLAG,
        occurred_at=MOMENT,
        by=of("Named"),
        note=TEXT,
    ),
}


def terms_json(rows: Sequence[SupplyTerms], writer: Writer) -> list[Json]:
    learnt = find_lead_times(rows)
    return [
        {
            "material": named_json(row.material),
            "supplier": named_json(row.supplier),
            "unit_cost": writer.money(row.unit_cost),
            "discount": row.discount,
            "breaks": [
                {
                    "from_quantity": quantity_json(part.from_quantity, row.material.stock_unit),
                    "unit_cost": writer.money(part.unit_cost),
                }
                for part in price_breaks(row)
            ],
            "line_cost": writer.money(row.line_cost),
            "pack": quantity_json(row.pack, row.material.stock_unit),
            "minimum": quantity_json(row.minimum, row.material.stock_unit),
            "lead_time_days": row.lead_time_days,
            "lead_time_sd_days": row.lead_time_sd_days,
            "learnt_lead_time": {
                "mean_days": learnt[row.pk].mean_days,
                "sd_days": learnt[row.pk].sd_days,
                "deliveries": learnt[row.pk].deliveries,
            },
            "shelf_life_days": row.shelf_life_days,
        }
        for row in rows
    ]


def supplier_json(party: Party, writer: Writer) -> Json:
    """A supplier with what it asks for an order; nothing where nobody has said."""
    terms = getattr(party, "order_terms", None)
    return {
        "code": party.code,
        "name": party.name,
        "order_cost": writer.money(terms.order_cost if terms else 0),
        "least_order_value": writer.money(terms.least_order_value if terms else 0),
    }


def credit_json(row: HeldOutcome, writer: Writer) -> Json:
    """Goods that were sent back: the credit expected, and what came of it."""
    line, credit = row.received_line, getattr(row, "credit", None)
    return {
        "id": str(row.uuid),
        "supplier": named_json(line.receipt.supplier),
        "material": named_json(line.material),
        "quantity": quantity_json(row.quantity, line.material.stock_unit),
        "sent_back_at": moment_json(row.occurred_at),
        "expected": writer.money(row.expected_credit or 0),
        "credited": writer.money(credit.amount) if credit else None,
        "credited_at": moment_json(credit.occurred_at) if credit else None,
        "document": credit.document if credit else "",
        "is_open": credit is None,
    }


def goods_value(lines: Sequence[OrderLine]) -> int:
    return sum(value_of(quantity=row.quantity, unit_cost=row.unit_cost) for row in lines)


def orders_json(orders: Sequence[Order], writer: Writer) -> list[Json]:
    lines: dict[int, list[OrderLine]] = {order.pk: [] for order in orders}
    for line in OrderLine.objects.filter(order__in=lines).select_related("material"):
        lines[line.order_id].append(line)
    progress = find_progress([line for rows in lines.values() for line in rows])
    least = dict(
        SupplierTerms.objects.filter(supplier__in={order.supplier_id for order in orders}).values_list(
            "supplier", "least_order_value"
        )
    )

    def missing(order: Order) -> int:
        if order.state != Order.State.WRITTEN:
            return 0
        return max(0, least.get(order.supplier_id, 0) - goods_value(lines[order.pk]))

    def line_json(line: OrderLine) -> Json:
        unit, done = line.material.stock_unit, progress[line.pk]
        return {
            "position": line.position,
            "material": named_json(line.material),
            "quantity": quantity_json(line.quantity, unit),
            "received": quantity_json(done.received, unit),
            "awaited": quantity_json(done.awaited, unit),
            "called_off": quantity_json(line.called_off_quantity, unit),
            "unit_cost": writer.money(line.unit_cost),
            "cost": writer.money(value_of(quantity=line.quantity, unit_cost=line.unit_cost)),
            "why": line.why,
        }

    return [
        {
            "id": str(order.uuid),
            "reference": order.reference,
            "supplier": named_json(order.supplier),
            "place": place_name_json(order.place),
            "state": order.state,
            "written_at": moment_json(order.written_at),
            "sent_at": moment_json(order.sent_at),
            "promised_date": order.promised_date.isoformat() if order.promised_date else None,
            "order_cost": writer.money(order.order_cost),
            "total": writer.money(order.order_cost + goods_value(lines[order.pk])),
            "missing_value": writer.money(missing(order)),
            "note": order.note,
            "version": order.version,
            "lines": [line_json(line) for line in lines[order.pk]],
        }
        for order in orders
    ]


def receipts_json(receipts: Sequence[Receipt], writer: Writer) -> list[Json]:
    rows = ReceivedLine.objects.filter(receipt__in=[row.pk for row in receipts])
    lines: dict[int, list[Json]] = {row.pk: [] for row in receipts}
    for line, body in received_lines(rows, writer):
        lines[line.receipt_id].append(body)
    return [
        {
            "id": str(row.uuid),
            "supplier": named_json(row.supplier),
            "place": place_name_json(row.place),
            "occurred_at": moment_json(row.occurred_at),
            "by": named_json(row.by),
            "delivery_note": row.delivery_note,
            "note": row.note,
            "entry": str(row.entry.uuid),
            "is_undone": hasattr(row.entry, "reversed_by"),
            "lines": lines[row.pk],
        }
        for row in receipts
    ]


def received_lines(rows: Any, writer: Writer) -> list[tuple[ReceivedLine, Json]]:
    """Lines of receipts, each with its body."""
    related = ("receipt__entry__reversed_by", "order_line__order", "material", "place", "container")
    found = list(rows.select_related(*related).order_by("receipt", "position"))
    outcomes: dict[int, list[HeldOutcome]] = {row.pk: [] for row in found}
    decided = HeldOutcome.objects.filter(received_line__in=outcomes)
    for outcome in decided.select_related("entry__reversed_by", "order_line__order", "by"):
        outcomes[outcome.received_line_id].append(outcome)
    return [(row, _received_json(row, outcomes[row.pk], writer)) for row in found]


def _received_json(row: ReceivedLine, outcomes: list[HeldOutcome], writer: Writer) -> Json:
    unit = row.material.stock_unit
    is_held = row.finding != ReceivedLine.Finding.SOUND and not hasattr(row.receipt.entry, "reversed_by")
    settled = sum(part.quantity for part in outcomes if not hasattr(part.entry, "reversed_by"))
    return {
        "receipt": str(row.receipt.uuid),
        "position": row.position,
        "ordered": _ordered_json(row.order_line),
        "material": named_json(row.material),
        "quantity": quantity_json(row.quantity, unit),
        "unit_cost": writer.money(row.unit_cost),
        "finding": row.finding,
        "place": place_name_json(row.place),
        "container": row.container.label if row.container else None,
        "held": quantity_json(row.quantity - settled if is_held else 0, unit),
        "note": row.note,
        "outcomes": [outcome_json(part, unit, writer) for part in outcomes],
    }


def outcome_json(row: HeldOutcome, unit: str, writer: Writer) -> Json:
    return {
        "id": str(row.uuid),
        "outcome": row.outcome,
        "quantity": quantity_json(row.quantity, unit),
        "unit_cost": writer.money(row.unit_cost),
        "ordered": _ordered_json(row.order_line),
        "expected_credit": writer.money(row.expected_credit),
        "entry": str(row.entry.uuid),
        "is_undone": hasattr(row.entry, "reversed_by"),
        "occurred_at": moment_json(row.occurred_at),
        "by": named_json(row.by),
        "note": row.note,
    }


def _ordered_json(line: OrderLine | None) -> Json | None:
    return {"order": line.order.reference, "line": line.position} if line is not None else None
