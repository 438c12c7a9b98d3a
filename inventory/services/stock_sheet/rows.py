"""The rows of a stock sheet, read once, and the faults found in them."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import isclose
from typing import Any

from inventory.errors import Fault
from inventory.services.stock_sheet.columns import (
    COLUMNS,
    CONTAINER_COLUMNS,
    HEADER_UNITS,
    IN_STOCK_UNIT,
    MATERIAL_COLUMNS,
    PLACE_COLUMNS,
    TERMS_COLUMNS,
)
from inventory.sheets import Record, Sheet, Table
from inventory.units import Amount, BadAmount, find_unit, parse_amount, to_millionths, unit_label

_LETTERS_OR_SIGNS = re.compile(r"[^\W\d_]|['\"’”′″]")
_REMARK = re.compile(r"[(\[{]\s*(.+?)\s*[)\]}]\s*$")
NAMES = ("material", "place", "container", "owner", "supplier")
# The columns in which a row introduces what it names.
INTRODUCED_BY = {
    name: frozenset(column.name for column in columns)
    for name, columns in (
        ("material", MATERIAL_COLUMNS),
        ("place", PLACE_COLUMNS),
        ("container", CONTAINER_COLUMNS),
        ("owner", ()),
        ("supplier", TERMS_COLUMNS),
    )
}


def fold_code(text: str) -> str:
    """What makes two codes the same: people do not mean another drum by a small letter."""
    return text.strip().lower()


class StockRows:
    """All rows of the sheet, and the list that every later check adds its faults to.

    Rows with cells that cannot be read are among them, so that all that is wrong with them is told at once.
    `doubtful` are the codes of which rows say something that cannot be read: it may be just what would
    introduce them, so nobody is told that it is missing.
    """

    def __init__(self, sheet: Sheet, *, currency: str) -> None:
        self.table = Table(sheet, COLUMNS, default_units=dict.fromkeys(IN_STOCK_UNIT, "1"), currency=currency)
        self._check_headers()
        self.records = list(self.table.read_rows())
        self.doubtful = self._gather_doubtful(sheet)

    def complain(self, record: Record, column: str, message: str) -> None:
        """Add a fault about one cell, unless it could not be read, which has been told."""
        if column in record.refused:
            return
        self.table.faults.add(self.table.make_fault(record, column, message))

    def naming(self, column: str) -> dict[str, list[Record]]:
        """The rows by the folded code that they name in a column."""
        found: dict[str, list[Record]] = defaultdict(list)
        for record in self.records:
            if record[column]:
                found[fold_code(record[column])].append(record)
        return found

    def doubt(self, column: str, code: str) -> None:
        """Note that what is said of this code was refused, so that what follows from it is not told too."""
        self.doubtful[column].add(fold_code(code))

    def is_doubtful(self, column: str, code: str) -> bool:
        return fold_code(code) in self.doubtful[column]

    def read_in_stock_unit(
        self, record: Record, column: str, stock_unit: str
    ) -> tuple[Amount, int] | tuple[None, None]:
        """Return an amount as entered and in millionths of the stock unit; None where it is blank or faulty.

        A number without any unit is in the row's unit, or in the stock unit where the row names that or
        the goods are counted in pieces. Elsewhere a gallon could be taken for a litre.
        """
        amount = record[column]
        # What a bare number is in may stand in the very cell that could not be read.
        if amount is None or (not record.is_sound and self._is_bare(record, column)):
            return None, None
        try:
            if self._is_bare(record, column):
                amount = parse_amount(amount.value, self._unit_for(record, column, amount, stock_unit))
            return amount, to_millionths(amount, stock_unit)
        except BadAmount as refused:
            self.complain(record, column, refused.message)
            return None, None

    def unit_of_row(self, record: Record, stock_unit: str) -> str:
        """The unit that a price in this row is for: that of its quantity, else the stock unit."""
        amount = record["quantity"]
        if amount is not None and not self._is_bare(record, "quantity"):
            return str(amount.unit)
        return self._unit_beside_quantity(record) or stock_unit

    def _unit_for(self, record: Record, column: str, amount: Amount, stock_unit: str) -> str:
        beside = self._unit_beside_quantity(record) if column != "quantity" else None
        if beside:
            return beside
        if stock_unit == "1" or amount.value == 0 or record["stock_unit"]:
            return stock_unit
        raise BadAmount(
            f"has no unit; write it in the cell (55 {unit_label(stock_unit)}), in the header, "
            "or in a column called unit"
        )

    def _unit_beside_quantity(self, record: Record) -> str | None:
        match = self.table.match
        if "quantity" in match.header_units:
            return match.header_units["quantity"]
        position = match.unit_positions.get("quantity")
        return find_unit(record.row.texts[position]) if position is not None else None

    def _is_bare(self, record: Record, column: str) -> bool:
        match = self.table.match
        text = record.row.texts[match.positions[column]]
        if column in match.header_units or _LETTERS_OR_SIGNS.search(text):
            return False
        position = match.unit_positions.get(column)
        return position is None or not record.row.texts[position].strip()

    def _check_headers(self) -> None:
        for column, accepted in HEADER_UNITS.items():
            position = self.table.match.positions.get(column)
            header = self.table.sheet.headers[position] if position is not None else ""
            remark = _REMARK.search(header)
            if remark and remark[1].casefold() not in accepted:
                fault = Fault(header, remark[1], f"is read in {accepted[0]} only; give it so")
                self.table.faults.add(fault)

    def _gather_doubtful(self, sheet: Sheet) -> dict[str, set[str]]:
        doubtful: dict[str, set[str]] = {name: set() for name in NAMES}
        for record in self.records:
            for name in NAMES if record.refused else ():
                if record[name] and not record.refused.isdisjoint(INTRODUCED_BY[name]):
                    doubtful[name].add(fold_code(record[name]))
        read = {record.line for record in self.records}
        # Rows whose cells cannot be told apart may speak of anything that stands in them.
        for row in sheet if self.table.faults and not self.table.match.faults else ():
            for name in NAMES if row.line not in read else ():
                position = self.table.match.positions.get(name)
                if position is not None and row.texts[position].strip():
                    doubtful[name].add(fold_code(row.texts[position]))
        return doubtful


@dataclass
class Statement:
    """What all rows together say of one thing, by column, and the row that says it first."""

    values: dict[str, Any]
    said_by: dict[str, Record]
    first: Record

    def where(self, column: str) -> Record:
        return self.said_by.get(column, self.first)


def merge(
    rows: StockRows, what: str, said: Iterable[tuple[Record, Mapping[str, Any]]], first: Record
) -> Statement:
    """Put together what several rows say of one thing; rows that contradict each other are faults."""
    statement = Statement({}, {}, first)
    for record, values in said:
        for column, value in values.items():
            if value is None:
                continue
            if column not in statement.values:
                statement.values[column], statement.said_by[column] = value, record
            elif not is_same(statement.values[column], value):
                earlier = statement.said_by[column]
                message = f"line {earlier.line} says {show(statement.values[column])} of the same {what}"
                rows.complain(record, column, f"{message}; make them agree")
    return statement


def compare(
    rows: StockRows,
    what: str,
    statement: Statement,
    known: Mapping[str, Any],
    *,
    show_as: Mapping[str, Callable[[Any], str]] | None = None,
    otherwise: str = "",
) -> None:
    """Complain of everything that the sheet says otherwise than the record on file."""
    for column, value in statement.values.items():
        if column in known and not is_same(known[column], value):
            has = known[column]
            on_file = (show_as or {}).get(column, show)(has) if has not in (None, "") else "nothing"
            remedy = "leave the cell empty" if on_file == "nothing" else f"leave it empty or write {on_file}"
            message = f"{what} has {on_file} on file; {remedy}{otherwise}"
            rows.complain(statement.where(column), column, message)


def is_same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return isclose(one, other, rel_tol=1e-9)
    return bool(one == other)


def show(value: Any) -> str:
    """Write a value as a person reads it."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return str(value)


def in_chunks(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    """Cut a long list, since a statement takes a limited number of parameters."""
    chunk: list[Any] = []
    for item in items:
        chunk.append(item)
        if len(chunk) == size:
            yield chunk
            chunk = []
    if chunk:
        yield chunk
