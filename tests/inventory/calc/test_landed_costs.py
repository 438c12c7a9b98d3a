"""Freight and duty over the lines that they were paid for."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.landed_costs import Share, landed_costs, part_of, round_quotient


@pytest.mark.outside_check("IAS 2 paragraph 11, cost of purchase; how known: worked by hand")
def test_landed_costs_share_freight_by_weight_and_duty_by_value() -> None:
    landed = landed_costs(
        prices=[60_000, 40_000],
        charges=[Share(10_000, [1, 3]), Share(5_000, [60_000, 40_000])],
    )
    assert landed == [60_000 + 2_500 + 3_000, 40_000 + 7_500 + 2_000]


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=8), st.lists(st.integers(0, 10**9), max_size=4))
def test_landed_costs_are_all_that_was_billed(prices: list[int], amounts: list[int]) -> None:
    weights = [price + 1 for price in prices]
    landed = landed_costs(prices=prices, charges=[Share(amount, weights) for amount in amounts])
    assert sum(landed) == sum(prices) + sum(amounts)


def test_landed_costs_refuse_weights_for_other_lines_and_prices_below_nothing() -> None:
    with pytest.raises(ValueError, match=r"charges\[0\] must have 2 weights, got 1"):
        landed_costs(prices=[1, 2], charges=[Share(5, [1])])
    with pytest.raises(ValueError, match="prices must be 0 or more, got -2"):
        landed_costs(prices=[1, -2], charges=[])


@pytest.mark.outside_check("IEEE 754 half to even on running totals; how known: worked by hand")
def test_part_of_gives_parts_that_add_up_to_the_whole() -> None:
    parts = [part_of(whole_value=10, whole_quantity=4, before=number, upto=number + 1) for number in range(4)]
    assert parts == [2, 3, 3, 2]


def test_part_of_refuses_what_lies_outside_the_whole() -> None:
    with pytest.raises(ValueError, match="must lie within 0 to 4"):
        part_of(whole_value=10, whole_quantity=4, before=2, upto=5)


@pytest.mark.outside_check("Python's round of a Fraction, halves to the even; how known: its documentation")
@given(st.integers(-(10**18), 10**18), st.integers(1, 10**12))
def test_round_quotient_is_the_nearest_whole_number(dividend: int, divisor: int) -> None:
    assert round_quotient(dividend, divisor) == round(Fraction(dividend, divisor))
    assert round_quotient(dividend * divisor + divisor, 2 * divisor) == round(Fraction(dividend + 1, 2))
