"""Amounts as they stand in cells."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.sheets.amounts import read_amount
from inventory.sheets.numbers import CellRefused, NumberStyle
from inventory.units import Amount, to_millionths

POINT = NumberStyle(".")


def read(text: str, *, beside: tuple[tuple[str, str], ...] = (), default: str | None = None) -> Amount:
    return read_amount(text, POINT, dimension="length", units_beside=beside, default=default)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("412'", "412", "[ft_i]"), ("412’", "412", "[ft_i]"), ("412 ft", "412", "[ft_i]"),
        ("412ft.", "412", "[ft_i]"),
        ("1,234.5 ft", "1234.5", "[ft_i]"), ("1 234.5 FEET", "1234.5", "[ft_i]"), ("125.6 m", "125.6", "m"),
        ("125.6M", "125.6", "m"), ("11.5 mm", "11.5", "mm"), (".452 in", "0.452", "[in_i]"),
        ('1/2"', "0.5", "[in_i]"),
        ("412 ft 6 in", "412.5", "[ft_i]"), ("412'6\"", "412.5", "[ft_i]"), ("412' - 6\"", "412.5", "[ft_i]"),
        ("412′ 6″", "412.5", "[ft_i]"), ("412 ft, 3 in", "412.25", "[ft_i]"), ("6' 0\"", "6", "[ft_i]"),
        ("412'-6 3/4\"", "412.5625", "[ft_i]"), ("412'5\"", "4949", "[in_i]"),
        ("-2 ft 6 in", "-2.5", "[ft_i]"),
        ("5 [ft_i]", "5", "[ft_i]"),
    ],
)  # fmt: skip
def test_read_amount_reads_the_unit_in_the_cell(text: str, value: str, unit: str) -> None:
    assert read(text) == Amount(Decimal(value), unit)


@pytest.mark.parametrize(
    ("text", "dimension", "amount"),
    [
        ("55 gal", "volume", Amount(Decimal(55), "[gal_us]")),
        ("55 US gal", "volume", Amount(Decimal(55), "[gal_us]")),
        ("2 m3", "volume", Amount(Decimal(2), "m3")),
        ("2m³", "volume", Amount(Decimal(2), "m3")),
        ("12 each", None, Amount(Decimal(12), "1")),
        ("12 pcs.", "count", Amount(Decimal(12), "1")),
        ("5 G", "volume", Amount(Decimal(5), "[gal_us]")),
    ],
)
def test_read_amount_reads_other_dimensions(text: str, dimension: str | None, amount: Amount) -> None:
    assert read_amount(text, POINT, dimension=dimension, units_beside=(), default=None) == amount


def test_read_amount_takes_the_unit_from_beside_then_from_the_caller() -> None:
    assert read("412", beside=(("the header", "m"),), default="[ft_i]").unit == "m"
    assert read("412", default="[ft_i]").unit == "[ft_i]"
    assert read("412 m", default="[ft_i]").unit == "m"
    assert read("412 m", beside=(("the header", "m"), ("the unit column", "m"))).unit == "m"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("412", "has no unit; write it in the cell"),
        ("412 furlongs", "unknown unit 'furlongs'"),
        ("412 gal", "gal_us. is a unit of volume, not of length"),
        ("about 412", "is not an amount"),
        ("ft", "is not an amount"),
        ("412 m 6 in", "has two parts"),
        ("412.5 ft 6 in", "has two parts"),
        ("412 ft 14 in", "less than 12 inches"),
        ("412 ft 6 m", "has two parts"),
        ("1.2345678 m", "more than 6 decimals"),
        ("9999999999999 m", "out of range"),
        ("=A1*2", "is not an amount"),
        ("412 ft 6", "is not an amount"),
        ("5..2 m", "is not a number"),
    ],
)
def test_read_amount_refuses_with_the_reason(text: str, reason: str) -> None:
    with pytest.raises(CellRefused, match=reason):
        read(text)


def test_read_amount_refuses_units_that_do_not_agree() -> None:
    with pytest.raises(CellRefused, match="do not agree: the cell says ft, the header says m"):
        read("412'", beside=(("the header", "m"),))


# The first conversion of a process builds the registry of units, which passes the usual deadline.
@settings(deadline=None)
@given(feet=st.integers(0, 5000), sixteenths=st.integers(0, 12 * 16 - 1))
def test_feet_and_inches_are_stored_to_the_last_millionth(feet: int, sixteenths: int) -> None:
    inches = Decimal(sixteenths) / 16
    stored = to_millionths(read(f"{feet}' {inches}\""), "[ft_i]")
    exact = feet * 1_000_000 + Decimal(sixteenths) * 1_000_000 / 192
    assert abs(stored - exact) <= Decimal("0.5")
