"""A past stretch lived through again."""

import numpy as np
import pytest

from inventory.calc.policy_replay import LearntLevels, PlainLevels, replay

RANDOM = np.random.default_rng(7)


@pytest.mark.outside_check(
    "order-up-to S = 3 with a lead time of 1 and review of 1 against 2 a period, Snyder & Shen (2019) "
    "section 4.3: each order comes two periods later; how known: worked by hand"
)
def test_replay_moves_stock_as_worked_by_hand() -> None:
    demand = np.array([[2.0] * 10])
    found = replay(demand=demand, lead_time=1, learnt=7, levels=lambda period, stock: np.array([3.0]))
    # A position of 3 less the 4 of two periods: one of two waits each period, and one is served at once.
    assert found.fill_rate(np.array([True])) == pytest.approx(0.5)
    assert found.stock.tolist() == [0.0]
    assert found.orders.tolist() == [3.0]


def test_replay_fills_everything_from_levels_high_enough_and_knows_nothing_of_the_future() -> None:
    demand = RANDOM.poisson(3, (30, 24)).astype(float)
    full = replay(demand=demand, lead_time=1, learnt=12, levels=lambda period, stock: np.full(30, 100.0))
    assert full.fill_rate(np.ones(30, dtype=bool)) == 1.0
    levels = LearntLevels(demand, 1, 12, 0.95)
    replay(demand=demand, lead_time=1, learnt=12, levels=levels)
    changed = demand.copy()
    changed[:, 18:] *= 10
    others = LearntLevels(changed, 1, 12, 0.95)
    replay(demand=changed, lead_time=1, learnt=12, levels=others)
    assert all((levels.given[period] == others.given[period]).all() for period in range(10, 18))
    assert (levels.given[20] != others.given[20]).any()


def test_learnt_levels_reach_the_target_and_no_more_than_a_whole_level_above() -> None:
    demand = RANDOM.poisson(4, (400, 40)).astype(float)
    levels = LearntLevels(demand, 1, 20, 0.95)
    found = replay(demand=demand, lead_time=1, learnt=20, levels=levels)
    lower = replay(
        demand=demand, lead_time=1, learnt=20, levels=lambda period, stock: levels.given[period] - 1
    )
    every = np.ones(400, dtype=bool)
    assert found.fill_rate(every) >= 0.94
    assert lower.fill_rate(every) < 0.95


def test_plain_levels_are_mean_and_factor_times_the_deviation() -> None:
    demand = np.array([[1.0, 3.0] * 5])
    level = PlainLevels(demand, 1, 2.0, is_whole=False)(9, None)  # type: ignore[arg-type]
    assert level[0] == pytest.approx(2 * 2 + 2 * demand.std(ddof=1) * 2**0.5)


@pytest.mark.parametrize("learnt", [3, 10])
def test_replay_refuses_too_little_to_learn_from_or_to_judge(learnt: int) -> None:
    with pytest.raises(ValueError, match="learnt"):
        replay(demand=np.ones((1, 10)), lead_time=1, learnt=learnt, levels=lambda period, stock: np.ones(1))
