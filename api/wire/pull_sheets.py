"""A pull sheet in JSON's own types."""

from typing import Any

from api.wire.amounts import quantity_json
from api.wire.answers import container_json
from api.wire.pictures.drawing import Picture
from api.wire.pictures.reel_cuts import ReelBar, draw_reel_cuts
from api.wire.pictures.tables import picture_body
from api.wire.schemas import DAY, FLAG, TEXT, WHOLE, listing, nullable, of, shape, words
from inventory.units import MILLION, convert, unit_label
from jobs.models import CrewDay
from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import PlannedCrewDay, PullSheet, SheetLine, SheetStep
from jobs.queries.sheet_lines import Cut, CutList
from jobs.queries.sheet_reasons import explain_line
from jobs.queries.sheet_scans import SheetScan
from jobs.queries.truck_load import TruckLoad


def pull_sheet_body(sheet: PullSheet) -> dict[str, Any]:
    """Everything on the sheet, in the order of work."""
    return {
        **crew_day_body(sheet),
        "lines": [_line(line) for line in sheet.lines],
        "shortages": [_shortage(line) for line in sheet.shortages],
        "remarks": sheet.remarks,
        "cautions": sheet.cautions,
        "check_list": [
            {"name": item.name, "detail": item.detail, "is_protective": item.is_protective}
            for item in sheet.check_list
        ],
        "cuts": [cut_list_body(row) for row in sheet.cut_lists],
        "load": truck_load_body(sheet.load) if sheet.load is not None else None,
    }


def truck_load_body(load: TruckLoad) -> dict[str, Any]:
    """What the truck carries, in whole tenths of a kilogram."""
    return {
        "leaving": _mass(load.leaving_kg),
        "heaviest": _mass(load.heaviest_kg),
        "heaviest_after_step": load.heaviest_after,
        "returning": _mass(load.returning_kg),
        "payload": _mass(load.payload_kg),
        "is_over": load.is_over,
        "not_weighed": load.unknown,
        "sentence": load.sentence,
    }


def _mass(kilograms: float | None) -> dict[str, str] | None:
    return {"value": f"{kilograms:.1f}", "unit": "kg"} if kilograms is not None else None


def crew_day_body(day: PlannedCrewDay) -> dict[str, Any]:
    """Who works when, from which truck and yard, and the steps in order."""
    return {
        "crew": {"code": day.crew_code, "name": day.crew_name},
        "date": day.date.isoformat(),
        "vehicle": day.vehicle,
        "warehouse": day.warehouse,
        "state": day.state,
        "steps": [_step(step) for step in day.steps],
    }


def _step(step: SheetStep) -> dict[str, Any]:
    return {
        "position": step.position,
        "kind": step.kind,
        "title": step.title,
        "detail": step.detail,
        "job": step.job,
        "is_stopped": step.is_stopped,
    }


def _line(line: SheetLine) -> dict[str, Any]:
    return {
        "section": line.section,
        "group": line.group,
        "title": line.title,
        "material": line.material_code or None,
        "owner": line.owner_code or None,
        "needed": quantity_json(line.needed, line.unit),
        "on_truck": quantity_json(line.on_truck, line.unit),
        "to_take": quantity_json(line.to_take, line.unit),
        "short": quantity_json(line.short, line.unit),
        "made": quantity_json(line.made, line.unit),
        "picks": [_pick(pick) for pick in line.picks],
        "there": [_pick(pick) for pick in line.there],
        "elsewhere": [_pick(pick) for pick in line.elsewhere],
        "tags": list(line.tags),
        "first_step": line.first_position,
        "why": line.why,
        "reasons": [
            {"number": row.number, "quantity": quantity_json(row.quantity, line.unit), "why": row.why}
            for row in explain_line(line)
        ],
        "help": line.help,
    }


def _pick(pick: Pick) -> dict[str, Any]:
    return {
        "place": pick.place,
        "place_code": pick.place_code,
        "container": pick.container or None,
        "short_code": pick.short_code or None,
        "material": pick.material_code or None,
        "quantity": quantity_json(pick.quantity, pick.unit),
        "note": pick.note,
        "mass": _mass(pick.mass_kg),
        "caution": pick.caution,
    }


def cut_list_body(row: CutList) -> dict[str, Any]:
    """The cuts of one reel; marks are null where nobody knows them."""
    return {
        "reel": row.reel,
        "place": row.place,
        "is_elsewhere": row.is_elsewhere,
        "held": quantity_json(row.held, row.unit),
        "left": quantity_json(row.held - sum(cut.quantity for cut in row.cuts), row.unit),
        "cuts": [
            {
                "step": cut.step,
                "title": cut.title,
                "length": quantity_json(cut.quantity, row.unit),
                "mark_from": cut.mark_from or None,
                "mark_to": cut.mark_to or None,
            }
            for cut in row.cuts
        ],
    }


def cuts_body(sheet: PullSheet) -> dict[str, Any]:
    """The cuts of a sheet with the picture of them and its table."""
    return {
        "reels": [cut_list_body(row) for row in sheet.cut_lists],
        "picture": picture_body(draw_cuts(sheet)),
    }


def draw_cuts(sheet: PullSheet) -> Picture:
    """All reels of a sheet in the unit of the first, feet and metres on one day too."""
    unit = sheet.cut_lists[0].unit if sheet.cut_lists else "m"

    def length(millionths: int, own: str) -> float:
        return float(convert(millionths / MILLION, own, unit))

    bars = [
        ReelBar(
            row.reel,
            length(row.held, row.unit),
            [(_short_title(cut), length(cut.quantity, row.unit)) for cut in row.cuts],
        )
        for row in sheet.cut_lists
    ]
    return draw_reel_cuts(bars, unit=unit_label(unit))


def _short_title(cut: Cut) -> str:
    """The run's own name is what has room in a bar."""
    return cut.title.removeprefix("Blow run ")


def scan_body(scan: SheetScan) -> dict[str, Any]:
    """A scanned container, and the lines of the sheet that want it."""
    return {
        "container": container_json(scan.container),
        "is_on_sheet": bool(scan.wanted),
        "lines": [
            {"title": line.title, "group": line.group, "first_step": line.first_position, "pick": _pick(pick)}
            for line, pick in scan.wanted
        ],
    }


def _shortage(line: SheetLine) -> dict[str, Any]:
    return {
        "title": line.title,
        "help": line.help,
        "material": line.material_code or None,
        "short": quantity_json(line.short, line.unit),
    }


COMPONENTS = {
    "PullSheet": shape(
        crew=of("Named"),
        date=DAY,
        vehicle=TEXT,
        warehouse=TEXT,
        state=words(CrewDay.State),
        steps=listing(
            shape(position=WHOLE, kind=TEXT, title=TEXT, detail=TEXT, job=TEXT, is_stopped=FLAG),
        ),
        lines=listing(of("PullSheetLine")),
        shortages=listing(shape(title=TEXT, help=TEXT, material=nullable(TEXT), short=of("Quantity"))),
        remarks=listing(TEXT),
        cautions=listing(TEXT),
        check_list=listing(shape(name=TEXT, detail=TEXT, is_protective=FLAG)),
        cuts=listing(of("CutList")),
        load=nullable(of("TruckLoad")),
    ),
    "PullSheetLine": shape(
        section=TEXT,
        group=TEXT,
        title=TEXT,
        material=nullable(TEXT),
        owner=nullable(TEXT),
        needed=of("Quantity"),
        on_truck=of("Quantity"),
        to_take=of("Quantity"),
        short=of("Quantity"),
        made=of("Quantity"),
        picks=listing(of("Pick")),
        there=listing(of("Pick")),
        elsewhere=listing(of("Pick")),
        tags=listing(TEXT),
        first_step=WHOLE,
        why=TEXT,
        reasons=listing(shape(number=TEXT, quantity=of("Quantity"), why=TEXT)),
        help=TEXT,
    ),
    "Pick": shape(
        place=TEXT,
        place_code=TEXT,
        container=nullable(TEXT),
        short_code=nullable(TEXT),
        material=nullable(TEXT),
        quantity=of("Quantity"),
        note=TEXT,
        mass=nullable(of("Quantity")),
        caution=TEXT,
    ),
    "TruckLoad": shape(
        leaving=of("Quantity"),
        heaviest=of("Quantity"),
        heaviest_after_step=WHOLE,
        returning=of("Quantity"),
        payload=nullable(of("Quantity")),
        is_over=FLAG,
        not_weighed=listing(TEXT),
        sentence=TEXT,
    ),
    "CutList": shape(
        reel=TEXT,
        place=TEXT,
        is_elsewhere=FLAG,
        held=of("Quantity"),
        left=of("Quantity"),
        cuts=listing(
            shape(
                step=WHOLE,
                title=TEXT,
                length=of("Quantity"),
                mark_from=nullable(TEXT),
                mark_to=nullable(TEXT),
            )
        ),
    ),
    "SheetCuts": shape(reels=listing(of("CutList")), picture=of("Picture")),
    "SheetScan": shape(
        container=of("Container"),
        is_on_sheet=FLAG,
        lines=listing(shape(title=TEXT, group=TEXT, first_step=WHOLE, pick=of("Pick"))),
    ),
}
