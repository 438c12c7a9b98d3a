"""Shares of money: published examples, and what must hold for any."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.allocation import allocate_money
from inventory.calc.exact_numbers import Exact


@pytest.mark.outside_check(
    "largest remainder: Fowler, Patterns of Enterprise Application Architecture, 5 cents 70/30; Wikipedia, "
    "Hare quota, 10 seats; how known: from memory, recomputed with fractions"
)
@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        (5, [70, 30], [4, 1]),
        (10, [47000, 16000, 15900, 12000, 6000, 3100], [5, 2, 1, 1, 1, 0]),
        (10_000, [1, 1, 1], [3334, 3333, 3333]),
        (1000, [0, 5, 5], [0, 500, 500]),
        (-10_000, [1, 1, 1], [-3334, -3333, -3333]),
        (1, ["0.1", 0.1, Decimal("0.1")], [1, 0, 0]),
        (0, [0, 0], [0, 0]),
        (7, [3], [7]),
    ],
)
def test_allocate_money_gives_every_coin_away_once(
    total: int, weights: list[Exact], shares: list[int]
) -> None:
    assert allocate_money(total_minor_units=total, weights=weights) == shares


WEIGHTS = st.lists(st.integers(0, 10**6), min_size=1, max_size=12).filter(any)


@given(total=st.integers(-(10**12), 10**12), weights=WEIGHTS, factor=st.integers(1, 99))
def test_allocate_money_keeps_to_the_quotas(total: int, weights: list[int], factor: int) -> None:
    shares = allocate_money(total_minor_units=total, weights=weights)
    assert sum(shares) == total
    for share, weight in zip(shares, weights, strict=True):
        quota = Fraction(abs(total) * weight, sum(weights))
        assert quota - 1 < abs(share) < quota + 1
    scaled = [Fraction(weight, factor) for weight in weights]
    assert allocate_money(total_minor_units=total, weights=scaled) == shares


@pytest.mark.parametrize(
    ("total", "weights", "name"),
    [
        (1, [0, 0], "weights"),
        (0, [], "weights"),
        (1, [1, -1], "weights[1]"),
        (1.5, [1], "total_minor_units"),
        (1, ["a"], "weights[0]"),
    ],
)
def test_allocate_money_names_what_is_out_of_range(total: int, weights: list[Exact], name: str) -> None:
    with pytest.raises(ValueError, match="must") as refusal:
        allocate_money(total_minor_units=total, weights=weights)
    assert str(refusal.value).startswith(f"{name} must")
