"""Materials that the sheet names: known ones compared with what is on file, new ones made."""

from collections.abc import Callable, Mapping
from typing import Any

from inventory.models import Material
from inventory.services.stock_sheet.columns import COUNTED_IN, MATERIAL_COLUMNS, NEEDS, ONLY_FOR
from inventory.services.stock_sheet.known import find_by_code
from inventory.services.stock_sheet.rows import Statement, StockRows, compare, fold_code, merge
from inventory.sheets import Record
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from inventory.units import STOCK_UNITS, convert, find_unit, unit_label

FIELDS = {
    "name": "name",
    "kind": "kind",
    "stock_unit": "stock_unit",
    "cost_formula": "cost_formula",
    "density": "density_kg_per_m3",
    "diameter": "nominal_diameter_mm",
    "cable_size": "cable_size",
    "role": "fitting_role",
    "reusable": "is_reusable",
    "inside_diameter": "inside_diameter_mm",
    "outside_diameter": "outside_diameter_mm",
    "fibres": "fibre_count",
    "mass": "mass_kg_per_unit",
    "hazardous": "is_hazardous",
    "shelf_life": "shelf_life_days",
}
# Anything outside is a density in another unit; water has 1000.
LIGHTEST_KG_PER_M3, HEAVIEST_KG_PER_M3 = 400, 3000


class BadAttribute(ValueError):
    """A cell cannot be what a material says of itself."""


def _read_stock_unit(text: str) -> str:
    code = find_unit(text)
    if code not in STOCK_UNITS:
        known = ", ".join(unit_label(unit) for unit in STOCK_UNITS)
        raise BadAttribute(f"is not a unit that goods are counted in; write one of {known}")
    return code


def _read_density(value: Any) -> float:
    if not LIGHTEST_KG_PER_M3 <= value <= HEAVIEST_KG_PER_M3:
        raise BadAttribute("is no density of a fluid in kg/m3, where water has 1000; give it in kg/m3")
    return float(value)


def _in_unit(unit: str) -> Callable[[Any], float]:
    return lambda amount: float(convert(amount.value, amount.unit, unit))


_TRANSLATIONS: dict[str, Callable[[Any], Any]] = {
    "stock_unit": _read_stock_unit,
    "density": _read_density,
    "cable_size": read_cable_size,
    "diameter": _in_unit("mm"),
    "inside_diameter": _in_unit("mm"),
    "outside_diameter": _in_unit("mm"),
    "mass": _in_unit("kg"),
    "recovered_from": fold_code,
}

_SHOWN: dict[str, Callable[[Any], str]] = {
    "stock_unit": unit_label,
    "density": lambda value: f"{value:.6g} kg/m3",
    "diameter": lambda value: f"{value:.6g} mm",
    "inside_diameter": lambda value: f"{value:.6g} mm",
    "outside_diameter": lambda value: f"{value:.6g} mm",
    "mass": lambda value: f"{value:.6g} kg",
}


class Materials:
    """Every material that the sheet names, by folded code; one with a fault is left out."""

    def __init__(self, rows: StockRows) -> None:
        self.rows = rows
        self.new: list[Material] = []
        self.by_code: dict[str, Material] = {}
        naming = rows.naming("material")
        sources = [record["recovered_from"] for record in rows.records if record["recovered_from"]]
        named = [record["material"] for records in naming.values() for record in records]
        self._known = find_by_code(Material, [*named, *sources])
        statements = {code: self._merge(records) for code, records in naming.items()}
        for code, statement in statements.items():
            self._take(code, statement)
        for code, statement in statements.items():
            self._set_source(code, statement)

    def find(self, code: str | None) -> Material | None:
        return self.by_code.get(fold_code(code)) if code else None

    def save(self) -> None:
        """Save the new ones, each after the fluid that it is recovered from."""
        waiting = list(self.new)
        while waiting:
            for material in waiting:
                if material.recovered_from is None or material.recovered_from.pk:
                    material.save(force_insert=True)
            waiting = [material for material in waiting if not material.pk]

    def _merge(self, records: list[Record]) -> Statement:
        return merge(
            self.rows, "material", ((record, self._attributes(record)) for record in records), records[0]
        )

    def _attributes(self, record: Record) -> dict[str, Any]:
        values = {}
        for column in MATERIAL_COLUMNS:
            value = record[column.name]
            translate = _TRANSLATIONS.get(column.name)
            if value is not None and translate:
                try:
                    value = translate(value)
                except (BadAttribute, CellRefused) as refused:
                    self.rows.complain(record, column.name, str(refused))
                    self.rows.doubt("material", record["material"])
                    value = None
            values[column.name] = value
        return values

    def _take(self, code: str, statement: Statement) -> None:
        known = self._known.get(code)
        if known is None:
            self._introduce(code, statement)
            return
        on_file = {column: getattr(known, field) for column, field in FIELDS.items()}
        source = known.recovered_from
        on_file["recovered_from"] = fold_code(source.code) if source else None
        compare(
            self.rows,
            f"material {known.code}",
            statement,
            on_file,
            show_as=_SHOWN,
            otherwise=", or give other goods a code of their own",
        )
        self.by_code[code] = known

    def _introduce(self, code: str, statement: Statement) -> None:
        given = dict(statement.values)
        kind = given.get("kind")
        if kind is None:
            if not self.rows.is_doubtful("material", code):
                message = "is not known yet; say in the column kind what it is"
                self.rows.complain(statement.first, "material", message)
            return
        if "stock_unit" not in given and COUNTED_IN.get(kind) == ("1",):
            given["stock_unit"] = "1"
        before = self.rows.table.faults.count
        self._check_needs(code, kind, given, statement)
        self._check_unit(code, kind, given, statement)
        if self.rows.table.faults.count == before and "stock_unit" in given:
            material = Material(code=statement.first["material"], **_to_fields(given))
            material.name = material.name or material.code
            self.by_code[code] = material
            self.new.append(material)

    def _check_needs(self, code: str, kind: str, given: Mapping[str, Any], statement: Statement) -> None:
        for column in NEEDS[Material.Kind(kind)]:
            if column not in given and not self.rows.is_doubtful("material", code):
                message = f"is needed for a new {Material.Kind(kind).label} ({statement.first['material']})"
                self.rows.complain(statement.where("kind"), column, message)
        for column, kinds in ONLY_FOR.items():
            if column in given and kind not in kinds:
                message = f"is for a {kinds[0].label} only, and this is a {Material.Kind(kind).label}"
                self.rows.complain(statement.where(column), column, message)
        if (
            given.get("cost_formula") == Material.CostFormula.SPECIFIC
            and kind not in Material.NOT_INTERCHANGEABLE
        ):
            message = (
                f"is not for a {Material.Kind(kind).label}, one of which is as good as another "
                "(IAS 2.24); write fifo or weighted average"
            )
            self.rows.complain(statement.where("cost_formula"), "cost_formula", message)

    def _check_unit(self, code: str, kind: str, given: Mapping[str, Any], statement: Statement) -> None:
        unit = given.get("stock_unit")
        allowed = COUNTED_IN.get(Material.Kind(kind), STOCK_UNITS)
        labels = " or ".join(unit_label(other) for other in allowed)
        if unit is None and not self.rows.is_doubtful("material", code):
            message = f"is needed for a new {Material.Kind(kind).label}; write {labels}"
            self.rows.complain(statement.where("kind"), "stock_unit", message)
        elif unit is not None and unit not in allowed:
            message = f"is not how a {Material.Kind(kind).label} is counted; write {labels}"
            self.rows.complain(statement.where("stock_unit"), "stock_unit", message)

    def _set_source(self, code: str, statement: Statement) -> None:
        material, source_code = self.by_code.get(code), statement.values.get("recovered_from")
        if material is None or source_code is None or material.pk:
            return
        source = self.by_code.get(source_code) or self._known.get(source_code)
        record = statement.where("recovered_from")
        if source is None:
            if not self.rows.is_doubtful("material", source_code):
                message = "is not a material known here or on this sheet; give it a row of its own"
                self.rows.complain(record, "recovered_from", message)
        elif source.kind != Material.Kind.FLUID:
            self.rows.complain(record, "recovered_from", f"is a {source.get_kind_display()}, not a fluid")
        elif _leads_back(source, material):
            self.rows.complain(record, "recovered_from", "leads back to the material itself")
        else:
            material.recovered_from = source


def _leads_back(source: Material, material: Material) -> bool:
    link: Material | None = source
    while link is not None and link is not material:
        link = link.recovered_from
    return link is material


def _to_fields(given: Mapping[str, Any]) -> dict[str, Any]:
    return {field: given[column] for column, field in FIELDS.items() if column in given}
