"""Our records as JSON, for REST and exports. What the reader may not see of a visible record is null."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.moments import moment_json
from inventory.models import (
    Actor,
    Container,
    ContainerChange,
    CountReading,
    Entry,
    Holding,
    Material,
    Movement,
    Party,
    Place,
)
from inventory.queries.access import Viewer, may_name
from inventory.queries.company import get_company
from inventory.short_codes import make_short_code
from jobs.models import Job

Json = dict[str, Any]


@dataclass(frozen=True)
class Writer:
    """How one reader's answers are written: whether money is shown, and in which currency."""

    currency: str
    shows_money: bool

    def money(self, millionths: int | None) -> dict[str, str] | None:
        """Nothing where there is none or the reader may not see it."""
        if millionths is None or not self.shows_money:
            return None
        return money_json(millionths, self.currency)


def make_writer(viewer: Viewer) -> Writer:
    """The writer for a reader. Asks for the company only where money is written."""
    currency = get_company().currency if viewer.may_see_money else ""
    return Writer(currency, viewer.may_see_money)


def entry_json(entry: Entry, writer: Writer) -> Json:
    """An entry with the lines that were loaded with it."""
    return {
        "id": str(entry.uuid),
        "kind": entry.kind,
        "occurred_at": moment_json(entry.occurred_at),
        "recorded_at": moment_json(entry.recorded_at),
        "booked_date": entry.booked_date.isoformat(),
        "actor": named_json(entry.actor),
        "reason": entry.reason,
        "document": entry.document,
        "reverses": str(entry.reverses.uuid) if entry.reverses else None,
        "reversed_by": str(entry.reversed_by.uuid) if hasattr(entry, "reversed_by") else None,
        "movements": [movement_json(row, writer) for row in entry.movements.all()],
        "container_changes": [change_json(row) for row in entry.container_changes.all()],
        "readings": [reading_json(row) for row in entry.readings.all()],
    }


def movement_json(row: Movement, writer: Writer) -> Json:
    return {
        "line": row.line,
        "purpose": row.purpose,
        "cause": row.cause,
        "material": named_json(row.material),
        "owner": named_json(row.owner),
        "source": end_json(row.source_place, row.source_container),
        "target": end_json(row.target_place, row.target_container),
        "lot": row.lot.label if row.lot else None,
        "quantity": quantity_json(row.quantity, row.material.stock_unit),
        "entered": entered_json(row.entered_value, row.entered_unit),
        "value": writer.money(row.value),
    }


def change_json(row: ContainerChange) -> Json:
    return {
        "container": row.container.label,
        "source": place_name_json(row.source_place) if row.source_place else None,
        "target": place_name_json(row.target_place) if row.target_place else None,
        "state_before": row.state_before,
        "state_after": row.state_after,
        "contents_state_before": row.contents_state_before,
        "contents_state_after": row.contents_state_after,
    }


def reading_json(row: CountReading) -> Json:
    unit = row.material.stock_unit
    return {
        "material": named_json(row.material),
        "owner": named_json(row.owner),
        "place": place_name_json(row.place),
        "container": row.container.label if row.container else None,
        "counted": quantity_json(row.counted_quantity, unit),
        "book": quantity_json(row.book_quantity, unit),
        "entered": entered_json(row.entered_value, row.entered_unit),
    }


def holding_json(row: Holding, costs: Mapping[tuple[int, int, int], int | None], writer: Writer) -> Json:
    """What lies in one place, with what a unit of it cost there on average."""
    unit_cost = costs.get((row.place_id, row.material_id, row.owner_id))
    return {
        "id": row.key,
        "place": place_name_json(row.place),
        "material": named_json(row.material),
        "owner": named_json(row.owner),
        "container": row.container.label if row.container else None,
        "quantity": quantity_json(row.quantity, row.material.stock_unit),
        "unit_cost": writer.money(unit_cost),
        "is_unsettled": row.is_unsettled,
        "counted_at": moment_json(row.counted_at),
    }


def material_json(row: Material, writer: Writer) -> Json:
    return {
        "code": row.code,
        "name": row.name,
        "kind": row.kind,
        "stock_unit": row.stock_unit,
        "cost_formula": row.cost_formula,
        "standard_unit_cost": writer.money(row.standard_unit_cost),
        "density_kg_per_m3": row.density_kg_per_m3,
        "mass_kg_per_unit": row.mass_kg_per_unit,
        "recovered_from": row.recovered_from.code if row.recovered_from else None,
        "shelf_life_days": row.shelf_life_days,
        "nominal_diameter_mm": row.nominal_diameter_mm,
        "inside_diameter_mm": row.inside_diameter_mm,
        "outside_diameter_mm": row.outside_diameter_mm,
        "cable_size": row.cable_size or None,
        "fitting_role": row.fitting_role or None,
        "is_reusable": row.is_reusable,
        "fibre_count": row.fibre_count,
        "is_hazardous": row.is_hazardous,
        "is_withdrawn": row.is_withdrawn,
    }


def place_json(row: Place, viewer: Viewer) -> Json:
    is_parent_told = row.parent is not None and may_name(viewer, row.parent)
    return {
        **place_name_json(row),
        "parent": row.parent.code if row.parent and is_parent_told else None,
        "payload_kg": row.payload_kg,
        "is_withdrawn": row.is_withdrawn,
    }


def container_json(row: Container) -> Json:
    unit = row.measure_unit
    return {
        "label": row.label,
        "short_code": make_short_code(row.pk),
        "kind": row.kind,
        "material": named_json(row.material) if row.material else None,
        "owner": named_json(row.owner),
        "place": place_name_json(row.place) if row.place else None,
        "state": row.state,
        "contents_state": row.contents_state,
        "filled_from": row.filled_from.label if row.filled_from else None,
        "received_at": moment_json(row.received_at),
        "best_before_date": row.best_before_date.isoformat() if row.best_before_date else None,
        "capacity": quantity_json(row.capacity, unit) if row.capacity is not None else None,
        "heel": quantity_json(row.heel, unit),
        "tare_kg": row.tare_kg,
        **{
            name: quantity_json(value, row.mark_unit) if value is not None else None
            for name, value in (
                ("outer_mark", row.mark_outside),
                ("inner_mark", row.inner_mark),
                ("stated_length", row.stated_length),
            )
        },
    }


def job_json(row: Job) -> Json:
    return {
        "reference": row.reference,
        "name": row.name,
        "state": row.state,
        "customer": named_json(row.customer) if row.customer else None,
        "place": place_name_json(row.place),
        "fibre": named_json(row.fibre) if row.fibre else None,
        "fibre_owner": named_json(row.fibre_owner) if row.fibre_owner else None,
    }


def named_json(row: Material | Party | Actor) -> Json:
    return {"code": row.code, "name": row.name}


def place_name_json(row: Place) -> Json:
    return {"code": row.code, "name": row.name, "kind": row.kind}


def end_json(place: Place, container: Container | None) -> Json:
    return {"place": place_name_json(place), "container": container.label if container else None}


def entered_json(value: str, unit: str) -> dict[str, str] | None:
    """An amount as somebody entered it; nothing where nobody did."""
    return {"value": value, "unit": unit} if unit else None
