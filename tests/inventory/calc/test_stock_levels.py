"""Levels of many materials at once agree with one material's at a time."""

import numpy as np
import pytest
from scipy import stats

from inventory.calc.demand_shapes import NormalDemand
from inventory.calc.reorder_points import fill_rate_at
from inventory.calc.reorder_policies import reorder_policy
from inventory.calc.stock_levels import (
    LeadTimeDemands,
    OrderBounds,
    demands_over_lead_time,
    order_sizes,
    plan_levels,
    scaled_points,
)

ONE = np.ones(1)


def demands(mean: float, sd: float, *, is_whole: bool) -> LeadTimeDemands:
    return LeadTimeDemands(np.array([mean]), np.array([sd]), np.array([is_whole]))


@pytest.mark.outside_check(
    "variance of a random sum, Hadley & Whitin (1963) section 3-9: 4 * 9 + 25 * 1 = 61; how known: worked by "
    "hand from the formula"
)
def test_demands_over_lead_time_adds_up_what_is_uncertain() -> None:
    given = {"rate": 5 * ONE, "sd": 3 * ONE, "lead_time": 3 * ONE, "lead_time_sd": ONE, "review_period": ONE}
    found = demands_over_lead_time(rate_error=0 * ONE, is_whole=np.array([False]), **given)
    assert found.mean.tolist() == [20.0]
    assert found.sd[0] ** 2 == pytest.approx(61.0)
    unsure = demands_over_lead_time(rate_error=0.5 * ONE, is_whole=np.array([False]), **given)
    assert unsure.sd[0] ** 2 == pytest.approx(61.0 + 4.0)


@pytest.mark.outside_check("scipy.stats 1.17, quantiles; how known: computed in the test")
def test_plan_levels_reaches_a_cycle_service_under_each_shape() -> None:
    several = LeadTimeDemands(
        np.array([20.0, 20.0, 20.0, 20.0, 0.0]),
        np.array([20.0**0.5, 10.0, 10.0, 0.0, 0.0]),
        np.array([True, True, False, False, True]),
    )
    found = plan_levels(
        demands=several,
        order_quantity=np.full(5, 10.0),
        share=np.full(5, 0.95),
        is_fill_rate=np.zeros(5, bool),
    )
    p = 20 / 100
    expected = [
        stats.poisson.ppf(0.95, 20),
        stats.nbinom.ppf(0.95, 20 * p / (1 - p), p),
        stats.gamma.ppf(0.95, 4, scale=5),
        20.0,
        0.0,
    ]
    assert found.reorder_point == pytest.approx(expected)
    assert (found.cycle_service >= 0.95 - 1e-9).all()


def test_plan_levels_reaches_the_fill_rate_that_one_material_is_given() -> None:
    alone = reorder_policy(
        demand_mean=10.0,
        demand_sd=6.0,
        distribution="gamma",
        lead_time=2.0,
        order_quantity=30.0,
        fill_rate=0.97,
    )
    found = plan_levels(
        demands=demands(20.0, 72**0.5, is_whole=False),
        order_quantity=np.array([30.0]),
        share=np.array([0.97]),
        is_fill_rate=np.array([True]),
    )
    assert found.reorder_point[0] == pytest.approx(alone.reorder_point)
    assert found.fill_rate[0] == pytest.approx(0.97)


@pytest.mark.outside_check(
    "Snyder & Shen (2019), section 5.3.2: r = m + z s, z = 1.2816 at 90 %; how known: scipy.stats.norm"
)
def test_plan_levels_takes_the_spread_that_was_learnt() -> None:
    given = {"order_quantity": np.full(3, 5.0), "is_fill_rate": np.zeros(3, bool), "share": np.full(3, 0.9)}
    three = LeadTimeDemands(np.full(3, 20.0), np.full(3, 4.0), np.array([False, True, True]))
    found = plan_levels(demands=three, spread_factor=np.array([2.0, 2.0, np.nan]), **given)
    z = stats.norm.ppf(0.9)
    assert found.reorder_point[:2] == pytest.approx([20 + 2 * z * 4, np.ceil(20 + 2 * z * 4)])
    # Nothing was learnt for the last, so its shape is all there is: a variance below the mean is a Poisson.
    assert found.reorder_point[2] == stats.poisson.ppf(0.9, 20)
    assert found.cycle_service[0] == pytest.approx(stats.gamma.cdf(20 + 2 * z * 4, 25, scale=0.8))


@pytest.mark.outside_check(
    "share filled under a normal, Snyder & Shen (2019) section 5.3.2; how known: by `fill_rate_at`, which is "
    "checked against published numbers"
)
def test_scaled_points_give_one_for_each_factor_and_take_pieces_from_half_a_piece_below() -> None:
    two = LeadTimeDemands(np.full(2, 20.0), np.full(2, 4.0), np.array([False, True]))
    factors = np.broadcast_to(np.array([0.5, 1.0, 3.0]), (2, 3))
    found = scaled_points(two, np.full(2, 6.0), np.full(2, 0.95), np.ones(2, bool), factors)
    assert (np.diff(found, axis=1) > 0).all()
    assert found[1] == pytest.approx(np.ceil(found[0] - 0.5))
    filled = fill_rate_at(demand=NormalDemand(20.0, 12.0), reorder_point=found[0, 2], order_quantity=6.0)
    assert filled == pytest.approx(0.95)


def test_order_bounds_size_orders_by_what_they_cost_and_what_can_be_kept() -> None:
    bounds = OrderBounds(
        order_cost=np.array([50.0, 0.0, 50.0, 0.0]),
        holding_cost=np.full(4, 0.1),
        pack=np.array([1.0, 12.0, 1.0, 1.0]),
        minimum=np.array([1.0, 12.0, 1.0, 4.0]),
        shelf_life_days=np.array([np.inf, np.inf, 10.0, np.inf]),
        storage_limit=np.array([np.inf, np.inf, np.inf, 3.0]),
    )
    # Economic 31.6 up to 32; a week's use in packs; ten days of it; the minimum wins over the room there is.
    rates = np.array([1.0, 2.0, 1.0, 1.0])
    assert bounds.sizes(rates, np.full(4, 7.0)).tolist() == [32, 24, 10, 4]
    assert bounds.sizes(np.zeros(4), np.full(4, 7.0)).tolist() == [1, 12, 1, 4]


@pytest.mark.parametrize("wrong", [{"share": np.array([1.0])}, {"order_quantity": np.array([0.0])}])
def test_plan_levels_refuses_what_cannot_be_reached(wrong: dict[str, object]) -> None:
    given = {"order_quantity": np.array([5.0]), "share": np.array([0.9]), "is_fill_rate": np.array([False])}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        plan_levels(demands=demands(20.0, 4.0, is_whole=False), **(given | wrong))  # type: ignore[arg-type]


@pytest.mark.outside_check(
    "Snyder & Shen (2019), Fundamentals of Supply Chain Theory, 2nd ed., example 3.1: K = 8, h = 0.225, "
    "D = 1300 give Q = 304.1; how known: printed by stockpyl 1.0.2's example, and worked by hand"
)
def test_order_sizes_balances_ordering_and_holding() -> None:
    given = {"rate": 1300 * ONE, "fixed_cost": 8 * ONE, "holding_cost": 0.225 * ONE}
    free = order_sizes(least=0 * ONE, most=1e9 * ONE, pack=1e-6 * ONE, **given)
    assert free[0] == pytest.approx(304.0467800264368, abs=2e-6)
    assert order_sizes(least=0 * ONE, most=1e9 * ONE, pack=50 * ONE, **given).tolist() == [350.0]
    assert order_sizes(least=0 * ONE, most=260 * ONE, pack=50 * ONE, **given).tolist() == [250.0]
    assert order_sizes(least=420 * ONE, most=260 * ONE, pack=50 * ONE, **given).tolist() == [450.0]
    with pytest.raises(ValueError, match="pack"):
        order_sizes(least=0 * ONE, most=1e9 * ONE, pack=0 * ONE, **given)
