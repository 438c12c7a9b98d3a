"""Order quantities against textbook examples, and price breaks against a search over quantities."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.order_quantities import discounted_order_quantity, order_quantity

EXAMPLE: dict[str, Any] = {"demand_rate": 1300, "fixed_cost": 8, "holding_cost": 0.225}
BREAKS: dict[str, Any] = {
    "demand_rate": 1300,
    "fixed_cost": 8,
    "holding_cost_rate": 0.3,
    "breakpoints": [0, 400, 800],
    "unit_costs": [0.75, 0.72, 0.68],
}
STEEP: dict[str, Any] = {
    "demand_rate": 2400,
    "fixed_cost": 150,
    "holding_cost_rate": 0.25,
    "breakpoints": [0, 300, 600],
    "unit_costs": [100, 90, 80],
}


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 3.1 and Problem 3.1, Example 3.8 with backorders; "
    "how known: printed by stockpyl 1.0.2, closed form re-derived"
)
@pytest.mark.parametrize(
    ("given", "quantity", "cost", "fraction"),
    [
        (EXAMPLE, 304.0467800264368, 68.41052550594829, None),
        (
            {"demand_rate": 182500, "fixed_cost": 2250, "holding_cost": 275},
            1728.1098449935514,
            475230.20737322664,
            None,
        ),
        (EXAMPLE | {"stockout_cost": 5}, 310.81255515896464, 66.92136355097325, 0.0430622009569378),
        (EXAMPLE | {"evaluate": 250}, 250, 69.725, None),
    ],
)
def test_order_quantity_finds_the_textbook_quantities(
    given: dict[str, Any], quantity: float, cost: float, fraction: float | None
) -> None:
    found = order_quantity(**given)
    assert found.order_quantity == pytest.approx(quantity, rel=1e-9)
    assert found.cost_per_time == pytest.approx(cost, rel=1e-9)
    assert found.stockout_fraction == (None if fraction is None else pytest.approx(fraction))
    assert found.price_band is None


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Examples 3.6 and 3.7, and the docstrings of stockpyl for both discounts; "
    "how known: printed by stockpyl 1.0.2, the examples re-derived by a grid search"
)
@pytest.mark.parametrize(
    ("given", "quantity", "band", "cost"),
    [
        (BREAKS, 800, 2, 978.6),
        (BREAKS | {"discount": "incremental"}, 304.0467800264368, 0, 1043.4105255059483),
        (
            {
                "demand_rate": 1000,
                "fixed_cost": 200,
                "holding_cost_rate": 0.2,
                "breakpoints": [0, 200, 500],
                "unit_costs": [500, 475, 450],
            },
            500,
            2,
            472900,
        ),
        (STEEP | {"discount": "incremental"}, 1481.8906842274164, 2, 222762.8136845483),
    ],
)
def test_discounted_order_quantity_finds_the_textbook_quantities(
    given: dict[str, Any], quantity: float, band: int, cost: float
) -> None:
    found = discounted_order_quantity(**given)
    assert found.order_quantity == pytest.approx(quantity, rel=1e-9)
    assert found.price_band == band
    assert found.cost_per_time == pytest.approx(cost, rel=1e-9)


@pytest.mark.parametrize("discount", ["all_units", "incremental"])
@pytest.mark.parametrize(
    "lots", [{}, {"pack_size": 70}, {"minimum": 450}, {"pack_size": 130, "minimum": 300}]
)
@pytest.mark.parametrize("demand_rate", [40, 900, 24_000])
def test_discounted_order_quantity_is_the_cheapest_of_all_that_can_be_ordered(
    discount: str, lots: dict[str, float], demand_rate: float
) -> None:
    given = STEEP | {"discount": discount, "demand_rate": demand_rate}
    found = discounted_order_quantity(**given, **lots)
    pack = lots.get("pack_size", 1)
    orderable = [size for size in np.arange(pack, 6000, pack) if size >= lots.get("minimum", 0)]
    costs = [discounted_order_quantity(**given, evaluate=size).cost_per_time for size in orderable]
    assert found.cost_per_time <= min(costs) * (1 + 1e-12)
    if "pack_size" in lots:
        assert found.order_quantity in orderable
    again = discounted_order_quantity(**given, evaluate=found.order_quantity)
    assert (again.price_band, again.cost_per_time) == (found.price_band, found.cost_per_time)


def test_order_quantity_takes_the_better_of_the_packs_around_the_best() -> None:
    found = order_quantity(**EXAMPLE, pack_size=50)
    assert found.order_quantity == 300
    assert order_quantity(**EXAMPLE, pack_size=50, minimum=330).order_quantity == 350
    assert order_quantity(**EXAMPLE, pack_size=1000).order_quantity == 1000


def test_order_quantity_counts_whole_packs_of_a_tenth() -> None:
    # 0.3 / 0.1 is a little less than 3.
    found = order_quantity(**EXAMPLE | {"fixed_cost": 0}, pack_size=0.1, minimum=0.3)
    assert found.order_quantity == pytest.approx(0.3)


def test_order_quantity_without_demand_orders_nothing() -> None:
    found = order_quantity(**EXAMPLE | {"demand_rate": 0}, pack_size=50, minimum=100)
    assert (found.order_quantity, found.cost_per_time) == (0, 0)


def test_order_quantity_with_free_orders_is_as_small_as_can_be() -> None:
    free = EXAMPLE | {"fixed_cost": 0}
    assert order_quantity(**free).order_quantity == 0
    assert order_quantity(**free, pack_size=50).order_quantity == 50
    assert discounted_order_quantity(**BREAKS | {"fixed_cost": 0}, pack_size=50).price_band == 2


def test_discounted_order_quantity_plans_backorders_at_the_price_of_the_band() -> None:
    found = discounted_order_quantity(**BREAKS, stockout_cost=5)
    plain = order_quantity(**EXAMPLE | {"holding_cost": 0.3 * 0.68}, stockout_cost=5, evaluate=800)
    assert found.order_quantity == 800
    assert found.cost_per_time == pytest.approx(plain.cost_per_time + 0.68 * 1300)
    assert found.stockout_fraction == pytest.approx(0.204 / 5.204)


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"breakpoints": [0, 800, 400]}, "breakpoints"),
        ({"breakpoints": [100, 400, 800]}, "breakpoints"),
        ({"breakpoints": []}, "breakpoints"),
        ({"unit_costs": [0.75, 0.72]}, "unit_costs"),
        ({"unit_costs": [0.68, 0.72, 0.75]}, "unit_costs"),
        ({"unit_costs": [0.75, 0.72, 0]}, "unit_costs"),
        ({"discount": "some"}, "discount"),
        ({"holding_cost_rate": 0}, "holding_cost_rate"),
        ({"demand_rate": -1}, "demand_rate"),
        ({"fixed_cost": -1}, "fixed_cost"),
        ({"evaluate": 0}, "order_quantity"),
        ({"pack_size": 0}, "pack_size"),
        ({"minimum": -1}, "minimum"),
        ({"discount": "incremental", "stockout_cost": 5}, "stockout_cost"),
    ],
)
def test_discounted_order_quantity_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name}"):
        discounted_order_quantity(**BREAKS | more)
