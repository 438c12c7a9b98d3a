"""Order schedules against textbook examples and a search over all plans."""

from itertools import product
from typing import Any

import numpy as np
import pytest

from inventory.calc.order_schedules import order_schedule


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 3.9 and Problem 3.29, and an instance with unit costs (scmo_ww_hw_c); "
    "how known: printed by stockpyl 1.0.2, re-derived over all subsets of order periods"
)
@pytest.mark.parametrize(
    ("given", "quantities", "cost"),
    [
        ({"demand": [90, 120, 80, 70], "fixed_cost": 500, "holding_cost": 2}, [210, 0, 150, 0], 1380),
        (
            {"demand": [730, 580, 445, 650, 880], "fixed_cost": 100, "holding_cost": 0.1},
            [1310, 0, 1095, 0, 880],
            423,
        ),
        (
            {
                "demand": [400, 500, 500, 1100, 900],
                "fixed_cost": 100,
                "holding_cost": 0.1,
                "unit_costs": [3, 1, 4, 6, 6],
            },
            [400, 3000, 0, 0, 0],
            4940,
        ),
    ],
)
def test_order_schedule_finds_the_textbook_plans(
    given: dict[str, Any], quantities: list[float], cost: float
) -> None:
    found = order_schedule(**given)
    assert found.order_quantities == pytest.approx(quantities)
    assert found.cost == pytest.approx(cost)


def _cost(orders: np.ndarray, demand: np.ndarray, fixed: float, held: float, price: np.ndarray) -> float:
    stock = np.cumsum(orders - demand)
    return float(np.sum(fixed * (orders > 0) + price * orders + held * stock))


def test_order_schedule_is_the_cheapest_of_all_plans() -> None:
    random = np.random.default_rng(7)
    for _ in range(40):
        demand, price = random.integers(0, 9, 6).astype(float), random.integers(1, 5, 6).astype(float)
        fixed, held = float(random.integers(0, 30)), float(random.integers(0, 4))
        found = order_schedule(
            demand=list(demand), fixed_cost=fixed, holding_cost=held, unit_costs=list(price)
        )
        plans = []
        for may_order in product([True, False], repeat=6):
            orders, at = np.zeros(6), -1
            for period, wanted in enumerate(demand):
                at = period if may_order[period] or at < 0 else at
                orders[at] += wanted
            plans.append(_cost(orders, demand, fixed, held, price))
        assert found.cost == pytest.approx(min(plans))
        mine = np.array(found.order_quantities)
        assert np.all(np.cumsum(mine) >= np.cumsum(demand) - 1e-9)
        assert _cost(mine, demand, fixed, held, price) == pytest.approx(found.cost)


def test_order_schedule_pays_nothing_before_anything_is_wanted() -> None:
    found = order_schedule(demand=[0, 0, 5], fixed_cost=10, holding_cost=1)
    assert (found.order_quantities, found.cost) == ([0, 0, 5], 10)
    assert order_schedule(demand=[0, 0], fixed_cost=10, holding_cost=1).cost == 0


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"demand": [1, -1]}, "demand"),
        ({"fixed_cost": -1}, "fixed_cost"),
        ({"holding_cost": [1, 1, 1]}, "holding_cost"),
        ({"unit_costs": [1]}, "unit_costs"),
    ],
)
def test_order_schedule_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name}"):
        order_schedule(**{"demand": [1, 2], "fixed_cost": 1, "holding_cost": 1} | more)
