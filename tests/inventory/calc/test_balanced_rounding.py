"""Rounded balances still balance."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.balanced_rounding import round_balances


@pytest.mark.outside_check(
    "Balinski & Young, Fair Representation, Hamilton's method; how known: worked by hand"
)
def test_round_balances_gives_what_is_left_to_the_largest_remainders() -> None:
    assert round_balances(balances=[1_400, 2_300, 300, -4_000], unit=1_000) == [2, 2, 0, -4]


@given(st.lists(st.integers(-(10**12), 10**12), max_size=30), st.sampled_from([1, 100, 10_000, 10**6]))
def test_round_balances_sums_to_nothing_and_strays_by_less_than_a_coin(values: list[int], unit: int) -> None:
    balances = [*values, -sum(values)]
    rounded = round_balances(balances=balances, unit=unit)
    assert sum(rounded) == 0
    assert all(abs(whole * unit - exact) < unit for whole, exact in zip(rounded, balances, strict=True))


def test_round_balances_refuses_what_does_not_balance_and_coins_of_nothing() -> None:
    with pytest.raises(ValueError, match="sum to 0, got 5"):
        round_balances(balances=[5], unit=1)
    with pytest.raises(ValueError, match="unit must be"):
        round_balances(balances=[], unit=0)
