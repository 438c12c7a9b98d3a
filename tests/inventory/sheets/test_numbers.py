"""What a comma means."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.sheets.numbers import CellRefused, NumberStyle, decide_style, find_marks, read_number

POINT, COMMA, OPEN = NumberStyle("."), NumberStyle(","), NumberStyle(None)


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("1,234.5", "."), ("1.234,5", ","), ("1,234,567", "."), ("1.234.567", ","), ("12.5", "."),
        ("12,5", ","),
        (".452", "."), (",452", ","), ("0.452", "."), ("0,452", ","), ("1234.567", "."), ("1 234,5", ","),
        ("1 234", ".,"), ("412", ".,"), ("1,234", ".,"), ("1.234", ".,"), ("12,34,567", ""), ("1,23.5", ""),
        ("1..2", ""), ("", ""), (".", ""), ("1 23", ""), ("1,2345,678", ""), ("5.", "."),
    ],
)  # fmt: skip
def test_find_marks_tells_how_a_text_can_be_read(text: str, marks: str) -> None:
    assert find_marks(text) == set(marks)


@pytest.mark.parametrize(
    ("texts", "semicolons", "mark"),
    [
        (["1,234", "412"], False, "."),
        (["1,234", "12.5"], False, "."),
        (["1,234", "12,5"], False, ","),
        (["1,234 ft", "1.234,5 ft"], False, ","),
        (["1,234", "12,5", "12.5"], False, None),
        (["1,234"], True, None),
        (["1,234", "12.5"], True, "."),
        ([], False, "."),
    ],
)
def test_decide_style_lets_the_sheet_tell(texts: list[str], semicolons: bool, mark: str | None) -> None:
    assert decide_style(texts, asked=None, is_separated_by_semicolons=semicolons).mark == mark


def test_decide_style_does_as_asked() -> None:
    assert decide_style(["12.5"], asked=",", is_separated_by_semicolons=False) == NumberStyle(",", True)


@pytest.mark.parametrize(
    ("text", "style", "value"),
    [
        ("1,234", POINT, "1234"), ("1,234", COMMA, "1.234"), ("1.234", POINT, "1.234"),
        ("1.234", COMMA, "1234"),
        ("1,234.5", COMMA, "1234.5"), ("1.234,5", POINT, "1234.5"), ("1,234.5", OPEN, "1234.5"),
        ("412", OPEN, "412"),
        ("-12.5", POINT, "-12.5"), ("+ 3", POINT, "3"), ("1 234 567", OPEN, "1234567"),
        ("6 1/2", POINT, "6.5"),
        ("6-1/2", POINT, "6.5"), ("3/64", POINT, "0.046875"), ("-1/2", POINT, "-0.5"), ("007", POINT, "7"),
    ],
)  # fmt: skip
def test_read_number_reads_as_the_sheet_writes(text: str, style: NumberStyle, value: str) -> None:
    assert read_number(text, style) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "style", "reason"),
    [
        ("1,234", OPEN, "may be 1234 or 1.234, and the sheet does not tell which"),
        ("1.234", OPEN, "may be 1234 or 1.234"),
        ("12.5", NumberStyle(",", is_asked_for=True), "is not a number with ',' as the decimal mark"),
        ("1.2E+05", POINT, "shortened form"),
        ("nan", POINT, "is not a number"),
        ("1_000", POINT, "is not a number"),
        ("٣", POINT, "is not a number"),
        ("1/3", POINT, "is not a number"),
        ("9" * 41, POINT, "is not a number"),
        ("--5", POINT, "is not a number"),
        ("=1+1", POINT, "is not a number"),
    ],
)
def test_read_number_refuses_with_the_reason(text: str, style: NumberStyle, reason: str) -> None:
    with pytest.raises(CellRefused, match=reason):
        read_number(text, style)


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=4), st.sampled_from([POINT, COMMA]))
def test_read_number_reads_what_a_program_writes(number: Decimal, style: NumberStyle) -> None:
    written = f"{number:,.4f}"
    if style is COMMA:
        written = written.translate(str.maketrans(",.", ".,"))
    assert read_number(written, style) == number
    assert read_number(written, OPEN) == number
