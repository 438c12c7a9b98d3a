"""Numbers taken as they were typed."""

from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.calc.exact_numbers import Exact, as_exact, as_exact_not_negative


@pytest.mark.parametrize("value", [0.1, "0.1", Decimal("0.1"), Fraction(1, 10)])
def test_as_exact_takes_a_tenth_for_a_tenth(value: Exact) -> None:
    assert as_exact("price", value) == Fraction(1, 10)


@pytest.mark.parametrize("value", ["ten", float("nan"), float("inf"), Decimal("NaN"), None])
def test_as_exact_names_what_is_no_number(value: Exact) -> None:
    with pytest.raises(ValueError, match=r"^price must be"):
        as_exact("price", value)


def test_as_exact_not_negative_names_what_is_below_zero() -> None:
    with pytest.raises(ValueError, match=r"^price must be 0 or more, got -0.5"):
        as_exact_not_negative("price", -0.5)
