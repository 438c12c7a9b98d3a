"""A past stretch lived through again."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.live_policy import LivePolicy
from inventory.calc.plain_rule import PlainRule, factor_of_equal_service
from inventory.calc.replayed_stock import FillUp, first_period, replay

RANDOM = np.random.default_rng(7)


def ones(rates: Any) -> Any:
    return np.ones(len(rates))


def policy(demand: Any, *, learnt: int, lead_time: int = 1) -> LivePolicy:
    count = len(demand)
    return LivePolicy(
        history=demand,
        lead_time=np.full(count, lead_time),
        learnt=learnt,
        share=np.full(count, 0.95),
        is_fill_rate=np.ones(count, dtype=bool),
        is_whole=np.ones(count, dtype=bool),
        sizes=ones,
        weights=np.ones(count),
    )


@pytest.mark.outside_check(
    "reorder point 2 and orders of 1 with a lead time of 1 and review of 1 against 2 a period, Snyder & Shen "
    "(2019) chapter 5: each order comes two periods later; how known: worked by hand"
)
def test_replay_moves_stock_as_worked_by_hand() -> None:
    demand = np.array([[2.0] * 10])
    found = replay(
        demand=demand, lead_time=1, learnt=7, rule=lambda period: (np.array([2.0]), np.array([1.0]))
    )
    # A position of 3 less the 4 of two periods: one of two waits each period, and one is served at once.
    assert found.fill_rate(np.array([True])) == pytest.approx(0.5)
    assert found.stock.tolist() == [0.0]
    assert found.orders.tolist() == [3.0]
    assert found.short.tolist() == [3.0]


@pytest.mark.outside_check(
    "reorder point and order quantity under periodic review, Snyder & Shen (2019) chapter 5; how known: by "
    "hand"
)
def test_replay_orders_as_many_quantities_as_bring_it_above_the_point() -> None:
    demand = np.array([[3.0] * 12, [3.0] * 12])
    found = replay(
        demand=demand,
        lead_time=[0, 2],
        learnt=8,
        rule=lambda period: (np.array([9.0, 9.0]), np.array([6.0, 6.0])),
    )
    # Every other period one order of six; the longer lead time holds two periods' use less.
    assert found.orders.tolist() == [2.0, 2.0]
    assert found.stock[0] - found.stock[1] == pytest.approx(6.0)
    assert first_period(8, np.array([0, 2])) == 5


def test_replay_fills_everything_from_levels_high_enough_and_knows_nothing_of_the_future() -> None:
    demand = RANDOM.poisson(3, (120, 24)).astype(float)
    full = replay(
        demand=demand, lead_time=1, learnt=12, rule=lambda period: (np.full(120, 99.0), np.ones(120))
    )
    assert full.fill_rate(np.ones(120, dtype=bool)) == 1.0
    rule = policy(demand, learnt=12)
    replay(demand=demand, lead_time=1, learnt=12, rule=rule)
    changed = demand.copy()
    changed[:, 18:] *= 10
    other = policy(changed, learnt=12)
    replay(demand=changed, lead_time=1, learnt=12, rule=other)
    assert all((rule.given[period][0] == other.given[period][0]).all() for period in range(10, 18))
    assert (rule.given[20][0] != other.given[20][0]).any()
    assert rule.factors[20] != other.factors[20]


def test_live_policy_reaches_the_target_and_no_more_than_a_whole_level_above() -> None:
    demand = RANDOM.poisson(6, (400, 40)).astype(float)
    rule = policy(demand, learnt=20)
    found = replay(demand=demand, lead_time=1, learnt=20, rule=rule)
    lower = replay(
        demand=demand, lead_time=1, learnt=20, rule=lambda period: (rule.given[period][0] - 1, np.ones(400))
    )
    every = np.ones(400, dtype=bool)
    assert found.fill_rate(every) >= 0.94
    assert lower.fill_rate(every) < 0.95
    assert ("smooth", True) in rule.factors[39]


def test_live_policy_keeps_nothing_of_what_was_never_used() -> None:
    demand = np.vstack([np.full(20, 4.0), np.array([np.nan] * 15 + [4.0] * 5)])
    rule = policy(demand, learnt=12)
    point, size = rule(10)
    assert point[0] > 0
    assert point[1] + size[1] == 0


@pytest.mark.outside_check("numpy 2, std with ddof=1; how known: computed in the test")
def test_plain_rule_is_mean_and_factor_times_the_deviation() -> None:
    demand = np.array([[1.0, 3.0] * 5, [np.nan] * 8 + [1.0, 3.0]])
    rule = PlainRule(
        lambda period: demand[:, : period + 1],
        lambda period: np.full(2, 2),
        2.0,
        np.array([False, True]),
        ones,
    )
    point, _size = rule(9)
    assert point[0] == pytest.approx(2 * 2 + 2 * demand[0].std(ddof=1) * 2**0.5)
    assert point[1] == np.ceil(2 * 2 + 2 * np.std([1, 3], ddof=1) * 2**0.5) - 1


@pytest.mark.outside_check(
    "periodic review up to a maximum, Snyder & Shen (2019) chapter 4; how known: each day worked by hand"
)
@pytest.mark.parametrize(
    ("wait", "filled", "stock", "short", "waiting"), [(2, 14, 61, 0, 0), (4, 12, 48, 1, 3)]
)
def test_replay_looks_seldom_fills_up_in_packs_and_waits_for_what_is_late(
    wait: int, filled: float, stock: float, short: float, waiting: float
) -> None:
    """One piece a day, looked at on day 6, 13 and 20: with 2 left two packs of four go out on day 13."""
    looked = np.array([[day % 7 == 6 for day in range(21)]])
    waits = np.full((1, 21), 2)
    waits[0, 13] = wait
    found = replay(
        demand=np.ones((1, 21)),
        lead_time=waits,
        learnt=7,
        start=6,
        rule=lambda period: (np.array([8.0]), np.array([1.0])),
        is_looked_at=looked,
        fill_up=FillUp(np.array([10.0]), np.array([4.0])),
    )
    # 10, 9 after day 6, 2 after day 13, 0 after day 15; in time they come on day 16, late on day 18.
    assert found.orders.tolist() == [2.0]
    assert found.filled.tolist() == [filled]
    assert found.stock[0] * 14 == pytest.approx(stock)
    assert found.waiting[0] * 14 == pytest.approx(waiting)
    assert (found.cycles.tolist(), found.cycles_short.tolist()) == ([1.0], [short])
    assert found.cycle_service(np.array([True])) == 1 - short


@pytest.mark.outside_check("definition of the least factor, held from both sides; how known: by hand")
def test_factor_of_equal_service_is_the_least_that_fills_as_much() -> None:
    demand = np.tile([1.0, 3.0], (2, 20))
    known = demand[:, :20]

    def run(factor: Any) -> Any:
        rule = PlainRule(
            lambda period: known, lambda period: np.full(2, 2.0), factor, np.ones(2, dtype=bool), ones
        )
        return replay(demand=demand, lead_time=1, learnt=20, rule=rule)

    groups, wanted = np.array([0, 1]), np.array([0.6, 1.0])
    found = factor_of_equal_service(run, groups=groups, service=wanted)
    result, lower = run(found), run(found - 0.01)
    for group in groups:
        among = groups == group
        assert result.fill_rate(among) >= wanted[group]
        assert lower.fill_rate(among) < wanted[group]


def test_replay_refuses_a_start_after_the_learning() -> None:
    with pytest.raises(ValueError, match="start"):
        replay(
            demand=np.ones((1, 10)), lead_time=1, learnt=5, start=6, rule=lambda day: (np.ones(1), np.ones(1))
        )


@pytest.mark.parametrize("learnt", [3, 10])
def test_replay_refuses_too_little_to_learn_from_or_to_judge(learnt: int) -> None:
    with pytest.raises(ValueError, match="learnt"):
        replay(
            demand=np.ones((1, 10)), lead_time=1, learnt=learnt, rule=lambda period: (np.ones(1), np.ones(1))
        )
