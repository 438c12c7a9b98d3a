"""Owners and suppliers that the sheet names, and what a supplier asks for a material."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

from inventory.models import Material, Party, SupplyTerms
from inventory.money import from_money_millionths, to_money_millionths
from inventory.queries.company import get_company_party
from inventory.services.parties import make_outside_places
from inventory.services.stock_sheet.columns import TERMS_COLUMNS
from inventory.services.stock_sheet.known import find_by_code
from inventory.services.stock_sheet.materials import Materials
from inventory.services.stock_sheet.rows import Statement, StockRows, compare, fold_code, merge
from inventory.sheets import Record
from inventory.units import BadAmount, convert

FIELDS = {
    "unit_price": "unit_cost",
    "lead_time": "lead_time_days",
    "lead_time_sd": "lead_time_sd_days",
    "pack": "pack",
    "minimum": "minimum",
}
IN_MILLIONTHS = ("unit_price", "pack", "minimum")


class Parties:
    """Owners and suppliers by folded code; those that are not known yet are made."""

    def __init__(self, rows: StockRows) -> None:
        self.company = get_company_party()
        self.new: list[Party] = []
        self.new_suppliers: list[Party] = []
        named = [record[column] for column in ("owner", "supplier") for record in rows.records]
        self.by_code = find_by_code(Party, [code for code in named if code])
        for record in rows.records:
            if record["owner"]:
                self._take(record["owner"], is_customer=True)
            if record["supplier"]:
                supplier = self._take(record["supplier"], is_supplier=True)
                if supplier.is_company:
                    rows.complain(record, "supplier", "is the company itself; name who sells to it")
                elif not supplier.is_supplier:
                    supplier.is_supplier = True
                    self.new_suppliers.append(supplier)

    def find_owner(self, record: Record) -> Party | None:
        """The owner that a row names, if it names one."""
        return self.by_code[fold_code(record["owner"])] if record["owner"] else None

    def save(self) -> None:
        for party in self.new:
            party.save(force_insert=True)
        for party in self.new_suppliers:
            party.save(update_fields=["is_supplier"])
        for party in (*self.new, *self.new_suppliers):
            make_outside_places(party)

    def _take(self, code: str, **roles: bool) -> Party:
        folded = fold_code(code)
        if folded not in self.by_code:
            self.by_code[folded] = Party(code=code, name=code, **roles)
            self.new.append(self.by_code[folded])
        return self.by_code[folded]


class Terms:
    """What suppliers ask, by material and supplier. Known terms are compared, never changed."""

    def __init__(self, rows: StockRows, materials: Materials, parties: Parties) -> None:
        self.rows = rows
        self.new: list[SupplyTerms] = []
        self._parties = parties
        said: dict[tuple[str, str], list[tuple[Record, dict[str, Any]]]] = {}
        for record in rows.records:
            material = self._check_row(record, materials)
            if material is not None:
                key = (fold_code(record["material"]), fold_code(record["supplier"]))
                said.setdefault(key, []).append((record, self._values(record, material)))
        known = self._find_known(materials)
        for (code, supplier), statements in said.items():
            statement = merge(rows, "terms", statements, statements[0][0])
            self._take(materials.by_code[code], parties.by_code[supplier], statement, known)

    def save(self) -> None:
        for terms in self.new:
            terms.save(force_insert=True)

    def _check_row(self, record: Record, materials: Materials) -> Material | None:
        given = [column.name for column in TERMS_COLUMNS if record[column.name] is not None]
        if not given:
            return None
        if not record["supplier"]:
            self.rows.complain(record, "supplier", f"is needed with {given[0].replace('_', ' ')}")
            return None
        if not record["material"]:
            self.rows.complain(record, "material", f"is needed with {given[0].replace('_', ' ')}")
            return None
        return materials.find(record["material"])

    def _values(self, record: Record, material: Material) -> dict[str, Any]:
        return {
            "unit_price": self._price(record, material.stock_unit),
            "lead_time": None if record["lead_time"] is None else float(record["lead_time"]),
            "lead_time_sd": None if record["lead_time_sd"] is None else float(record["lead_time_sd"]),
            "pack": self._amount(record, "pack", material.stock_unit),
            "minimum": self._amount(record, "minimum", material.stock_unit),
        }

    def _amount(self, record: Record, column: str, stock_unit: str) -> Decimal | None:
        millionths = self.rows.read_in_stock_unit(record, column, stock_unit)[1]
        return None if millionths is None else Decimal(millionths).scaleb(-6)

    def _price(self, record: Record, stock_unit: str) -> Decimal | None:
        if record["unit_price"] is None:
            return None
        unit = self.rows.unit_of_row(record, stock_unit)
        try:
            price = to_money_millionths(record["unit_price"])
            # Per stock unit, half-even: a price per litre is one per gallon only to the last millionth.
            return from_money_millionths(round(Fraction(price) / convert(1, unit, stock_unit)))
        except BadAmount as refused:
            self.rows.complain(record, "unit_price", refused.message)
            return None

    def _find_known(self, materials: Materials) -> dict[tuple[int, int], SupplyTerms]:
        keys = {material.pk for material in materials.by_code.values() if material.pk}
        return {
            (terms.material_id, terms.supplier_id): terms
            for terms in SupplyTerms.objects.all()
            if terms.material_id in keys
        }

    def _take(
        self,
        material: Material,
        supplier: Party,
        statement: Statement,
        known: dict[tuple[int, int], SupplyTerms],
    ) -> None:
        standing = known.get((material.pk, supplier.pk))
        if standing is not None:
            what = f"supply of {material.code} from {supplier.code}"
            on_file = {
                column: Decimal(getattr(standing, field)).scaleb(-6)
                if column in IN_MILLIONTHS
                else getattr(standing, field)
                for column, field in FIELDS.items()
            }
            compare(self.rows, what, statement, on_file)
            return
        missing = [column for column in ("unit_price", "lead_time") if column not in statement.values]
        for column in missing if not self.rows.is_doubtful("supplier", supplier.code) else ():
            message = f"is needed to buy {material.code} from {supplier.code}"
            self.rows.complain(statement.first, column, message)
        if not missing:
            given = {
                FIELDS[column]: int(value.scaleb(6)) if column in IN_MILLIONTHS else value
                for column, value in statement.values.items()
            }
            self.new.append(SupplyTerms(material=material, supplier=supplier, **given))
