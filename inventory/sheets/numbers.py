"""Numbers as people type them, and the question what a comma means.

`1,234.5` and `1.234,5` can each be read one way only. `1,234` and `1.234` can be read two ways that differ by
a factor of a thousand. The whole sheet decides:

- the caller says which decimal mark the sheet has: then that, and a cell that contradicts it is a fault;
- cells of the sheet that can be read one way only all agree: then their mark, for all cells;
- no cell tells, and the file is not separated by semicolons: the point. A comma before exactly three digits
  is
  then a thousands mark, as people who separate cells by commas write it;
- the cells contradict each other, or no cell tells and the file is separated by semicolons, which is what
  programs do where the comma is the decimal mark: a cell that can be read both ways is a fault that says so.

Cells of a workbook or of GeoJSON that are typed as numbers ask no question and give no answer.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

DecimalMark = Literal[".", ","]
LONGEST_NUMBER = 40

_BY_MARK: dict[DecimalMark, re.Pattern[str]] = {
    ".": re.compile(r"(?:[1-9]\d{0,2}(?:,\d{3})+|[1-9]\d{0,2}(?: \d{3})+|\d+)(?:\.\d*)?|\.\d+", re.ASCII),
    ",": re.compile(r"(?:[1-9]\d{0,2}(?:\.\d{3})+|[1-9]\d{0,2}(?: \d{3})+|\d+)(?:,\d*)?|,\d+", re.ASCII),
}
_FRACTION = re.compile(r"(?:(\d{1,9})[ -])?(\d{1,4})/(2|4|8|16|32|64)", re.ASCII)
_SHORTENED = re.compile(r"\d[\d.,]*[eE][+-]?\d+", re.ASCII)
_NUMBER_INSIDE = re.compile(r"\d[\d.,]*[.,]\d+|[.,]\d+")


class CellRefused(ValueError):
    """A cell cannot be understood. The table turns it into a fault with line, column and value."""


@dataclass(frozen=True)
class NumberStyle:
    """How numbers of a sheet are read; without a mark, cells that can be read two ways are refused."""

    mark: DecimalMark | None = "."
    is_asked_for: bool = False


PLAIN = NumberStyle(".", is_asked_for=True)


def find_marks(text: str) -> set[DecimalMark]:
    """Return the decimal marks with which the text is a number."""
    return {mark for mark, pattern in _BY_MARK.items() if pattern.fullmatch(text)}


def find_ambiguous(text: str) -> list[str]:
    """The numbers in a cell that can be read both with a point and with a comma as the decimal mark."""
    return [number for number in _NUMBER_INSIDE.findall(text) if len(find_marks(number)) == 2]


def decide_style(
    texts: Iterable[str], *, asked: DecimalMark | None, is_separated_by_semicolons: bool
) -> NumberStyle:
    """Find how a sheet writes numbers, as the module says above."""
    if asked is not None:
        return NumberStyle(asked, is_asked_for=True)
    told: set[DecimalMark] = set()
    for text in texts:
        for number in _NUMBER_INSIDE.findall(text):
            marks = find_marks(number)
            if len(marks) == 1:
                told |= marks
        if len(told) == 2:
            return NumberStyle(None)
    if told:
        return NumberStyle(told.pop())
    return NumberStyle(None if is_separated_by_semicolons else ".")


def read_number(text: str, style: NumberStyle) -> Decimal:
    """Read a number, with or without sign, thousands marks and a fraction such as 6 1/2."""
    body = text.strip()
    sign = -1 if body.startswith("-") else 1
    body = body[1:].lstrip() if body[:1] in ("-", "+") else body
    fraction = _FRACTION.fullmatch(body)
    if fraction:
        whole, upper, lower = fraction.groups()
        return sign * (Decimal(whole or 0) + Decimal(upper) / Decimal(lower))
    marks = find_marks(body) if len(body) <= LONGEST_NUMBER else set()
    if not marks:
        raise CellRefused(_explain(body))
    mark = _choose_mark(body, marks, style)
    thousands = "," if mark == "." else "."
    return sign * Decimal(body.replace(" ", "").replace(thousands, "").replace(mark, "."))


def _choose_mark(body: str, marks: set[DecimalMark], style: NumberStyle) -> DecimalMark:
    if style.is_asked_for and style.mark not in marks:
        raise CellRefused(
            f"is not a number with {style.mark!r} as the decimal mark, as the sheet is to be read"
        )
    if len(marks) == 1:
        return next(iter(marks))
    if style.mark is not None:
        return style.mark
    if not re.search("[.,]", body):
        return "."
    plain = body.replace(",", "").replace(".", "")
    small = body.replace(",", ".")
    raise CellRefused(
        f"may be {plain} or {small}, and the sheet does not tell which; "
        "write it without thousands marks, or say which decimal mark the sheet has"
    )


def _explain(body: str) -> str:
    if _SHORTENED.fullmatch(body):
        return "is a number in shortened form, whose last digits may be lost; write all its digits"
    return "is not a number; write digits such as 1234.5"
