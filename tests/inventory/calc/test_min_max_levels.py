"""Min-max levels against the published table and direct evaluation."""

from typing import Any

import pytest

from inventory.calc.min_max_levels import min_max_policy, table_min_max_policy
from inventory.calc.piece_demand import TableDemand

TABLE: dict[str, Any] = {"holding_cost": 1, "stockout_cost": 9, "fixed_cost": 64}
EXAMPLE: dict[str, Any] = {"demand_mean": 6, "holding_cost": 1, "stockout_cost": 4, "fixed_cost": 5}


@pytest.mark.outside_check(
    "Zheng & Federgruen (1991), table of Poisson instances, h 1, p 9, K 64; "
    "how known: published s, S and cost to three places, printed by stockpyl 1.0.2"
)
@pytest.mark.parametrize(
    ("mean", "low", "high", "cost"),
    [
        (10, 6, 40, 35.021555272320384),
        (15, 10, 49, 42.69781892264545),
        (20, 14, 62, 49.17303574493941),
        (21, 15, 65, 50.40601989288997),
        (50, 42, 108, 70.97521232954887),
    ],
)
def test_min_max_policy_finds_the_published_levels(mean: float, low: int, high: int, cost: float) -> None:
    found = min_max_policy(demand_mean=mean, **TABLE)
    assert (found.reorder_point, found.order_up_to) == (low, high)
    assert found.cost_per_time == pytest.approx(cost, rel=1e-9)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 4.7: s 4, S 10, cost 8.0341116, and cost 10.1937987 at (6, 18); "
    "how known: printed by stockpyl 1.0.2"
)
def test_min_max_policy_finds_or_evaluates_the_textbook_levels() -> None:
    best = min_max_policy(**EXAMPLE)
    assert (best.reorder_point, best.order_up_to) == (4, 10)
    assert best.cost_per_time == pytest.approx(8.034111561471642)
    given = min_max_policy(**EXAMPLE, reorder_point=6, order_up_to=18)
    assert given.cost_per_time == pytest.approx(10.193798671644041)


@pytest.mark.outside_check(
    "chances 0.5 0.2 0.15 0.1 0.05 of 0 to 4 pieces, h 1, p 10, K 12: s 0, S 6, cost 5.81651376; "
    "how known: printed by stockpyl 1.0.2 with the table lengthened by zeros, confirmed by simulation"
)
def test_table_min_max_policy_takes_any_chances() -> None:
    table = TableDemand.of([0.5, 0.2, 0.15, 0.1, 0.05])
    found = table_min_max_policy(demand=table, holding_cost=1, stockout_cost=10, fixed_cost=12)
    assert (found.reorder_point, found.order_up_to) == (0, 6)
    assert found.cost_per_time == pytest.approx(5.81651376146789)


@pytest.mark.parametrize("mean", [0.02, 0.7, 4, 33])
@pytest.mark.parametrize("lead_time", [0, 3])
@pytest.mark.parametrize("fixed_cost", [0, 3, 90])
def test_min_max_policy_costs_no_more_than_any_near_it(
    mean: float, lead_time: int, fixed_cost: float
) -> None:
    given: dict[str, Any] = {
        "demand_mean": mean,
        "holding_cost": 1,
        "stockout_cost": 9,
        "fixed_cost": fixed_cost,
        "lead_time": lead_time,
    }
    best = min_max_policy(**given)
    near = [
        min_max_policy(**given, reorder_point=low, order_up_to=high).cost_per_time
        for low in range(best.reorder_point - 3, best.reorder_point + 4)
        for high in range(best.order_up_to - 3, best.order_up_to + 4)
        if low < high
    ]
    assert min(near) >= best.cost_per_time * (1 - 1e-12)


def test_min_max_policy_without_order_cost_is_a_plain_level() -> None:
    found = min_max_policy(**EXAMPLE | {"fixed_cost": 0})
    assert (found.reorder_point, found.order_up_to) == (7, 8)
    assert found.cost_per_time == pytest.approx(3.5701069457709376)


def test_min_max_policy_without_demand_holds_nothing() -> None:
    idle = EXAMPLE | {"demand_mean": 0}
    assert min_max_policy(**idle).order_up_to == 0
    assert min_max_policy(**idle).cost_per_time == 0
    assert min_max_policy(**idle, reorder_point=1, order_up_to=3).cost_per_time == 3


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"demand_mean": -1}, "demand_mean"),
        ({"holding_cost": 0}, "holding_cost"),
        ({"stockout_cost": 0}, "stockout_cost"),
        ({"fixed_cost": -1}, "fixed_cost"),
        ({"lead_time": -1}, "lead_time"),
        ({"lead_time": 0.5}, "lead_time"),
        ({"reorder_point": 4}, "order_up_to"),
        ({"order_up_to": 4}, "reorder_point"),
        ({"reorder_point": 4, "order_up_to": 4}, "order_up_to"),
        ({"reorder_point": 0.5, "order_up_to": 4}, "reorder_point"),
    ],
)
def test_min_max_policy_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must"):
        min_max_policy(**EXAMPLE | more)
