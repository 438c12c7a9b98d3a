"""Which uses stand, on plans small enough to follow by hand."""

import numpy as np
import pytest
from scipy import stats

from inventory.calc.shortage_chances import Receipt
from inventory.calc.standing_work import PlannedUse, standing_chances

DAYS = 10
NONE = np.zeros(DAYS)


def use(day: int, mean: float, variance: float = 0.0, back: np.ndarray = NONE) -> PlannedUse:
    return PlannedUse(day, mean, variance, back, NONE)


def chances(
    on_hand: float, uses: list[PlannedUse], *receipts: Receipt, other: float = 0.0, is_whole: bool = False
) -> list[float]:
    by_day = other * np.arange(1, DAYS + 1)
    return standing_chances(
        on_hand=on_hand, uses=uses, other=by_day, other_variance=NONE, receipts=receipts, is_whole=is_whole
    )


def test_a_use_that_stands_leaves_what_is_there_to_those_behind_it() -> None:
    # 50: 30 is served, 40 stands, so 20 are there for the 15, and 5 for the 10.
    assert chances(50, [use(1, 30), use(2, 40), use(3, 15), use(4, 10)]) == [0, 1, 0, 1]


def test_a_use_that_stands_brings_nothing_back() -> None:
    back = np.where(np.arange(DAYS) >= 3, 25.0, 0.0)
    assert chances(30, [use(2, 28, back=back), use(3, 27)]) == [0, 0]
    assert chances(20, [use(2, 28, back=back), use(3, 20), use(4, 1)]) == [1, 0, 1]


def test_what_nobody_planned_is_taken_as_well_and_what_is_due_helps_from_its_day_on() -> None:
    assert chances(12, [use(1, 5), use(5, 5)], other=1.0) == [0, 1]
    assert chances(12, [use(1, 5), use(5, 5)], Receipt(7, 4, 0, 20.0), other=1.0) == [0, 0]


@pytest.mark.outside_check(
    "scipy.stats: Poisson and normal tails; how known: an implementation of its own, cases by hand"
)
def test_chances_are_those_of_what_is_taken_and_of_receipts() -> None:
    # The second adds up with the first: P(N(2) > 4), P(N(3) > 4).
    pieces = standing_chances(
        on_hand=4,
        uses=[use(1, 2, 2.0), use(2, 1, 1.0)],
        other=NONE,
        other_variance=NONE,
        receipts=[],
        is_whole=True,
    )
    assert pieces == pytest.approx([stats.poisson.sf(4, 2), stats.poisson.sf(4, 3)])
    late = stats.norm.cdf(1) / stats.norm.sf(-4)
    # Due on the seventh, give or take two: by the fifth it is missing with P(Z > -1), not come before today.
    assert chances(0, [use(5, 3)], Receipt(0, 7, 2, 5.0)) == pytest.approx([late])
