"""Why a job cost more than was estimated."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.cost_differences import explain_cost


@pytest.mark.outside_check(
    "OpenStax Principles of Accounting 2, section 8.2: price and quantity variance, 20 kg at 2.00 expected, "
    "21 kg at 2.20 used; how known: by hand from its formulas"
)
def test_explain_cost_without_returns_is_price_and_quantity_variance() -> None:
    found = explain_cost(
        estimated_quantity=20,
        estimated_back=0,
        actual_quantity=21,
        actual_back=0,
        unit_cost=2,
        actual_cost=Fraction("46.2"),
    )
    assert found.price == Fraction("4.2")
    assert found.quantity == 2
    assert found.recovery == 0


def test_explain_cost_tells_fluid_that_did_not_come_back_from_fluid_that_went_out() -> None:
    """100 gal expected with 90 back at half their cost; the same 100 went out, 80 came back."""
    found = explain_cost(
        estimated_quantity=100,
        estimated_back=90,
        actual_quantity=100,
        actual_back=80,
        unit_cost=6,
        actual_cost=6 * 100 - 3 * 80,
        back_share=Fraction(1, 2),
    )
    assert (found.price, found.quantity, found.recovery) == (0, 0, 30)


amounts = st.integers(0, 10**6)


@given(amounts, amounts, amounts, amounts, amounts, amounts, st.integers(0, 100))
def test_explain_cost_adds_up_to_the_whole_difference(
    drawn: int, back: int, actual: int, returned: int, price: int, cost: int, percent: int
) -> None:
    share = Fraction(percent, 100)
    back = min(back, drawn)
    found = explain_cost(
        estimated_quantity=drawn,
        estimated_back=back,
        actual_quantity=actual,
        actual_back=returned,
        unit_cost=price,
        actual_cost=cost,
        back_share=share,
    )
    assert found.total == cost - price * (drawn - share * back)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"back_share": 2}, "back_share"),
        ({"estimated_quantity": -1}, "estimated_quantity"),
        ({"estimated_quantity": 0}, "estimated_back"),
        ({"unit_cost": "nan"}, "unit_cost"),
    ],
)
def test_explain_cost_names_what_is_out_of_range(changed: dict[str, object], said: str) -> None:
    good = {"estimated_quantity": 5, "estimated_back": 1, "actual_quantity": 5, "actual_back": 1}
    with pytest.raises(ValueError, match=said):
        explain_cost(**{**good, "unit_cost": 1, "actual_cost": 1, **changed})
