"""Amounts as they stand in cells: `412'`, `125.6 m`, `412 ft 6 in`, `1,234.5 ft`.

The unit may also stand in the header or in a column of its own, or be the caller's.
"""

import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from inventory.sheets.numbers import CellRefused, NumberStyle, read_number
from inventory.units import Amount, BadAmount, find_unit, parse_amount, unit_label

FEET, INCHES = "[ft_i]", "[in_i]"

_NUMBER = r"(?:\d+[ -])?\d+/\d+|[.,]?\d(?:[\d.,]|[ ](?=\d{3}(?!\d)))*"
# A unit begins with what is no part of a number; "m3" is the one that holds a digit.
_UNIT = r"m\^?3\b|[^\d\s.,+-][^\d]*?"
_AMOUNT = re.compile(
    rf"(?P<sign>[+-]?)\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?"
    rf"(?:\s*[-,]?\s*(?P<second>{_NUMBER})\s*(?P<second_unit>{_UNIT}))?\s*",
    re.ASCII,
)


def read_amount(
    text: str,
    style: NumberStyle,
    *,
    dimension: str | None,
    units_beside: Iterable[tuple[str, str]],
    default: str | None,
) -> Amount:
    """Read a cell as an amount.

    `units_beside` are (where it stands, code) of the units found outside the cell. All units that are given
    must agree; `default` serves only where none is.
    """
    match = _AMOUNT.fullmatch(text)
    if not match:
        raise CellRefused("is not an amount; write a number and its unit, such as 412 ft")
    given = list(units_beside)
    in_cell = match["unit"]
    if in_cell:
        given.insert(0, ("the cell", _find_unit(in_cell, dimension)))
    unit = _agree(given, default)
    number = read_number(match["number"], style)
    if match["second"]:
        return _add_inches(match, unit, number, style)
    return _make_amount(-number if match["sign"] == "-" else number, unit, dimension)


def _find_unit(text: str, dimension: str | None) -> str:
    code = find_unit(text, dimension=dimension) or find_unit(text)
    if code is None:
        raise CellRefused(f"has an unknown unit {text.strip()!r}; write ft, in, m, mm, gal, L, lb or kg")
    return code


def _agree(given: list[tuple[str, str]], default: str | None) -> str:
    codes = {code for _, code in given}
    if len(codes) > 1:
        said = ", ".join(f"{where} says {unit_label(code)}" for where, code in given)
        raise CellRefused(f"has units that do not agree: {said}")
    if codes:
        return codes.pop()
    if default is None:
        raise CellRefused(
            "has no unit; write it in the cell (412 ft), in the header, or in a column for units"
        )
    return default


def _add_inches(match: re.Match[str], unit: str, feet: Decimal, style: NumberStyle) -> Amount:
    """Add inches to feet. Where the sum is no decimal of feet, it is kept in inches, exactly."""
    second_unit = find_unit(match["second_unit"], dimension="length")
    inches = read_number(match["second"], style)
    if unit != FEET or second_unit != INCHES or feet != int(feet) or inches >= 12:
        raise CellRefused(
            "has two parts; only whole feet and less than 12 inches can be added, as in 412 ft 6 in"
        )
    total_inches = feet * 12 + inches
    sign = -1 if match["sign"] == "-" else 1
    in_feet = Fraction(total_inches) / 12
    if (in_feet * 10**6).denominator == 1:
        return _make_amount(sign * Decimal(in_feet.numerator) / Decimal(in_feet.denominator), FEET, "length")
    return _make_amount(sign * total_inches, INCHES, "length")


def _make_amount(value: Decimal, unit: str, dimension: str | None) -> Amount:
    try:
        return parse_amount(value, unit, dimension=dimension)
    except BadAmount as error:
        raise CellRefused(error.message) from error
