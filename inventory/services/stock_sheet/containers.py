"""Containers that the sheet names: known ones compared with what is on file, new ones made."""

from collections.abc import Mapping
from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from inventory.models import Container, Material, Party, Place
from inventory.models.container import UNIT_OF_ANY_FLUID
from inventory.services.stock_sheet.columns import CONTAINER_COLUMNS
from inventory.services.stock_sheet.known import find_by_code
from inventory.services.stock_sheet.materials import Materials
from inventory.services.stock_sheet.parties import Parties
from inventory.services.stock_sheet.rows import Statement, StockRows, compare, fold_code, merge
from inventory.sheets import Record
from inventory.units import convert, format_millionths

Kind = Container.Kind
OF_ONE_MATERIAL = (Kind.REEL, Kind.LOT)


class Containers:
    """Every container that the sheet names, by folded label; one with a fault is left out.

    New ones are not saved here but by the entry that brings them, so that none is made twice.
    """

    def __init__(self, rows: StockRows, materials: Materials, parties: Parties, zone: ZoneInfo) -> None:
        self.rows = rows
        self.materials = materials
        self.parties = parties
        self.zone = zone
        self.new: list[Container] = []
        self.by_label: dict[str, Container] = {}
        naming = rows.naming("container")
        labels = [record["container"] for records in naming.values() for record in records]
        self._known = find_by_code(Container, labels, field="label")
        for label, records in naming.items():
            self._check_rows_of_one(label, records)
            self._take(label, records)

    def find(self, label: str | None) -> Container | None:
        return self.by_label.get(fold_code(label)) if label else None

    def _check_rows_of_one(self, label: str, records: list[Record]) -> None:
        """A vessel or reel is one thing: it has one row. A lot has one in each place that it lies in."""
        known = self._known.get(label)
        kinds = {record["container_kind"] for record in records} | {known.kind if known else None}
        is_lot = Kind.LOT in kinds
        seen: dict[str, Record] = {}
        for record in records:
            if record.refused & {"place", "material"}:
                continue
            place = fold_code(record["place"] or "")
            key = place if is_lot else ""
            first = seen.setdefault(key, record)
            if first is record:
                continue
            if fold_code(first["place"] or "") != place:
                message = f"stands in {first['place']} on line {first.line}; it is in one place only"
            elif fold_code(first["material"] or "") != fold_code(record["material"] or ""):
                message = f"holds {first['material']} on line {first.line}; it holds one material at a time"
            else:
                message = f"is already on line {first.line}; keep one of them"
            self.rows.complain(record, "container", message)

    def _take(self, label: str, records: list[Record]) -> None:
        known = self._known.get(label)
        material = known.material if known else self._material_of(records)
        unit = material.stock_unit if material else UNIT_OF_ANY_FLUID
        statement = merge(
            self.rows, "container", ((record, self._values(record, unit)) for record in records), records[0]
        )
        if known is None:
            self._introduce(label, statement, material)
            return
        compare(self.rows, f"container {known.label}", statement, self._on_file(known, unit))
        self.by_label[label] = known
        self._check_material(known, records)

    def _material_of(self, records: list[Record]) -> Material | None:
        found = (self.materials.find(record["material"]) for record in records)
        return next((material for material in found if material is not None), None)

    def _values(self, record: Record, unit: str) -> dict[str, Any]:
        values = {column.name: record[column.name] for column in CONTAINER_COLUMNS}
        for column in ("capacity", "heel"):
            values[column] = self.rows.read_in_stock_unit(record, column, unit)[1]
        tare = record["tare"]
        values["tare"] = float(convert(tare.value, tare.unit, "kg")) if tare is not None else None
        values["owner"] = fold_code(record["owner"]) if record["owner"] else None
        return values

    def _on_file(self, known: Container, unit: str) -> dict[str, Any]:
        received_at = known.received_at
        return {
            "container_kind": known.kind,
            "owner": fold_code(known.owner.code),
            "capacity": known.capacity,
            "heel": known.heel,
            "tare": known.tare_kg,
            "received": received_at.astimezone(self.zone).date() if received_at else None,
            "best_before": known.best_before_date,
        }

    def _check_material(self, known: Container, records: list[Record]) -> None:
        if known.kind not in OF_ONE_MATERIAL or known.material is None:
            return
        for record in records:
            if record["material"] and fold_code(record["material"]) != fold_code(known.material.code):
                message = f"{known.get_kind_display()} {known.label} is of {known.material.code}"
                self.rows.complain(record, "material", f"{message}; other goods need a label of their own")

    def _introduce(self, label: str, statement: Statement, material: Material | None) -> None:
        given, first = statement.values, statement.first
        kind = given.get("container_kind")
        if kind is None:
            if not self.rows.is_doubtful("container", label):
                kinds = ", ".join(str(choice.label) for choice in Kind)
                message = f"is not known yet; say in the column container kind what it is: {kinds}"
                self.rows.complain(first, "container", message)
            return
        if kind in OF_ONE_MATERIAL and not first["material"]:
            self.rows.complain(first, "material", f"is needed: a {Kind(kind).label} is of one material")
            return
        capacity, heel = given.get("capacity"), given.get("heel")
        if capacity is not None and heel is not None and heel > capacity:
            self.rows.complain(statement.where("heel"), "heel", "is more than the capacity")
        owner = self.parties.by_code[given["owner"]] if "owner" in given else self.parties.company
        container = make_container(first, given, material=material, owner=owner, zone=self.zone)
        self.by_label[label] = container
        self.new.append(container)


def make_container(
    record: Record, given: Mapping[str, Any], *, material: Material | None, owner: Party, zone: ZoneInfo
) -> Container:
    """Make a new container from what its rows say; its place is set with the row that holds it."""
    received = given.get("received")
    quantity = record["quantity"]
    is_empty = quantity is None or quantity.value == 0
    kind = given["container_kind"]
    is_vessel = kind not in OF_ONE_MATERIAL
    state = Container.State.CLEAN if is_empty and is_vessel else Container.State.SEALED
    container = Container(
        label=record["container"],
        kind=kind,
        material=material,
        owner=owner,
        state=record["container_state"] or state,
        contents_state=record["contents_state"] or Container.ContentsState.FRESH,
        received_at=datetime.combine(received, time.min, zone) if received else None,
        best_before_date=given.get("best_before"),
        capacity=given.get("capacity"),
        heel=given.get("heel", 0),
        tare_kg=given.get("tare"),
    )
    set_marks(container, record, at=None)
    return container


def set_marks(container: Container, record: Record, *, at: datetime | None) -> bool:
    """Set the length marks that a row tells of; say whether that changed anything.

    Marks are readings: the outer one moves with every length that is taken, and what was read holds from
    then on.
    """
    before = _marks_of(container)
    marks = {name: record[name] for name in ("outer_mark", "inner_mark") if record[name] is not None}
    if not marks:
        return False
    unit = container.mark_unit or next(iter(marks.values())).unit
    if unit not in ("[ft_i]", "m"):
        unit = "m"
    container.mark_unit = unit
    for name, amount in marks.items():
        setattr(container, name, round(convert(amount.value, amount.unit, unit) * 10**6))
    container.work_mark, container.marks_read_at = None, at
    return before != _marks_of(container)


def _marks_of(container: Container) -> tuple[object, ...]:
    return container.mark_outside, container.inner_mark, container.mark_unit


def show_capacity(container: Container) -> str:
    return format_millionths(container.capacity or 0, container.measure_unit)


def stands_elsewhere(container: Container, place: Place) -> bool:
    """Whether a vessel or reel is in another place than the book says."""
    return container.stands_somewhere and container.place_id != place.pk
