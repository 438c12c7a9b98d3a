"""What weeks gone by teach about how far demand strays."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.spread_lessons import FACTORS, Aimed, Lesson, learnt_factor, teach, teach_classes
from inventory.calc.stock_levels import LeadTimeDemands

RANDOM = np.random.default_rng(11)


def aimed(
    mean: float, sd: float, *, count: int, share: float = 0.95, fill: bool = True, **more: Any
) -> Aimed:
    return Aimed(
        demands=LeadTimeDemands(np.full(count, mean), np.full(count, sd), np.zeros(count, bool)),
        order_quantity=more.get("size", np.full(count, 1e-6)),
        share=np.full(count, share),
        is_fill_rate=np.full(count, fill),
        stood=more.get("stood", np.full(count, np.nan)),
    )


def taught(found: Aimed, needed: Any, before: Any, weights: Any = None) -> Lesson:
    needed, before = np.asarray(needed, dtype=float), np.asarray(before, dtype=float)
    return teach(
        aimed=found,
        needed=needed,
        needed_before=before,
        weights=np.ones(len(needed)) if weights is None else np.asarray(weights, dtype=float),
        among=np.ones(len(needed), bool),
    )


@pytest.mark.outside_check(
    "definition of the fill rate, Snyder & Shen (2019) section 5.3.2: r = 10 + f z 2, z = 1.6449 at 95 %; "
    "of a demand of 20 what is above r is missed; how known: worked by hand"
)
def test_teach_counts_what_is_missed_in_the_last_period() -> None:
    found = taught(aimed(10.0, 2.0, count=1), [20.0], [0.0])
    assert (found.seen, found.wanted, found.allowed) == (1, 20.0, pytest.approx(1.0))
    assert found.missed == pytest.approx(np.maximum(20 - (10 + FACTORS * 1.6449 * 2), 0), abs=1e-3)
    # What was wanted before the last period is somebody else's lesson.
    earlier = taught(aimed(10.0, 2.0, count=1), [20.0], [20.0])
    assert (earlier.seen, earlier.wanted, earlier.missed.max()) == (0, 0.0, 0.0)


@pytest.mark.outside_check(
    "mean over the positions r + 1 to r + Q, Snyder & Shen (2019) section 5.3.2: r = 10 and Q = 4 against 13 "
    "pieces miss (2 + 1) / 4; how known: worked by hand"
)
def test_teach_counts_every_position_that_pieces_may_stand_at() -> None:
    pieces = Aimed(
        demands=LeadTimeDemands(np.array([10.0]), np.array([1e-9]), np.array([True])),
        order_quantity=np.array([4.0]),
        share=np.array([0.5]),
        is_fill_rate=np.array([False]),
        stood=np.array([np.nan]),
    )
    cycle = taught(pieces, [13.0], [0.0])
    assert (cycle.wanted, cycle.missed.tolist()) == (1.0, [1.0] * len(FACTORS))
    filled = Aimed(pieces.demands, pieces.order_quantity, pieces.share, np.array([True]), pieces.stood)
    # A fill rate of half over four positions around a certain ten: r = 8, positions 9 to 12.
    assert taught(filled, [13.0], [0.0]).missed[6] == pytest.approx((4 + 3 + 2 + 1) / 4)


@pytest.mark.outside_check(
    "a normal demand with twice the deviation needs twice the safety factor, Snyder & Shen (2019) section "
    "5.3.2; how known: standard result, from memory; the sample is drawn with numpy"
)
def test_learnt_factor_is_what_would_have_been_enough() -> None:
    count = 20_000
    needed = RANDOM.normal(100, 20, count)
    for fill in (True, False):
        lesson = taught(aimed(100.0, 10.0, count=count, share=0.95, fill=fill), needed, np.zeros(count))
        factor = learnt_factor([lesson])
        assert factor is not None
        at = float(np.interp(factor, FACTORS, lesson.missed)) / lesson.wanted
        assert at == pytest.approx(0.05, abs=0.003)
        # Demand strays twice as far as was foreseen; of a fill rate much less is missed for that.
        assert factor == (pytest.approx(2.0, abs=0.1) if not fill else pytest.approx(0.25, abs=0.25))


def test_learnt_factor_says_nothing_from_little_and_is_drawn_to_one_from_some() -> None:
    few = taught(aimed(10.0, 2.0, count=99, fill=False), np.full(99, 30.0), np.zeros(99))
    assert learnt_factor([few]) is None
    some = few + few
    assert (some.seen, some.wanted) == (198, 198.0)
    alone = (198 * 6 + 300) / 498
    assert learnt_factor([some]) == pytest.approx(alone)
    assert learnt_factor([]) is None


@pytest.mark.parametrize(("over", "moves"), [(0.02, 1), (-0.02, -1)])
def test_learnt_factor_makes_up_for_what_was_missed_under_those_that_stood(over: float, moves: int) -> None:
    missed = 1000 * np.exp(-FACTORS)
    plain = Lesson(10_000, 1000.0, 50.0, missed)
    steered = Lesson(10_000, 1000.0, 50.0, missed, stood_wanted=1000.0, stood_over=1000 * over)
    before, after = learnt_factor([plain]), learnt_factor([steered])
    assert before is not None
    assert after is not None
    assert np.sign(after - before) == moves


def test_teach_holds_those_that_stood_against_what_was_allowed() -> None:
    stood = np.array([1.0, np.nan])
    found = taught(aimed(10.0, 2.0, count=2, fill=False, stood=stood), [30.0, 30.0], [0.0, 0.0])
    assert (found.stood_wanted, found.stood_over) == (1.0, pytest.approx(0.95))


def test_teach_weighs_units_by_what_they_count_for() -> None:
    found = taught(aimed(10.0, 2.0, count=2), [20.0, 20.0], [0.0, 0.0], weights=[1.0, 9.0])
    assert found.wanted == 200.0
    assert found.missed[-1] == pytest.approx(10 * max(20 - (10 + 6 * 1.6449 * 2), 0), abs=0.01)


@pytest.mark.outside_check(
    "as for `teach`: each class alone gives what it gives among others; how known: by hand"
)
def test_teach_classes_keeps_classes_and_kinds_apart() -> None:
    both = Aimed(
        demands=LeadTimeDemands(np.full(3, 10.0), np.full(3, 2.0), np.zeros(3, bool)),
        order_quantity=np.ones(3),
        share=np.full(3, 0.95),
        is_fill_rate=np.array([True, False, True]),
        stood=np.full(3, np.nan),
    )
    found = teach_classes(
        aimed=both,
        classes=np.array(["smooth", "smooth", None], dtype=object),
        needed=np.array([20.0, 20.0, 20.0]),
        needed_before=np.zeros(3),
        weights=np.ones(3),
    )
    assert set(found) == {("smooth", True), ("smooth", False)}
    assert (found["smooth", True].wanted, found["smooth", False].wanted) == (20.0, 1.0)
