"""Where else lies what a kit is short of, and what is on order that will bring it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from inventory.models import Container, Holding, Place
from inventory.queries.expected_receipts import ExpectedReceipt, list_expected_receipts
from inventory.queries.restock import list_restock
from inventory.queries.restock_lines import RestockLine
from inventory.queries.supply_areas import find_supply_areas
from inventory.units import format_millionths, unit_label
from jobs.queries.sheet_lines import SheetLine

if TYPE_CHECKING:
    from jobs.queries.pull_sheet import PullSheet

Found = dict[tuple[str, str], list[tuple[int, Place, int]]]


def help_shortages(sheets: list["PullSheet"], warehouse: Place, *, as_of: date) -> list["PullSheet"]:
    """Say with each line that is short which place nearest to the warehouse has it, and what will bring it.

    Nearest first: the trucks and sites of the same warehouse, then other warehouses, then their trucks.
    Nothing is asked where nothing is short.
    """
    short = {line.material_code for sheet in sheets for line in sheet.shortages if line.material_code}
    if not short:
        return sheets
    areas = find_supply_areas()
    elsewhere = _find_elsewhere(short, warehouse, areas)
    own = {key: top for key, top in areas.items() if top.pk == warehouse.pk}
    awaited = [row for row in list_expected_receipts(own, as_of=as_of) if row.material.code in short]
    ordered = {row.material.code for row in awaited}
    to_order = list_restock(as_of=as_of, place=warehouse).lines if short - ordered else ()
    return [
        replace(sheet, lines=[_help(line, sheet, elsewhere, awaited, to_order) for line in sheet.lines])
        for sheet in sheets
    ]


def _help(
    line: SheetLine,
    sheet: "PullSheet",
    elsewhere: Found,
    awaited: Sequence[ExpectedReceipt],
    to_order: Sequence[RestockLine],
) -> SheetLine:
    if not line.short or not line.material_code:
        return line
    # Fibre is one piece: what lies elsewhere was weighed reel by reel when runs were allotted.
    nearest = line.help if line.section == "fibre" else _say_elsewhere(line, sheet, elsewhere)
    said = [nearest, _say_coming(line, awaited, to_order)]
    return replace(line, help=" ".join(part for part in said if part))


def _say_elsewhere(line: SheetLine, sheet: "PullSheet", elsewhere: Found) -> str:
    places = [
        (place, quantity)
        for _rank, place, quantity in elsewhere.get((line.material_code, line.owner_code), [])
        if place.name != sheet.vehicle
    ]
    if not places:
        return "No other place has any."
    enough = [row for row in places if row[1] >= line.short]
    place, quantity = enough[0] if enough else places[0]
    return f"Nearest: {place} has {_show(quantity, line.unit)}."


def _say_coming(line: SheetLine, awaited: Sequence[ExpectedReceipt], to_order: Sequence[RestockLine]) -> str:
    for receipt in awaited:
        if (receipt.material.code, receipt.owner.code) == (line.material_code, line.owner_code):
            kind = "Shipment" if receipt.is_shipment else "Order"
            late = ", and is late" if receipt.is_late else ""
            return (
                f"{kind} {receipt.reference} should bring {_show(receipt.quantity, line.unit)} by "
                f"{receipt.due_date}{late}."
            )
    for row in to_order:
        if (row.material.code, row.owner.code) == (line.material_code, line.owner_code):
            who = f" from {row.terms.supplier.name}" if row.terms is not None else ""
            amount = _show(row.quantity, line.unit)
            when = "now" if row.is_late else f"by {row.order_by_date}"
            return f"On the restock list: {amount}{who}, to order {when}."
    return "Nothing on order will bring it."


def _find_elsewhere(codes: set[str], warehouse: Place, areas: dict[int, Place]) -> Found:
    """By material and owner the places that have it besides the warehouse, nearest first."""
    rows = (
        Holding.objects.filter(place__in=areas, material__code__in=codes, quantity__gt=0)
        .exclude(container__state=Container.State.HELD)
        .exclude(container__contents_state=Container.ContentsState.SPENT)
        .select_related("place__parent__parent", "material", "owner")
    )
    sums: dict[tuple[str, str, int], int] = {}
    places: dict[int, Place] = {}
    for row in rows.order_by("place__code"):
        place = _stands_for(row.place)
        if place.pk == warehouse.pk:
            continue
        places[place.pk] = place
        key = (row.material.code, row.owner.code, place.pk)
        sums[key] = sums.get(key, 0) + row.quantity
    found: Found = {}
    for (material, owner, place_key), quantity in sums.items():
        rank = _distance(places[place_key], warehouse, areas)
        found.setdefault((material, owner), []).append((rank, places[place_key], quantity))
    for rows_of_one in found.values():
        rows_of_one.sort(key=lambda row: (row[0], row[1].code))
    return found


def _stands_for(place: Place) -> Place:
    """A bin's goods are its warehouse's."""
    while place.kind == Place.Kind.BIN and place.parent is not None:
        place = place.parent
    return place


def _distance(place: Place, warehouse: Place, areas: dict[int, Place]) -> int:
    if areas.get(place.pk, place).pk == warehouse.pk:
        return 0
    return 1 if place.kind == Place.Kind.WAREHOUSE else 2


def _show(quantity: int, unit: str) -> str:
    return format_millionths(quantity, unit).removesuffix(f" {unit_label('1')}")
