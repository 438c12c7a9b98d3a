"""A pull sheet in JSON's own types."""

from typing import Any

from api.wire.amounts import quantity_json
from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import PlannedCrewDay, PullSheet, SheetLine, SheetStep
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
        "tags": list(line.tags),
        "first_step": line.first_position,
        "why": line.why,
        "help": line.help,
    }


def _pick(pick: Pick) -> dict[str, Any]:
    return {
        "place": pick.place,
        "place_code": pick.place_code,
        "container": pick.container or None,
        "material": pick.material_code or None,
        "quantity": quantity_json(pick.quantity, pick.unit),
        "note": pick.note,
        "mass": _mass(pick.mass_kg),
        "caution": pick.caution,
    }


def _shortage(line: SheetLine) -> dict[str, Any]:
    return {
        "title": line.title,
        "help": line.help,
        "material": line.material_code or None,
        "short": quantity_json(line.short, line.unit),
    }
