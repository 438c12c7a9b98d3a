"""XLSX workbooks. Values are read as last computed and shown; no formula is ever evaluated.

The sheet is read once, when it is opened, into a spool of plain rows: reading it a second time from the
archive would cost ten times as much as reading the spool.
"""

import re
import warnings
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from itertools import repeat
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from inventory.errors import Fault
from inventory.sheets.archive import MAX_SHEET_ROWS, check_archive
from inventory.sheets.sheet import (
    MAX_COLUMNS,
    RowSpool,
    Sheet,
    UnreadableSheet,
    check_headers,
    fit_to_header,
    shorten,
)
from inventory.units import find_unit

# Spreadsheet programs compute with 17 digits and show 15; the other two are noise such as
# 0.30000000000000004.
SHOWN_DIGITS = 15

_BROKEN = (
    BadZipFile, InvalidFileException, SyntaxError, KeyError, ValueError, TypeError, AttributeError,
    IndexError, OSError, EOFError,
)  # fmt: skip
_QUOTED_IN_FORMAT = re.compile(r'"([^"]*)"')


def open_workbook(path: Path, sheet_name: str | None = None) -> Sheet:
    """Check the archive, read one sheet of it into a spool, and hand out the spool."""
    scans = check_archive(path)
    has_formulas = any(scan.has_formulas for scan in scans.values())
    try:
        with warnings.catch_warnings():
            # The library warns of decoration it cannot keep; nothing is kept here.
            warnings.simplefilter("ignore")
            return _read_workbook(path, sheet_name, has_formulas=has_formulas)
    except _BROKEN as error:
        raise UnreadableSheet(
            "the workbook cannot be read; open it in a spreadsheet program and save it again as XLSX or CSV"
        ) from error


def _read_workbook(path: Path, sheet_name: str | None, *, has_formulas: bool) -> Sheet:
    with ExitStack() as opened:
        workbook = _load(path, opened, data_only=True)
        index = _find_sheet(workbook, sheet_name)
        worksheet = workbook.worksheets[index]
        # Cached values and formulas are two readings of a file; the second is made only where it is needed.
        formulas = _load(path, opened, data_only=False) if has_formulas else None
        with_formulas = _rows(formulas.worksheets[index]) if formulas else repeat(())
        reading = _Reading(title=worksheet.title)
        opened.callback(reading.drop_unfinished)
        for line, (cells, formula_cells) in enumerate(zip(_rows(worksheet), with_formulas, strict=False), 1):
            reading.take(line, cells, formula_cells)
        return reading.finish(path.name)


def _load(path: Path, opened: ExitStack, *, data_only: bool) -> Any:
    # Handed over open, because by its path the library judges a file by the end of its name.
    file = opened.enter_context(path.open("rb"))
    return openpyxl.load_workbook(file, read_only=True, data_only=data_only, keep_links=False)


def _find_sheet(workbook: Any, sheet_name: str | None) -> int:
    titles = [worksheet.title for worksheet in workbook.worksheets]
    if not titles:
        raise UnreadableSheet("the workbook has no sheet with cells")
    if sheet_name is None:
        return 0
    for index, title in enumerate(titles):
        if title.strip().casefold() == sheet_name.strip().casefold():
            return index
    raise UnreadableSheet(f"the workbook has no sheet {sheet_name!r}; it has {', '.join(map(repr, titles))}")


def _rows(worksheet: Any) -> Iterator[tuple[Any, ...]]:
    # The size a sheet declares may be wrong, and a large one would be filled up with empty cells.
    worksheet.reset_dimensions()
    rows: Iterator[tuple[Any, ...]] = worksheet.iter_rows(max_row=MAX_SHEET_ROWS)
    return rows


@dataclass
class _Reading:
    """The header and the rows read so far."""

    title: str
    spool: RowSpool = field(default_factory=RowSpool)
    headers: tuple[str, ...] = ()
    header_line: int = 0
    units_of_styles: dict[int, str] = field(default_factory=dict)
    is_finished: bool = False

    def take(self, line: int, cells: tuple[Any, ...], formula_cells: tuple[Any, ...]) -> None:
        texts, numbers = [], []
        for position, cell in enumerate(cells):
            text = write_value(cell.value)
            if type(cell.value) in (int, float):
                numbers.append(position)
                unit = self._unit_of(cell)
                text = f"{text} {unit}" if unit else text
            texts.append(text)
        while texts and not texts[-1].strip():
            texts.pop()
        missing = [(at, cell.value) for at, cell in enumerate(formula_cells) if _lacks_value(cell, cells, at)]
        if not any(texts) and not missing:
            return
        if not self.headers:
            self._take_header(line, texts, missing)
            return
        self._take_row(line, texts, numbers, missing, cells)

    def _take_header(self, line: int, texts: list[str], missing: list[tuple[int, Any]]) -> None:
        if missing:
            raise UnreadableSheet(
                f"cell {get_column_letter(missing[0][0] + 1)}{line} in the header is a formula "
                "without a value; "
                "write the column's name instead"
            )
        self.headers = check_headers(texts)
        self.header_line = line

    def _take_row(
        self,
        line: int,
        texts: list[str],
        numbers: list[int],
        missing: list[tuple[int, Any]],
        cells: tuple[Any, ...],
    ) -> None:
        if len(texts) > MAX_COLUMNS:
            raise UnreadableSheet(f"row {line} has {len(texts)} columns; at most {MAX_COLUMNS} are read")
        fitted, faults = fit_to_header(texts, self.headers, line)
        for at, formula in missing:
            message = (
                f"cell {get_column_letter(at + 1)}{line} is a formula whose value the file does not hold; "
                "open the file in a spreadsheet program and save it, or replace the formula by its value"
            )
            faults.append(Fault(self._header_at(at), shorten(str(formula)), message, line))
        for at, cell in enumerate(cells[: len(self.headers)]):
            if cell.data_type == "e" and self.headers[at]:
                message = f"cell {get_column_letter(at + 1)}{line} shows an error; correct it in the workbook"
                faults.append(Fault(self.headers[at], shorten(fitted[at]), message, line))
        self.spool.add(line, fitted, numbers, faults)

    def _header_at(self, position: int) -> str:
        has_header = position < len(self.headers) and self.headers[position]
        return self.headers[position] if has_header else f"column {get_column_letter(position + 1)}"

    def _unit_of(self, cell: Any) -> str:
        """Return the unit that the cell's number format shows behind the number, as 412 shown as 412 ft."""
        style = cell._style_id
        if style not in self.units_of_styles:
            quoted = _QUOTED_IN_FORMAT.findall(cell.number_format.split(";")[0]) if style else []
            units = [text.strip() for text in quoted if find_unit(text)]
            self.units_of_styles[style] = units[0] if len(units) == 1 else ""
        return self.units_of_styles[style]

    def finish(self, name: str) -> Sheet:
        if not self.headers:
            raise UnreadableSheet(f"the sheet {self.title!r} is empty; its first row must name the columns")
        headers, spool = self.headers, self.spool
        self.is_finished = True
        return Sheet(name, self.header_line, headers, lambda: spool.read(headers), close=spool.close)

    def drop_unfinished(self) -> None:
        """Remove the spool where no sheet was handed out that would."""
        if not self.is_finished:
            self.spool.close()


def _lacks_value(formula_cell: Any, cells: tuple[Any, ...], at: int) -> bool:
    return formula_cell.data_type == "f" and (at >= len(cells) or cells[at].value is None)


def write_value(value: object) -> str:
    """Write a value as the person typed it: no digits that only the machine sees, dates in ISO form."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{Decimal(f'{value:.{SHOWN_DIGITS}g}'):f}"
    if isinstance(value, datetime) and value.time() == time.min:
        return value.date().isoformat()
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    return str(value)
