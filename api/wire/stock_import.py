"""What taking a stock sheet did, as JSON."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from inventory.services.stock_sheet import CountDifference, Opening, StockImport


def stock_import_json(answer: StockImport, *, currency: str) -> dict[str, Any]:
    """The whole answer."""
    return {
        "id": str(answer.id),
        "file": answer.file,
        "document": answer.document,
        "occurred_at": answer.occurred_at.isoformat(),
        "is_dry_run": answer.is_dry_run,
        "is_repeat": answer.is_repeat,
        "rows": answer.rows,
        "introduced": answer.introduced,
        "openings": [_opening_json(row, currency) for row in answer.openings],
        "equal": answer.equal,
        "differences": [_difference_json(row, currency) for row in answer.differences],
        "moved": [
            {
                "container": row.container.label,
                "from": row.source_place.code if row.source_place else None,
                "to": row.target_place.code if row.target_place else None,
            }
            for row in answer.moved
        ],
        "not_on_sheet": answer.not_on_sheet,
        "ignored_columns": list(answer.ignored_headers),
        "doubtful_numbers": list(answer.doubtful),
    }


def _opening_json(row: Opening, currency: str) -> dict[str, Any]:
    return {
        "material": row.material.code,
        "owner": row.owner.code,
        "holdings": row.holdings,
        "quantity": quantity_json(row.quantity, row.material.stock_unit),
        "value": money_json(row.value, currency),
    }


def _difference_json(row: CountDifference, currency: str) -> dict[str, Any]:
    unit = row.material.stock_unit
    return {
        "place": row.place.code,
        "container": row.container.label if row.container else None,
        "material": row.material.code,
        "owner": row.owner.code,
        "counted": quantity_json(row.counted_quantity, unit),
        "book": quantity_json(row.book_quantity, unit),
        "difference": quantity_json(row.quantity, unit),
        "value": money_json(row.value, currency),
        "is_posted": row.is_posted,
        "is_large": row.is_large,
    }
