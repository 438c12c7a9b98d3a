"""What an importer wants to find in a sheet, and finding it under the names people give to columns."""

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from inventory.errors import Fault
from inventory.sheets.cells import fold
from inventory.sheets.sheet import MAX_HEADER_CHARACTERS, shorten
from inventory.units import find_unit, get_unit

Kind = Literal["text", "whole", "decimal", "money", "amount", "date", "boolean", "choice"]

_IN_BRACKETS = re.compile(r"(.*?\S)\s*[(\[{]\s*(.+?)\s*[)\]}]\s*")
_BEFORE_SIGN = re.compile(r"""([^'"]*\S)\s*(['"’”′″])""")
_AFTER_COMMA = re.compile(r"(.*?\S)\s*,\s*(.+?)\s*")
# "Length in ft": the word goes with the unit, not with the name.
_LEADING_IN = re.compile(r"(.*\S)[\s_-]+in", re.IGNORECASE)
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


@dataclass(frozen=True)
class Column:
    """One thing an importer reads from each row.

    `name` is the key in the record and a spelling of the header itself. A column with a dimension holds
    amounts; kind "amount" without one takes any unit. `is_required` is about the column, `may_be_blank` about
    its cells (as a rule the cells of a required column must be filled). `choices` are values with their
    spellings. Numbers and amounts below zero are refused, zero too if `is_positive`.
    """

    name: str
    spellings: tuple[str, ...] = ()
    dimension: str | None = None
    is_required: bool = True
    kind: Kind = "text"
    may_be_blank: bool | None = None
    choices: Mapping[str, Sequence[str]] = field(default_factory=dict)
    unit_spellings: tuple[str, ...] = ()
    is_positive: bool = False
    may_be_negative: bool = False
    largest: Decimal | None = None
    max_length: int = 200

    @property
    def is_amount(self) -> bool:
        return self.kind == "amount" or self.dimension is not None

    @property
    def is_text(self) -> bool:
        return self.kind == "text" and not self.is_amount

    @property
    def is_number(self) -> bool:
        return self.is_amount or self.kind in ("whole", "decimal", "money")

    @property
    def blank_allowed(self) -> bool:
        return not self.is_required if self.may_be_blank is None else self.may_be_blank

    @property
    def title(self) -> str:
        return self.spellings[0] if self.spellings else self.name.replace("_", " ")

    @property
    def choice_by_spelling(self) -> dict[str, str]:
        return {
            fold(spelling): value
            for value, spellings in self.choices.items()
            for spelling in (value, *spellings)
        }

    def all_spellings(self) -> tuple[str, ...]:
        return (self.name, *self.spellings)

    def all_unit_spellings(self) -> Iterator[str]:
        yield from self.unit_spellings
        for spelling in self.all_spellings():
            yield f"{spelling} unit"
            yield f"unit of {spelling}"


@dataclass
class ColumnMatch:
    """Where the wanted columns stand in one sheet."""

    positions: dict[str, int] = field(default_factory=dict)
    unit_positions: dict[str, int] = field(default_factory=dict)
    header_units: dict[str, str] = field(default_factory=dict)
    ignored: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def match_columns(headers: Sequence[str], columns: Sequence[Column], *, line: int = 1) -> ColumnMatch:
    """Find each column by its spellings, with or without a unit in the header.

    Two headers for one column, a missing required column, and a unit that is unknown or of another dimension
    are faults. Headers nobody asked for are reported as ignored.
    """
    by_name = _index_names(columns)
    by_unit_name = _index_unit_names(columns)
    match = ColumnMatch()
    for position, header in enumerate(headers):
        if not header:
            continue
        folded = fold(header)
        # "Length unit" would also be the length in units.
        if folded in by_unit_name and folded not in by_name:
            _take_position(match, match.unit_positions, by_unit_name[folded], headers, position, line)
            continue
        found = _find_column(header, by_name)
        if found:
            _take_header(match, headers, position, *found, line)
        else:
            match.ignored.append(shorten(header))
    for column in columns:
        if column.is_required and column.name not in match.positions:
            names = ", ".join(
                repr(name) for name in dict.fromkeys((column.title, *column.spellings, column.name))
            )
            match.faults.append(
                Fault(column.title, "", f"the column is missing; name it one of {names}", line)
            )
    return match


def _index_names(columns: Sequence[Column]) -> dict[str, Column]:
    by_name: dict[str, Column] = {}
    for column in columns:
        for spelling in column.all_spellings():
            if by_name.setdefault(fold(spelling), column) is not column:
                raise ValueError(f"two columns are spelled {spelling!r}")
    return by_name


def _index_unit_names(columns: Sequence[Column]) -> dict[str, Column]:
    amounts = [column for column in columns if column.is_amount]
    by_name = {fold(spelling): column for column in amounts for spelling in column.all_unit_spellings()}
    if len(amounts) == 1:
        # With more amounts a column that is just called "unit" would not tell whose unit it is.
        for spelling in ("unit", "uom", "unit of measure"):
            by_name.setdefault(fold(spelling), amounts[0])
    return by_name


def _find_column(header: str, by_name: Mapping[str, Column]) -> tuple[Column, str] | None:
    """Return the column and the text of the unit in the header ("" when there is none)."""
    if len(header) > MAX_HEADER_CHARACTERS:
        return None
    plain = unicodedata.normalize("NFC", header)
    splits = list(_split_unit(plain))
    for name, unit_text, is_marked in splits:
        column = by_name.get(fold(name))
        # Before the whole, since folding drops a unit that is only a sign: Length (').
        if column and column.is_amount and is_marked and _find_header_unit(unit_text, None):
            return column, unit_text
    whole = by_name.get(fold(plain))
    if whole:
        return whole, ""
    for name, unit_text, is_marked in splits:
        column = by_name.get(fold(name))
        if column is None:
            continue
        if not column.is_amount:
            # "Span (as on the map)": what stands in brackets beside a plain column is a remark.
            return (column, "") if is_marked else None
        if is_marked or _find_header_unit(unit_text, None):
            return column, unit_text
    return None


def _split_unit(header: str) -> Iterator[tuple[str, str, bool]]:
    """Yield (name, unit, whether a mark sets the unit off) for each way to take a unit off a header."""
    for pattern in (_IN_BRACKETS, _AFTER_COMMA, _BEFORE_SIGN):
        match = pattern.fullmatch(header)
        if match:
            yield match[1], match[2], True
    words = re.split(r"[\s_/:-]+", _CAMEL.sub(" ", header).strip())
    for count in (1, 2):
        if len(words) > count:
            name, unit = " ".join(words[:-count]), " ".join(words[-count:])
            yield name, unit, False
            with_in = _LEADING_IN.fullmatch(name)
            if with_in:
                yield with_in[1], unit, False


def _find_header_unit(text: str, dimension: str | None) -> str | None:
    for spelling in (text, f"[{text}]"):
        code = find_unit(spelling, dimension=dimension) or find_unit(spelling)
        if code:
            return code
    return None


def _take_header(
    match: ColumnMatch, headers: Sequence[str], position: int, column: Column, unit_text: str, line: int
) -> None:
    _take_position(match, match.positions, column, headers, position, line)
    if not unit_text:
        return
    unit = _find_header_unit(unit_text, column.dimension)
    if unit is None:
        message = f"the unit {unit_text!r} is not known; write ft, in, m, mm, gal, L, lb or kg"
        match.faults.append(Fault(headers[position], unit_text, message, line))
    elif column.dimension not in (None, get_unit(unit).dimension):
        message = f"{get_unit(unit).label} is a unit of {get_unit(unit).dimension}, not of {column.dimension}"
        match.faults.append(Fault(headers[position], unit_text, message, line))
    else:
        match.header_units[column.name] = unit


def _take_position(
    match: ColumnMatch,
    positions: dict[str, int],
    column: Column,
    headers: Sequence[str],
    position: int,
    line: int,
) -> None:
    first = positions.setdefault(column.name, position)
    if first != position:
        message = f"two columns say the same: {headers[first]!r} and {headers[position]!r}; keep one of them"
        match.faults.append(Fault(headers[position], "", message, line))
