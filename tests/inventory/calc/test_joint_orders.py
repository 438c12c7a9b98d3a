"""Joint orders against the example of the paper."""

from typing import Any

import pytest

from inventory.calc.joint_orders import joint_order

SILVER: dict[str, Any] = {
    "shared_fixed_cost": 10,
    "individual_fixed_costs": [1.87, 5.27, 7.94, 8.19, 8.87],
    "holding_costs": [0.2] * 5,
    "demand_rates": [1736, 656, 558, 170, 142],
}


@pytest.mark.outside_check(
    "Silver (1976), numerical example; how known: printed by stockpyl 1.0.2 (silver_jrp)"
)
def test_joint_order_finds_the_cycle_of_the_paper() -> None:
    found = joint_order(**SILVER)
    assert found.cycle_time == pytest.approx(0.2813771490671472)
    assert found.multiples == [1, 1, 1, 3, 3]
    assert found.order_quantities == pytest.approx(
        [488.4707307805676, 184.58340978804858, 157.00844917946816, 143.50234602424507, 119.8666655026047]
    )
    assert found.cost_per_time == pytest.approx(218.68632025498687)


def test_joint_order_of_one_material_is_the_plain_order_quantity() -> None:
    found = joint_order(
        shared_fixed_cost=5, individual_fixed_costs=[3], holding_costs=[0.225], demand_rates=[1300]
    )
    assert found.order_quantities == pytest.approx([304.0467800264368])
    assert found.multiples == [1]


def test_joint_order_leaves_out_a_material_that_nobody_wants() -> None:
    wanted = joint_order(**SILVER)
    more = {
        "individual_fixed_costs": [9, *SILVER["individual_fixed_costs"]],
        "holding_costs": [0.2] * 6,
        "demand_rates": [0, *SILVER["demand_rates"]],
    }
    found = joint_order(**SILVER | more)
    assert found.multiples == [None, *wanted.multiples]
    assert found.order_quantities == [0, *wanted.order_quantities]
    assert found.cost_per_time == wanted.cost_per_time


def test_joint_order_without_any_demand_has_no_cycle() -> None:
    found = joint_order(**SILVER | {"demand_rates": [0] * 5})
    assert (found.cycle_time, found.cost_per_time, found.order_quantities) == (None, 0, [0] * 5)


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"shared_fixed_cost": -1}, "shared_fixed_cost"),
        ({"shared_fixed_cost": 0, "individual_fixed_costs": [0, 1, 1, 1, 1]}, "shared_fixed_cost"),
        ({"holding_costs": [0.2] * 4}, "holding_costs"),
        ({"holding_costs": [0.2, 0.2, 0, 0.2, 0.2]}, "holding_costs"),
        ({"demand_rates": [1, 1, 1, 1, -1]}, "demand_rates"),
        ({"individual_fixed_costs": []}, "individual_fixed_costs"),
    ],
)
def test_joint_order_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name}"):
        joint_order(**SILVER | more)
