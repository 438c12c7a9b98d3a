"""Costs of reorder policies and the exact optimum, against textbook values and a search around it."""

import numpy as np
import pytest

from inventory.calc.demand_shapes import GammaDemand, LeadTimeShape, NormalDemand
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand
from inventory.calc.reorder_costs import StockCosts, best_policy, best_reorder_point, reorder_cost

# Snyder & Shen 2e, Example 5.1 and Problem 5.1: demand over the lead time, yearly demand, costs.
EXAMPLE = NormalDemand(1300 / 12, 150 / 12**0.5)
EXAMPLE_COSTS = StockCosts(0.225, 7.5, 8.0)
PROBLEM = NormalDemand(800 * 4 / 365, 40 * (4 / 365) ** 0.5)
PROBLEM_COSTS = StockCosts(3.1, 45.0, 50.0)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 5.1, Problems 5.1, 5.2 and Example 5.8: cost of a given policy; "
    "how known: printed by stockpyl 1.0.2 r_q_cost and r_q_cost_poisson"
)
@pytest.mark.parametrize(
    ("demand", "rate", "costs", "point", "size", "cost"),
    [
        (EXAMPLE, 1300, EXAMPLE_COSTS, 126.8, 328.5, 78.07116250928294),
        (EXAMPLE, 1300, EXAMPLE_COSTS, 100, 250, 87.34647802817496),
        (PROBLEM, 800, PROBLEM_COSTS, -1.9859, 166.95, 484.2110418415538),
        (PoissonDemand(6.0), 12, StockCosts(4.0, 28.0, 4.0), 3, 9, 34.2641544694695),
        (PoissonDemand(3.0), 1.5, StockCosts(20.0, 150.0, 100.0), 8, 12, 242.52816376620206),
    ],
)
def test_reorder_cost_agrees_with_the_textbook(
    demand: LeadTimeShape, rate: float, costs: StockCosts, point: float, size: float, cost: float
) -> None:
    found = reorder_cost(
        demand=demand, demand_rate=rate, costs=costs, reorder_point=point, order_quantity=size
    )
    assert found == pytest.approx(cost, rel=1e-9)


@pytest.mark.outside_check(
    "best r for Q 318 in Example 5.1 and Problem 5.1 of Snyder & Shen 2e; "
    "how known: printed by stockpyl 1.0.2 r_q_optimal_r_for_q"
)
def test_best_reorder_point_may_be_negative() -> None:
    found = best_reorder_point(demand=EXAMPLE, costs=EXAMPLE_COSTS, order_quantity=318)
    assert found == pytest.approx(127.78803486696552, abs=1e-4)
    found = best_reorder_point(demand=PROBLEM, costs=PROBLEM_COSTS, order_quantity=318)
    assert found == pytest.approx(-11.727678833180178, abs=1e-4)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 5.8 (Poisson): r 3, Q 5, cost 107.92358; Example 5.1 (normal): r 126.867, "
    "Q 328.449; how known: printed by stockpyl 1.0.2, and scipy 1.17.1 Nelder-Mead on the cost"
)
def test_best_policy_finds_the_textbook_optimum() -> None:
    pieces = best_policy(demand=PoissonDemand(3.0), demand_rate=1.5, costs=StockCosts(20.0, 150.0, 100.0))
    assert pieces == pytest.approx((3, 5, 107.92358063314975))
    point, size, cost = best_policy(demand=EXAMPLE, demand_rate=1300, costs=EXAMPLE_COSTS)
    assert (point, size) == pytest.approx((126.86706, 328.44914), abs=1e-4)
    assert cost == pytest.approx(78.0711462703, rel=1e-10)


def _random_shapes() -> list[tuple[LeadTimeShape, float, StockCosts]]:
    random = np.random.default_rng(11)
    found: list[tuple[LeadTimeShape, float, StockCosts]] = []
    for number in range(48):
        mean, spread = random.uniform(0.05, 60), random.uniform(0.2, 1.5)
        shapes: list[LeadTimeShape] = [
            NormalDemand(mean, mean * spread),
            GammaDemand(1 / spread**2, mean * spread**2),
            PoissonDemand(mean),
            NegativeBinomialDemand(mean * spread, spread / (1 + spread)),
        ]
        costs = StockCosts(random.uniform(0.1, 20), random.uniform(0.1, 200), random.uniform(0, 200))
        found.append((shapes[number % 4], random.uniform(0.1, 40), costs))
    return found


@pytest.mark.parametrize(("demand", "rate", "costs"), _random_shapes())
def test_best_policy_costs_no_more_than_any_near_it(
    demand: LeadTimeShape, rate: float, costs: StockCosts
) -> None:
    point, size, cost = best_policy(demand=demand, demand_rate=rate, costs=costs)
    at = {"demand": demand, "demand_rate": rate, "costs": costs}
    assert reorder_cost(**at, reorder_point=point, order_quantity=size) == pytest.approx(cost, rel=1e-9)
    steps = (-2, -1, 0, 1, 2) if demand.is_discrete else (-0.05 * size, -0.001 * size, 0, 0.01 * size)
    near = [
        reorder_cost(**at, reorder_point=point + step, order_quantity=size + stretch)
        for step in steps
        for stretch in steps
        if size + stretch > 0
    ]
    assert min(near) >= cost * (1 - 1e-10)
    # The best point for the best size is the best point.
    again = best_reorder_point(demand=demand, costs=costs, order_quantity=size)
    assert again == pytest.approx(point, rel=1e-5, abs=1e-5 * (1 + size))


def test_best_policy_adds_up_the_costs_of_its_positions() -> None:
    demand, costs = NegativeBinomialDemand(2.0, 0.2), StockCosts(1.0, 9.0, 30.0)
    point, size, cost = best_policy(demand=demand, demand_rate=4, costs=costs)
    positions = np.arange(point + 1, point + size + 1)
    assert cost == pytest.approx((30 * 4 + costs.of_position(demand, positions).sum()) / size)


def test_best_policy_of_certain_demand_is_the_order_quantity_with_backorders() -> None:
    point, size, cost = best_policy(
        demand=NormalDemand(100.0, 0.0), demand_rate=1300, costs=StockCosts(0.225, 5.0, 8.0)
    )
    assert (size, cost) == pytest.approx((310.81255515896464, 66.92136355097325))
    assert point == pytest.approx(100 - size * 0.0430622009569378)


def test_best_policy_without_demand_or_order_cost_orders_as_little_as_can_be() -> None:
    costs = StockCosts(1.0, 9.0, 0.0)
    assert best_policy(demand=NormalDemand(0.0, 0.0), demand_rate=0, costs=costs) == (0, 0, 0)
    assert best_policy(demand=PoissonDemand(0.0), demand_rate=0, costs=costs) == (-1, 1, 0)
    point, size, _ = best_policy(demand=NormalDemand(10.0, 2.0), demand_rate=10, costs=costs)
    assert (point, size) == (pytest.approx(12.563103), 0)
    point, size, _ = best_policy(demand=PoissonDemand(10.0), demand_rate=10, costs=costs)
    assert (point, size) == (13, 1)


def test_best_policy_takes_a_huge_order_quantity() -> None:
    demand, costs = PoissonDemand(5.0), StockCosts(1e-6, 1.0, 1e6)
    point, size, cost = best_policy(demand=demand, demand_rate=1e4, costs=costs)
    # Far beyond the spread of demand the certain quantity is all that counts.
    assert size == pytest.approx((2 * 1e6 * 1e4 / 1e-6) ** 0.5, rel=1e-5)
    assert cost == pytest.approx(1e6 * 1e4 * 2 / size, rel=1e-5)
    assert point < 0


def test_best_policy_of_many_is_the_best_policy_of_each() -> None:
    means, sds = np.array([10.0, 300.0, 0.5]), np.array([3.0, 200.0, 0.0])
    costs = StockCosts(np.array([0.2, 1.0, 3.0]), 9.0, np.array([8.0, 80.0, 1.0]))
    points, sizes, least = best_policy(demand=NormalDemand(means, sds), demand_rate=means, costs=costs)
    for number in range(3):
        one = StockCosts(float(costs.holding_cost[number]), 9.0, float(costs.fixed_cost[number]))
        alone = best_policy(
            demand=NormalDemand(means[number], sds[number]), demand_rate=means[number], costs=one
        )
        assert (points[number], sizes[number], least[number]) == pytest.approx(alone, rel=1e-6)


@pytest.mark.parametrize(
    ("costs", "name"),
    [((0, 1, 1), "holding_cost"), ((1, -1, 1), "stockout_cost"), ((1, 1, -1), "fixed_cost")],
)
def test_stock_costs_refuse_what_is_out_of_range(costs: tuple[float, float, float], name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name} must be"):
        StockCosts(*costs)


def test_reorder_cost_refuses_an_order_of_nothing() -> None:
    with pytest.raises(ValueError, match=r"^order_quantity must be above"):
        reorder_cost(demand=EXAMPLE, demand_rate=1, costs=EXAMPLE_COSTS, reorder_point=1, order_quantity=0)
