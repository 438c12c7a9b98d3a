"""Kits in JSON's own types: one loaded, and all of a warehouse's day."""

from typing import Any

from api.wire.amounts import quantity_json
from api.wire.pull_sheets import pull_sheet_body
from api.wire.schemas import DAY, MOMENT, TEXT, UUID, WHOLE, listing, nullable, of, shape
from jobs.queries.check_lists import CheckLists
from jobs.queries.come_back import ComesBack
from jobs.queries.kits_of_day import BinLine, KitsOfDay
from jobs.services.kits.loading import LoadedKit


def loaded_kit_body(loaded: LoadedKit) -> dict[str, Any]:
    """The entry that a load made, and the sheet as it stands after it."""
    return {"entry": str(loaded.load.entry.uuid), "pull_sheet": pull_sheet_body(loaded.sheet)}


def kits_of_day_body(kits: KitsOfDay) -> dict[str, Any]:
    """The sheets side by side, one list by bin, and what changed since the last print."""
    return {
        "warehouse": {"code": kits.warehouse_code, "name": kits.warehouse},
        "date": kits.date.isoformat(),
        "sheets": [pull_sheet_body(sheet) for sheet in kits.sheets],
        "lines": [_bin_line(line, line.crews) for line in kits.lines],
        "last_print": (
            {"number": kits.printed_number, "printed_at": kits.printed_at.isoformat()}
            if kits.printed_at is not None
            else None
        ),
        "changes": [
            {
                "kind": change.kind,
                "line": _bin_line(change.line, change.now),
                "before": _crews(change.line, change.before),
            }
            for change in kits.changes
        ],
    }


def check_lists_body(lists: CheckLists) -> dict[str, Any]:
    """The company's lists in the form in which they are sent back."""
    return {
        "gear": [
            {"name": item.name, "occasion": item.occasion, "detail": item.detail} for item in lists.gear
        ],
        "protective": [
            {
                "name": item.name,
                "occasion": item.occasion,
                "material": item.material.code if item.material is not None else None,
                "pieces": item.pieces,
            }
            for item in lists.protective
        ],
    }


def comes_back_body(rows: list[ComesBack]) -> list[dict[str, Any]]:
    """What must come back, by place."""
    return [
        {
            "place": {"code": row.place_code, "name": row.place},
            "container": row.container or None,
            "material": {"code": row.material_code, "name": row.material},
            "owner": row.owner,
            "quantity": quantity_json(row.quantity, row.unit),
            "why": row.why,
        }
        for row in rows
    ]


def _bin_line(line: BinLine, crews: dict[str, int]) -> dict[str, Any]:
    return {
        "place": {"code": line.place_code, "name": line.place},
        "container": line.container or None,
        "short_code": line.short_code or None,
        "title": line.title,
        "material": line.material_code or None,
        "quantity": quantity_json(sum(crews.values()), line.unit),
        "crews": _crews(line, crews),
        "note": line.note,
        "caution": line.caution,
    }


def _crews(line: BinLine, crews: dict[str, int]) -> list[dict[str, Any]]:
    return [{"crew": code, "quantity": quantity_json(amount, line.unit)} for code, amount in crews.items()]


_CREWS = listing(shape(crew=TEXT, quantity=of("Quantity")))
COMPONENTS = {
    "ComesBack": shape(
        place=of("Named"),
        container=nullable(TEXT),
        material=of("Named"),
        owner=TEXT,
        quantity=of("Quantity"),
        why=TEXT,
    ),
    "LoadedKit": shape(entry=UUID, pull_sheet=of("PullSheet")),
    "BinLine": shape(
        place=of("Named"),
        container=nullable(TEXT),
        short_code=nullable(TEXT),
        title=TEXT,
        material=nullable(TEXT),
        quantity=of("Quantity"),
        crews=_CREWS,
        note=TEXT,
        caution=TEXT,
    ),
    "KitsOfDay": shape(
        warehouse=of("Named"),
        date=DAY,
        sheets=listing(of("PullSheet")),
        lines=listing(of("BinLine")),
        last_print=nullable(shape(number=WHOLE, printed_at=MOMENT)),
        changes=listing(shape(kind=TEXT, line=of("BinLine"), before=_CREWS)),
    ),
}
