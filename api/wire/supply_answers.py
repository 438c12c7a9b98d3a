"""Orders, receipts, shipments and counts as JSON, with the shapes that are published of them."""

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
    CountPlan,
    CountSheet,
    HeldOutcome,
    Order,
    OrderLine,
    Receipt,
    ReceivedLine,
    Shipment,
    ShipmentDifference,
    ShipmentLine,
    SupplyTerms,
)
from inventory.money import value_of
from inventory.queries.count_due import DueCount
from inventory.queries.lead_times import find_lead_times
from inventory.queries.order_progress import find_progress
from inventory.queries.prices import price_breaks
from inventory.queries.record_accuracy import Accuracy
from inventory.services.counting.sheets import find_standing_of
from inventory.services.shipments.arriving import find_differences
from inventory.units import MILLION

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
    "Shipment": shape(
        id=UUID,
        reference=TEXT,
        source=of("PlaceName"),
        target=of("PlaceName"),
        state=words(Shipment.State),
        sent_at=MOMENT,
        sent_by=of("Named"),
        expected_date=nullable(DAY),
        note=TEXT,
        lines=listing(of("ShipmentLine")),
    ),
    "ShipmentLine": shape(
        position=WHOLE,
        material=nullable(of("Named")),
        owner=of("Named"),
        container=nullable(TEXT),
        sent=nullable(of("Quantity")),
        arrived=nullable(of("Quantity")),
        differs=nullable(of("Quantity")),
        named=listing(of("ShipmentDifference")),
    ),
    "ShipmentDifference": shape(
        id=UUID,
        reason=words(ShipmentDifference.Reason),
        cause=TEXT,
        quantity=of("Quantity"),
        by=of("Named"),
        note=TEXT,
    ),
    "CountPlan": shape(
        place=of("PlaceName"), days_of_use=WHOLE, version=WHOLE, rules=listing(of("CountRule"))
    ),
    "CountRule": shape(
        letter=TEXT,
        upto_share=NUMBER,
        counts_per_year=WHOLE,
        limit_share=NUMBER,
        limit_value=nullable(of("Money")),
    ),
    "DueCount": shape(
        material=of("Named"),
        place=of("PlaceName"),
        owner=of("Named"),
        container=nullable(TEXT),
        count_class=TEXT,
        due_date=nullable(DAY),
        counted_at=nullable(MOMENT),
    ),
    "Accuracy": shape(
        month=DAY,
        counts=WHOLE,
        right=WHOLE,
        share=NUMBER,
        low=NUMBER,
        high=NUMBER,
        difference_value=nullable(of("Money")),
    ),
    "CountSheet": {
        **shape(
            id=UUID,
            reference=TEXT,
            place=of("PlaceName"),
            state=words(CountSheet.State),
            made_at=MOMENT,
            made_by=of("Named"),
            note=TEXT,
            lines=listing(of("CountSheetLine")),
        ),
        "description": "A sheet tells nothing of the book, nor of what was found, until it is posted.",
    },
    "CountSheetLine": shape(
        position=WHOLE,
        place=of("PlaceName"),
        material=of("Named"),
        owner=of("Named"),
        container=nullable(TEXT),
        unit=TEXT,
        count_class=TEXT,
        counts=WHOLE,
        last_counted_by=nullable(of("Named")),
        is_to_be_counted=FLAG,
        found=nullable(of("Quantity")),
        book=nullable(of("Quantity")),
        reason=TEXT,
        entry=nullable(UUID),
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


def orders_json(orders: Sequence[Order], writer: Writer) -> list[Json]:
    lines: dict[int, list[OrderLine]] = {order.pk: [] for order in orders}
    for line in OrderLine.objects.filter(order__in=lines).select_related("material"):
        lines[line.order_id].append(line)
    progress = find_progress([line for rows in lines.values() for line in rows])

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
            "total": writer.money(
                order.order_cost
                + sum(value_of(quantity=row.quantity, unit_cost=row.unit_cost) for row in lines[order.pk])
            ),
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


def shipments_json(shipments: Sequence[Shipment]) -> list[Json]:
    rows = (
        ShipmentLine.objects.filter(shipment__in=[row.pk for row in shipments])
        .select_related("material", "owner", "container")
        .prefetch_related("arrived", "differences__by")
    )
    left = find_differences(list(rows))
    lines: dict[int, list[Json]] = {row.pk: [] for row in shipments}
    for row in rows:
        unit = row.material.stock_unit if row.material else None
        arrived = sum(part.quantity for part in row.arrived.all())

        def amount(value: int, unit: str | None = unit) -> Json | None:
            return quantity_json(value, unit) if unit else None

        lines[row.shipment_id].append(
            {
                "position": row.position,
                "material": named_json(row.material) if row.material else None,
                "owner": named_json(row.owner),
                "container": row.container.label if row.container else None,
                "sent": amount(row.quantity),
                "arrived": amount(arrived),
                "differs": amount(left[row.pk]),
                "named": [
                    {
                        "id": str(part.uuid),
                        "reason": part.reason,
                        "cause": part.cause,
                        "quantity": amount(part.quantity),
                        "by": named_json(part.by),
                        "note": part.note,
                    }
                    for part in row.differences.all()
                ],
            }
        )
    return [
        {
            "id": str(row.uuid),
            "reference": row.reference,
            "source": place_name_json(row.source),
            "target": place_name_json(row.target),
            "state": row.state,
            "sent_at": moment_json(row.sent_at),
            "sent_by": named_json(row.sent_by),
            "expected_date": row.expected_date.isoformat() if row.expected_date else None,
            "note": row.note,
            "lines": lines[row.pk],
        }
        for row in shipments
    ]


def count_plan_json(plan: CountPlan, writer: Writer) -> Json:
    return {
        "place": place_name_json(plan.place),
        "days_of_use": plan.days_of_use,
        "version": plan.version,
        "rules": [
            {
                "letter": rule.letter,
                "upto_share": rule.upto_share / MILLION,
                "counts_per_year": rule.counts_per_year,
                "limit_share": rule.limit_share / MILLION,
                "limit_value": writer.money(rule.limit_value),
            }
            for rule in plan.rules.all()
        ],
    }


def due_count_json(row: DueCount) -> Json:
    holding = row.holding
    return {
        "material": named_json(holding.material),
        "place": place_name_json(holding.place),
        "owner": named_json(holding.owner),
        "container": holding.container.label if holding.container else None,
        "count_class": row.count_class,
        "due_date": row.due_date.isoformat() if row.due_date else None,
        "counted_at": moment_json(holding.counted_at),
    }


def accuracy_json(row: Accuracy, writer: Writer) -> Json:
    return {
        "month": row.month.isoformat(),
        "counts": row.counts,
        "right": row.right,
        "share": row.share,
        "low": row.low,
        "high": row.high,
        "difference_value": writer.money(row.difference_value),
    }


def count_sheets_json(sheets: Sequence[CountSheet]) -> list[Json]:
    """Sheets as counters may see them: what was found and what the book said only once it is posted."""
    standing = find_standing_of(sheets)
    found = []
    for sheet in sheets:
        lines = []
        for line, counts, accepted in standing[sheet.pk]:
            unit, is_posted = line.material.stock_unit, sheet.state == CountSheet.State.POSTED
            shown = accepted if is_posted else None
            lines.append(
                {
                    "position": line.position,
                    "place": place_name_json(line.place),
                    "material": named_json(line.material),
                    "owner": named_json(line.owner),
                    "container": line.container.label if line.container else None,
                    "unit": unit,
                    "count_class": line.count_class,
                    "counts": len(counts),
                    "last_counted_by": named_json(counts[-1].by) if counts else None,
                    "is_to_be_counted": sheet.state == CountSheet.State.OPEN and accepted is None,
                    "found": quantity_json(shown.quantity, unit) if shown else None,
                    "book": quantity_json(shown.book_quantity, unit) if shown else None,
                    "reason": line.reason,
                    "entry": str(line.entry.uuid) if line.entry else None,
                }
            )
        found.append(
            {
                "id": str(sheet.uuid),
                "reference": sheet.reference,
                "place": place_name_json(sheet.place),
                "state": sheet.state,
                "made_at": moment_json(sheet.made_at),
                "made_by": named_json(sheet.made_by),
                "note": sheet.note,
                "lines": lines,
            }
        )
    return found
