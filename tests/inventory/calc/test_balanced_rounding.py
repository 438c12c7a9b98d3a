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


@pytest.mark.outside_check(
    "Balinski & Young, Fair Representation, Hamilton's method over what is not given; how known: by hand"
)
def test_round_balances_keeps_what_stands_and_shares_the_rest() -> None:
    balances = [1_400, 2_600, 300, -4_300]
    # Alone the largest remainders (700 of the last, 600) would have taken 2600 up.
    assert round_balances(balances=balances, unit=1_000) == [1, 3, 0, -4]
    assert round_balances(balances=balances, unit=1_000, standing=[None, 2, None, None]) == [2, 2, 0, -4]
    # One coin more than there are balances to take it.
    assert round_balances(balances=[900, 900, -1_800], unit=1_000, standing=[0, 0, None]) == [0, 0, 0]


@given(
    st.lists(st.tuples(st.integers(-(10**12), 10**12), st.booleans()), max_size=30),
    st.sampled_from([1, 100, 10_000, 10**6]),
)
def test_round_balances_never_moves_what_stands(rows: list[tuple[int, bool]], unit: int) -> None:
    balances = [*(value for value, _stands in rows), -sum(value for value, _stands in rows)]
    standing = [*(value // unit if stands else None for value, stands in rows), None]
    rounded = round_balances(balances=balances, unit=unit, standing=standing)
    assert sum(rounded) == 0
    assert [whole for whole, kept in zip(rounded, standing, strict=True) if kept is not None] == [
        kept for kept in standing if kept is not None
    ]


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
    with pytest.raises(ValueError, match="2 values or none"):
        round_balances(balances=[5, -5], unit=1, standing=[5])
    with pytest.raises(ValueError, match="what stands must sum to 0, got 1"):
        round_balances(balances=[5, -5], unit=10, standing=[1, 0])
