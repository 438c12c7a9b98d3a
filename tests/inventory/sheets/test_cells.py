"""Cells that are no amounts."""

from datetime import date
from decimal import Decimal

import pytest

from inventory.sheets.cells import (
    fold,
    read_boolean,
    read_choice,
    read_date,
    read_decimal,
    read_money,
    read_whole,
    tidy_text,
)
from inventory.sheets.numbers import CellRefused, NumberStyle

POINT = NumberStyle(".")


@pytest.mark.parametrize("text", ["2026-08-07", "2026-08-07T00:00:00", "2026-08-07 00:00"])
def test_read_date_takes_iso_dates(text: str) -> None:
    assert read_date(text) == date(2026, 8, 7)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("07/08/2026", "may be 2026-07-08 or 2026-08-07; write one of them"),
        ("7.8.26", "may be 2026-07-08 or 2026-08-07"),
        ("31/08/2026", "is not written as year-month-day; write 2026-08-31"),
        ("08-31-2026", "write 2026-08-31"),
        ("07/07/2026", "write 2026-07-07"),
        ("45/45/2026", "is not a day of the calendar"),
        ("2026-02-30", "is not a day of the calendar"),
        ("2026-08-07T13:30:00", "write it as year-month-day"),
        ("46241", "write it as year-month-day"),
        ("7 Aug 2026", "write it as year-month-day"),
        ("20260807", "write it as year-month-day"),
    ],
)
def test_read_date_refuses_what_may_be_another_day(text: str, reason: str) -> None:
    with pytest.raises(CellRefused, match=reason):
        read_date(text)


@pytest.mark.parametrize(("text", "number"), [("12", 12), ("1,200", 1200), ("12.0", 12), ("-3", -3)])
def test_read_whole_takes_whole_numbers(text: str, number: int) -> None:
    assert read_whole(text, POINT) == number


@pytest.mark.parametrize(("text", "reason"), [("12.5", "not a whole number"), ("9" * 20, "out of range")])
def test_read_whole_refuses_the_rest(text: str, reason: str) -> None:
    with pytest.raises(CellRefused, match=reason):
        read_whole(text, POINT)


def test_read_decimal_refuses_more_than_six_decimals() -> None:
    assert read_decimal("0.123456", POINT) == Decimal("0.123456")
    with pytest.raises(CellRefused, match="more than 6 decimals"):
        read_decimal("0.1234567", POINT)


@pytest.mark.parametrize(
    "text", ["1234.50", "$1,234.50", "$ 1234.5", "USD 1,234.50", "1234.50 usd", "1234.50$"]
)
def test_read_money_takes_the_expected_currency(text: str) -> None:
    assert read_money(text, POINT, currency="USD") == Decimal("1234.5")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("€12", "is in €; amounts are expected in USD"),
        ("12 EUR", "is in EUR"),
        ("CAD 12", "is in CAD"),
        ("(12)", "is not an amount of money"),
        ("free", "is not an amount of money"),
        ("twelve dollars", "is not an amount of money"),
    ],
)
def test_read_money_refuses_another_currency(text: str, reason: str) -> None:
    with pytest.raises(CellRefused, match=reason):
        read_money(text, POINT, currency="USD")


@pytest.mark.parametrize(
    ("text", "value"), [("Yes", True), ("x", True), ("1", True), ("NO", False), ("f", False)]
)
def test_read_boolean_takes_yes_and_no(text: str, value: bool) -> None:
    assert read_boolean(text) is value


def test_read_boolean_refuses_the_rest() -> None:
    with pytest.raises(CellRefused, match="neither yes nor no"):
        read_boolean("maybe")


def test_read_choice_goes_by_the_folded_spelling() -> None:
    choices = {fold("pedestal"): "pedestal", fold("hand hole"): "handhole", fold("handhole"): "handhole"}
    assert read_choice("Hand-Holes", choices) == "handhole"
    with pytest.raises(CellRefused, match="is none of: pedestal, handhole"):
        read_choice("tree", choices)


def test_tidy_text_makes_typesetting_plain() -> None:
    assert tidy_text("\u00a01\u202f234,5 \u00a0") == "1 234,5"
    assert tidy_text("\u22125 m") == "-5 m"
    assert tidy_text("A \u2013 B") == "A \u2013 B"


@pytest.mark.parametrize("text", ["Span ID", "span_ids", "SPAN-ID", "Span Id:", " spanid "])
def test_fold_leaves_what_stays_the_same(text: str) -> None:
    assert fold(text) == "spanid"


def test_fold_keeps_a_double_s() -> None:
    assert fold("access") == "access"
