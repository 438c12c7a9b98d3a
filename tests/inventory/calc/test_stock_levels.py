"""Levels of many materials at once agree with one material's at a time."""

import numpy as np
import pytest
from scipy import stats

from inventory.calc.reorder_policies import reorder_policy
from inventory.calc.stock_levels import LeadTimeDemands, demands_over_lead_time, order_sizes, plan_levels

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


def test_plan_levels_scales_safety_and_leaves_a_point_below_the_mean() -> None:
    given = {"order_quantity": np.array([5.0]), "is_fill_rate": np.array([False])}
    one = demands(20.0, 4.0, is_whole=False)
    plain = plan_levels(demands=one, share=np.array([0.9]), **given).reorder_point[0]
    doubled = plan_levels(demands=one, share=np.array([0.9]), safety_factor=2.0, **given).reorder_point[0]
    assert doubled - 20 == pytest.approx(2 * (plain - 20))
    low = plan_levels(demands=one, share=np.array([0.2]), **given).reorder_point[0]
    assert low < 20
    assert plan_levels(demands=one, share=np.array([0.2]), safety_factor=2.0, **given).reorder_point[0] == low


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
