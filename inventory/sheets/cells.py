"""Cells that are no amounts: whole numbers, money, dates, yes and no, choices, text.

A cell that begins with = + - or @ is text like any other; nothing here evaluates it.
"""

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from inventory.sheets.numbers import CellRefused, NumberStyle, read_number

LARGEST_NUMBER = 10**12
DECIMALS = 6

_BLANKS = re.compile(r"[\u00a0\u2007\u2009\u202f\u3000]")
_MINUS = re.compile(r"[\u2212\u2012\u2013](?=\s*[\d.,])")
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?", re.ASCII)
_TWO_WAYS = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
_MONEY = re.compile(r"(-?)\s*([A-Za-z]{3}|[$€£¥])?\s*(-?[\d.,][\d., ]*?)\s*([A-Za-z]{3}|[$€£¥])?", re.ASCII)
# A sign that several currencies share is taken for the company's own, if it is one of them.
_SIGNS = {
    "$": ("USD", "CAD", "AUD", "NZD", "MXN", "SGD", "HKD"),
    "€": ("EUR",),
    "£": ("GBP",),
    "¥": ("JPY", "CNY"),
}
_YES = frozenset(("yes", "y", "true", "t", "1", "x", "on"))
_NO = frozenset(("no", "n", "false", "f", "0", "off"))


def tidy_text(text: str) -> str:
    """Take the blanks off both ends and make the blanks and minus signs of typesetting plain."""
    if text.isascii():
        return text.strip()
    return _MINUS.sub("-", _BLANKS.sub(" ", text)).strip()


def read_decimal(text: str, style: NumberStyle) -> Decimal:
    number = read_number(text, style)
    if abs(number) > LARGEST_NUMBER:
        raise CellRefused(f"is out of range; the largest number is {LARGEST_NUMBER}")
    if number != round(number, DECIMALS):
        raise CellRefused(f"has more than {DECIMALS} decimals; round it")
    return number


def read_whole(text: str, style: NumberStyle) -> int:
    number = read_decimal(text, style)
    if number != int(number):
        raise CellRefused("is not a whole number")
    return int(number)


def read_money(text: str, style: NumberStyle, *, currency: str | None) -> Decimal:
    """Read money; a currency written beside the number must be the expected one."""
    match = _MONEY.fullmatch(text)
    if not match:
        raise CellRefused("is not an amount of money; write a number such as 1234.50")
    sign, before, number, after = match.groups()
    for written in filter(None, (before, after)):
        meant = _SIGNS.get(written, (written.upper(),))
        if currency is not None and currency not in meant:
            raise CellRefused(f"is in {written}; amounts are expected in {currency}")
    return read_decimal(f"{sign}{number}", style)


def read_date(text: str) -> date:
    """Read an ISO date, the only form in which no one takes the month for the day."""
    match = _DATE.fullmatch(text)
    if match:
        try:
            return date.fromisoformat(match[1])
        except ValueError:
            raise CellRefused("is not a day of the calendar") from None
    raise CellRefused(_explain_date(text))


def _explain_date(text: str) -> str:
    match = _TWO_WAYS.fullmatch(text)
    if not match:
        return "is not a date; write it as year-month-day, such as 2026-08-07"
    first, _, second, year = match.groups()
    readings = {_make_date(year, first, second), _make_date(year, second, first)} - {None}
    shown = sorted(str(reading) for reading in readings)
    if len(shown) == 2:
        return f"may be {shown[0]} or {shown[1]}; write one of them"
    return f"is not written as year-month-day; write {shown[0]}" if shown else "is not a day of the calendar"


def _make_date(year: str, month: str, day: str) -> date | None:
    try:
        return date(int(year) + (2000 if len(year) == 2 else 0), int(month), int(day))
    except ValueError:
        return None


def read_boolean(text: str) -> bool:
    folded = text.casefold()
    if folded in _YES:
        return True
    if folded in _NO:
        return False
    raise CellRefused("is neither yes nor no")


def read_choice(text: str, choices: Mapping[str, str]) -> str:
    """Look a choice up; `choices` is by folded spelling."""
    chosen = choices.get(fold(text))
    if chosen is None:
        known = ", ".join(dict.fromkeys(choices.values()))
        raise CellRefused(f"is none of: {known}")
    return chosen


def fold(text: str) -> str:
    """Reduce a name to what stays the same however people spell it: no case, blanks, marks, plural."""
    words = re.findall(r"[^\W_]+", text.casefold())
    return "".join(_to_singular(word) for word in words)


def _to_singular(word: str) -> str:
    is_plural = len(word) > 2 and word.endswith("s") and not word.endswith("ss")
    return word[:-1] if is_plural else word
