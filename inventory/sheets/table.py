"""From rows of text to records an importer can use, with every fault of every row in one go."""

import re
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from inventory.errors import BadInput, Fault
from inventory.sheets.amounts import read_amount
from inventory.sheets.cells import (
    read_boolean,
    read_choice,
    read_date,
    read_decimal,
    read_money,
    read_whole,
    tidy_text,
)
from inventory.sheets.columns import Column, match_columns
from inventory.sheets.numbers import (
    PLAIN,
    CellRefused,
    DecimalMark,
    NumberStyle,
    decide_style,
    find_ambiguous,
)
from inventory.sheets.sheet import Row, Sheet, shorten
from inventory.units import Amount, find_unit, get_unit, require_dimension

# A person corrects the first hundred and tries again; the rest only fills memory.
FAULT_LIMIT = 1_000
DOUBTFUL_LIMIT = 20
# Longer than any amount, number or date that is meant as one.
LONGEST_VALUE = 80


# Line ends and tabs may stand in a remark; the rest no database or page takes.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")


class FaultySheet(BadInput):
    """Rows of the sheet cannot be understood. Every fault is listed, up to the limit; nothing is stored."""

    code = "faulty_sheet"


@dataclass
class FaultList:
    """Faults up to a limit, and how many there were in all."""

    limit: int = FAULT_LIMIT
    kept: list[Fault] = field(default_factory=list)
    count: int = 0

    def add(self, fault: Fault) -> None:
        self.count += 1
        if len(self.kept) < self.limit:
            self.kept.append(fault)

    def extend(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            self.add(fault)

    def __bool__(self) -> bool:
        return self.count > 0

    def raise_if_any(self, name: str) -> None:
        """Refuse the sheet, naming the first few faults in the message and carrying all that were kept."""
        if not self:
            return
        kept = sorted(self.kept, key=lambda fault: fault.line or 0)
        shown = "; ".join(fault.sentence() for fault in kept[:5])
        more = f"; and {self.count - 5} more" if self.count > 5 else ""
        faults = list(kept)
        if self.count > len(kept):
            faults.append(Fault("file", "", f"and {self.count - len(kept)} more faults that are not listed"))
        noun = "fault" if self.count == 1 else "faults"
        raise FaultySheet(f"{name} has {self.count} {noun}: {shown}{more}", faults=faults)


@dataclass(frozen=True, slots=True)
class Record:
    """One row: values by column name. A blank cell, and a column that is not there, is None.

    `refused` names the columns whose cells could not be understood; their values are None as well.
    """

    line: int
    values: dict[str, Any]
    row: Row
    refused: frozenset[str] = frozenset()

    @property
    def is_sound(self) -> bool:
        return not self.refused

    def __getitem__(self, name: str) -> Any:
        return self.values[name]


class Table:
    """A sheet read through the eyes of an importer.

    Iterating yields the records of sound rows; faults of the others collect in `faults`. An importer that
    looks its names up goes through `read_rows` instead, so that a row with an unreadable cell has its other
    faults named in the same go. Read to the end, then call `raise_if_faulty`. `ignored_headers` are those
    nobody asked for, to be shown to the person.
    """

    def __init__(
        self,
        sheet: Sheet,
        columns: Sequence[Column],
        *,
        default_units: Mapping[str, str] | None = None,
        decimal_mark: DecimalMark | None = None,
        currency: str | None = None,
        fault_limit: int = FAULT_LIMIT,
    ) -> None:
        self.sheet = sheet
        self.columns = tuple(columns)
        self.faults = FaultList(fault_limit)
        self.match = match_columns(sheet.headers, columns, line=sheet.header_line)
        self.faults.extend(self.match.faults)
        self._default_units = dict(default_units or {})
        self._check_default_units()
        self._currency = currency
        self._found = [column for column in self.columns if column.name in self.match.positions]
        self._absent = {
            column.name: None for column in self.columns if column.name not in self.match.positions
        }
        self._choices = {column.name: column.choice_by_spelling for column in self.columns}
        self.style = self._decide_style(decimal_mark)
        # Numbers that could be read two ways, and were read as the sheet's other cells say.
        self.doubtful: list[Fault] = []

    @property
    def ignored_headers(self) -> tuple[str, ...]:
        return tuple(self.match.ignored)

    def __iter__(self) -> Iterator[Record]:
        return (record for record in self.read_rows() if record.is_sound)

    def read_rows(self) -> Iterator[Record]:
        """Yield every row whose cells can be told apart, those with refused cells among them."""
        if self.match.faults:
            # Without knowing the columns every cell would be a fault of its own.
            return
        is_empty = True
        for row in self.sheet:
            is_empty = False
            record = self._read_row(row)
            if record is not None:
                yield record
        if is_empty:
            self.faults.add(Fault("file", "", "there are no rows below the header", self.sheet.header_line))

    def read_all(self) -> list[Record]:
        """Return every record, or refuse the sheet with all its faults."""
        records = list(self)
        self.raise_if_faulty()
        return records

    def raise_if_faulty(self) -> None:
        """Refuse the sheet with all its faults; headings that nobody understood are named with them.

        A misspelt heading is often why a row lacks something.
        """
        if self.faults:
            message = "is no heading that is understood here, so the column was not read"
            line = self.sheet.header_line
            self.faults.extend(Fault(header, "", message, line) for header in self.match.ignored)
        self.faults.raise_if_any(self.sheet.name)

    def make_fault(self, record: Record, column_name: str, message: str) -> Fault:
        """Make a fault about one cell of a record, for what only the importer can know."""
        position = self.match.positions.get(column_name)
        if position is None:
            return Fault(column_name, "", message, record.line)
        return Fault(self.sheet.headers[position], shorten(record.row.texts[position]), message, record.line)

    def _check_default_units(self) -> None:
        for column in self.columns:
            unit = self._default_units.get(column.name)
            if unit and column.dimension:
                require_dimension(unit, column.dimension)
            elif unit:
                get_unit(unit)

    def _decide_style(self, asked: DecimalMark | None) -> NumberStyle:
        return decide_style(
            self._texts_with_marks(),
            asked=asked,
            is_separated_by_semicolons=self.sheet.is_separated_by_semicolons,
        )

    def _texts_with_marks(self) -> Iterator[str]:
        positions = [self.match.positions[column.name] for column in self._found if column.is_number]
        if not positions or self.match.faults:
            return
        for row in self.sheet:
            texts = row.texts
            for position in positions:
                text = texts[position]
                has_mark = "." in text or "," in text
                if has_mark and len(text) <= LONGEST_VALUE and position not in row.numbers:
                    yield tidy_text(text)

    def _read_row(self, row: Row) -> Record | None:
        faults = list(row.faults)
        # A fault of the row already says what is wrong with that cell.
        known = {fault.pointer for fault in faults}
        values: dict[str, Any] = dict(self._absent)
        refused = set(known)
        for column in self._found if "row" not in known else ():
            position = self.match.positions[column.name]
            header, values[column.name] = row.headers[position], None
            try:
                if header in known:
                    refused.add(column.name)
                else:
                    values[column.name] = self._read_cell(column, row, position)
            except CellRefused as refusal:
                refused.add(column.name)
                faults.append(Fault(header, shorten(row.texts[position]), str(refusal), row.line))
        self.faults.extend(faults)
        return None if "row" in known else Record(row.line, values, row, frozenset(refused))

    def _read_cell(self, column: Column, row: Row, position: int) -> Any:
        text = tidy_text(row.texts[position])
        if not text:
            if not column.blank_allowed:
                raise CellRefused("is empty; every row needs it")
            return None
        if not column.is_text and len(text) > LONGEST_VALUE:
            raise CellRefused(f"has {len(text)} characters, too many for what is expected here")
        style = PLAIN if position in row.numbers else self.style
        if column.is_number:
            self._note_doubtful(text, style, row, position)
        if column.is_amount:
            return self._read_amount(column, row, text, style)
        return _check_range(column, self._READERS[column.kind](self, column, text, style))

    def _note_doubtful(self, text: str, style: NumberStyle, row: Row, position: int) -> None:
        """Note a number such as 1.200 in a sheet with decimal commas: a slip is a factor of a thousand."""
        if style.mark != "," or style.is_asked_for or len(self.doubtful) >= DOUBTFUL_LIMIT:
            return
        for number in find_ambiguous(text):
            read = number.replace(".", "").replace(",", ".")
            message = f"was read as {read}, since the sheet writes decimals with a comma"
            self.doubtful.append(Fault(row.headers[position], shorten(text), message, row.line))

    def _read_amount(self, column: Column, row: Row, text: str, style: NumberStyle) -> Amount:
        beside = []
        if column.name in self.match.header_units:
            beside.append(("the header", self.match.header_units[column.name]))
        unit_position = self.match.unit_positions.get(column.name)
        if unit_position is not None and row.texts[unit_position].strip():
            beside.append(("the unit column", _read_unit(row.texts[unit_position], column.dimension)))
        amount = read_amount(
            text,
            style,
            dimension=column.dimension,
            units_beside=beside,
            default=self._default_units.get(column.name),
        )
        _check_range(column, amount.value)
        return amount

    def _read_text(self, column: Column, text: str, style: NumberStyle) -> str:
        if len(text) > column.max_length:
            raise CellRefused(f"has {len(text)} characters; at most {column.max_length} are kept")
        if _UNPRINTABLE.search(text):
            raise CellRefused("holds control characters; type it again")
        return text

    def _read_choice(self, column: Column, text: str, style: NumberStyle) -> str:
        return read_choice(text, self._choices[column.name])

    _READERS: Mapping[str, Callable[["Table", Column, str, NumberStyle], Any]] = {
        "text": _read_text,
        "choice": _read_choice,
        "whole": lambda table, column, text, style: read_whole(text, style),
        "decimal": lambda table, column, text, style: read_decimal(text, style),
        "money": lambda table, column, text, style: read_money(text, style, currency=table._currency),
        "date": lambda table, column, text, style: read_date(text),
        "boolean": lambda table, column, text, style: read_boolean(text),
    }


def _read_unit(text: str, dimension: str | None) -> str:
    code = find_unit(tidy_text(text), dimension=dimension) or find_unit(tidy_text(text))
    if code is None:
        raise CellRefused(f"has a unit {shorten(text.strip())!r} beside it that is not known")
    return code


def _check_range(column: Column, value: Any) -> Any:
    if not column.is_number:
        return value
    if value < 0 and not column.may_be_negative:
        raise CellRefused("is below zero")
    if value == 0 and column.is_positive:
        raise CellRefused("is zero; it must be more")
    if column.largest is not None and value > column.largest:
        raise CellRefused(f"is more than {column.largest}, the most that is taken here")
    return value


def find_duplicates(
    lines_and_keys: Iterable[tuple[int, Hashable]], *, pointer: str, what: str = "row"
) -> list[Fault]:
    """Return a fault for every line whose key was met before, naming the first line that has it."""
    first_lines: dict[Hashable, int] = {}
    faults = []
    for line, key in lines_and_keys:
        first = first_lines.setdefault(key, line)
        if first != line:
            shown = ", ".join(map(str, key)) if isinstance(key, tuple) else str(key)
            faults.append(Fault(pointer, shorten(shown), f"the same {what} is already on line {first}", line))
    return faults
