"""Count plans, sheets and how right the book is, as JSON, with the shapes that are published of them."""

from collections.abc import Sequence

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
from inventory.models import CountPlan, CountSheet
from inventory.queries.count_due import DueCount
from inventory.queries.record_accuracy import Accuracy
from inventory.services.counting.sheets import find_standing_of
from inventory.units import MILLION

COMPONENTS: dict[str, Schema] = {
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
