"""Where else lies what a kit is short of, and what is on order that will bring it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from inventory.models import Container, Holding, Place
from inventory.queries.company import get_company_party
from inventory.queries.expected_receipts import ExpectedReceipt, list_expected_receipts
from inventory.queries.holdings import list_empty_vessels
from inventory.queries.restock import list_restock
from inventory.queries.restock_lines import RestockLine
from inventory.queries.supply_areas import find_supply_areas
from inventory.units import MILLION, convert, format_amount, format_millionths, unit_label
from jobs.models import KitPolicy
from jobs.queries.kit_stock import vessel_room
from jobs.queries.kit_yard import VESSEL_KINDS
from jobs.queries.sheet_lines import SheetLine

if TYPE_CHECKING:
    from jobs.queries.pull_sheet import PullSheet

Found = dict[tuple[str, str], list[tuple[int, Place, int]]]


VESSELS = ("catch", "sweep")
NAME_VESSELS = "Nothing orders such vessels: the kit policy names no material for them."


def help_shortages(sheets: list["PullSheet"], warehouse: Place, *, as_of: date) -> list["PullSheet"]:
    """Say with each line that is short which place nearest to the warehouse has it, and what will bring it.

    Nearest first: the trucks and sites of the same warehouse, then other warehouses, then their trucks.
    Nothing is asked where nothing is short.
    """
    lines = [line for sheet in sheets for line in sheet.shortages]
    if not any(line.material_code or line.section in VESSELS for line in lines):
        return sheets
    known = _load_help(lines, warehouse, as_of=as_of)
    return [replace(sheet, lines=[_help(line, sheet, known) for line in sheet.lines]) for sheet in sheets]


@dataclass(frozen=True)
class _Help:
    """What other places and orders have, by material and owner; of vessels their room in litres."""

    elsewhere: Found
    awaited: Sequence[ExpectedReceipt]
    to_order: Sequence[RestockLine]
    vessels: list[tuple[int, Place, float]]
    vessel_code: str
    company_code: str


def _load_help(lines: Sequence[SheetLine], warehouse: Place, *, as_of: date) -> _Help:
    short = {line.material_code for line in lines if line.material_code}
    areas = find_supply_areas()
    vessels: list[tuple[int, Place, float]] = []
    vessel_code = company_code = ""
    if any(line.section in VESSELS for line in lines):
        policy = KitPolicy.objects.select_related("vessel_material").first()
        vessel_code = policy.vessel_material.code if policy and policy.vessel_material else ""
        company_code = get_company_party().code
        vessels = _find_vessels(warehouse, areas)
        short |= {vessel_code} - {""}
    own = {key: top for key, top in areas.items() if top.pk == warehouse.pk}
    awaited = [row for row in list_expected_receipts(own, as_of=as_of) if row.material.code in short]
    ordered = {row.material.code for row in awaited}
    to_order = list_restock(as_of=as_of, place=warehouse).lines if short - ordered else ()
    elsewhere = _find_elsewhere(short, warehouse, areas)
    return _Help(elsewhere, awaited, to_order, vessels, vessel_code, company_code)


def _help(line: SheetLine, sheet: "PullSheet", known: _Help) -> SheetLine:
    if not line.short:
        return line
    if line.section in VESSELS:
        return replace(line, help=f"{_say_vessels(line, sheet, known)} {_say_vessel_order(known)}")
    if not line.material_code:
        return line
    # Fibre is one piece: what lies elsewhere was weighed reel by reel when runs were allotted.
    nearest = line.help if line.section == "fibre" else _say_elsewhere(line, sheet, known.elsewhere)
    coming = _say_coming(line.material_code, line.owner_code, line.unit, known)
    return replace(line, help=" ".join(part for part in (nearest, coming) if part))


def _say_vessels(line: SheetLine, sheet: "PullSheet", known: _Help) -> str:
    places = [(place, litres) for _rank, place, litres in known.vessels if place.name != sheet.vehicle]
    if not places:
        return "No other place has any clean and empty."
    wanted = float(convert(line.short / MILLION, line.unit, "L"))
    place, litres = next((row for row in places if row[1] >= wanted), places[0])
    room = round(float(convert(litres, "L", line.unit)), 1)
    return f"Nearest: {place} has some for {format_amount(room, line.unit)}."


def _say_vessel_order(known: _Help) -> str:
    if not known.vessel_code:
        return NAME_VESSELS
    return _say_coming(known.vessel_code, known.company_code, "1", known)


def _find_vessels(warehouse: Place, areas: dict[int, Place]) -> list[tuple[int, Place, float]]:
    """Clean and empty vessels of ours in other places, nearest first, with the litres that they hold."""
    rows = list_empty_vessels().filter(
        state=Container.State.CLEAN, kind__in=VESSEL_KINDS, capacity__isnull=False, owner__is_company=True
    )
    rooms: dict[int, float] = {}
    places: dict[int, Place] = {}
    for row in rows.order_by("place__code"):
        assert row.place is not None
        place = _stands_for(row.place)
        if place.pk == warehouse.pk:
            continue
        places[place.pk] = place
        rooms[place.pk] = rooms.get(place.pk, 0.0) + vessel_room(row, "L", 1.0) / MILLION
    found = [(_distance(place, warehouse, areas), place, rooms[key]) for key, place in places.items()]
    return sorted(found, key=lambda row: (row[0], row[1].code))


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


def _say_coming(material: str, owner: str, unit: str, known: _Help) -> str:
    for receipt in known.awaited:
        if (receipt.material.code, receipt.owner.code) == (material, owner):
            kind = "Shipment" if receipt.is_shipment else "Order"
            when = f"by {receipt.planned_date}" if receipt.planned_date else "on a day that nobody knows"
            late = ", and is overdue" if receipt.is_late else ""
            return f"{kind} {receipt.reference} should bring {_show(receipt.quantity, unit)} {when}{late}."
    for row in known.to_order:
        if (row.material.code, row.owner.code) == (material, owner):
            who = f" from {row.terms.supplier.name}" if row.terms is not None else ""
            when = "now" if row.is_late else f"by {row.order_by_date}"
            return f"On the restock list: {_show(row.quantity, unit)}{who}, to order {when}."
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
