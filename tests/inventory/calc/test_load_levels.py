"""Load levels against textbook examples."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.demand_shapes import DemandShape, GammaDemand, NormalDemand
from inventory.calc.load_levels import load_level, mismatch_cost
from inventory.calc.lognormal_demand import LognormalDemand
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand, TableDemand


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Examples 4.3, 4.4 (lead time 4) and 4.7, Problems 4.1 and 4.8(b); "
    "how known: printed by stockpyl 1.0.2, re-derived with scipy"
)
@pytest.mark.parametrize(
    ("demand", "costs", "lead_time", "level", "cost"),
    [
        (NormalDemand(50.0, 8.0), (0.18, 0.7), 0, 56.60395592743389, 1.9976051931766445),
        (NormalDemand(900.0, 60.0), (43, 79), 0, 922.7214038234755, 2718.196781782411),
        (NormalDemand(50.0, 8.0), (0.18, 0.7), 4, 264.76689437415484, 4.466781004149577),
        (PoissonDemand(6.0), (1, 4), 0, 8, 3.5701069457709376),
        (LognormalDemand(6.0, 0.3), (1, 0.1765), 0, 295.62664480713687, 29.442543513243212),
    ],
)
def test_load_level_finds_the_textbook_levels(
    demand: DemandShape, costs: tuple[float, float], lead_time: int, level: float, cost: float
) -> None:
    found = load_level(demand=demand, holding_cost=costs[0], stockout_cost=costs[1], lead_time=lead_time)
    assert found.level == pytest.approx(level, rel=1e-5)
    assert found.cost == pytest.approx(cost, rel=1e-5)
    assert found.critical_ratio == pytest.approx(costs[1] / sum(costs))


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Problem 4.3b: revenue 7, purchase 2.5, salvage 1.5, N(50, 10): level 59.0846, profit"
    " 210.4768; how known: printed by stockpyl 1.0.2"
)
def test_load_level_gives_the_profit_of_a_problem_in_prices() -> None:
    found = load_level(demand=NormalDemand(50.0, 10.0), holding_cost=2.5 - 1.5, stockout_cost=7 - 2.5)
    assert found.level == pytest.approx(59.084578685373856, rel=1e-6)
    assert (7 - 2.5) * 50 - found.cost == pytest.approx(210.47680825231475, rel=1e-6)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 4.3 at level 60: 2.156131552870387; how known: printed by stockpyl 1.0.2"
)
def test_mismatch_cost_of_a_given_level_is_evaluated() -> None:
    demand = NormalDemand(50.0, 8.0)
    found = load_level(demand=demand, holding_cost=0.18, stockout_cost=0.7, level=60)
    assert found.level == 60
    assert found.cost == pytest.approx(2.156131552870387, rel=1e-6)
    direct = mismatch_cost(demand=demand, level=60, holding_cost=0.18, stockout_cost=0.7)
    assert direct == pytest.approx(2.156131552870387, rel=1e-6)


@pytest.mark.parametrize(
    "demand",
    [
        PoissonDemand(4.2),
        NegativeBinomialDemand(3.0, 0.4),
        TableDemand.of([0.5, 0.2, 0.15, 0.1, 0.05]),
        GammaDemand(2.0, 3.0),
    ],
)
@pytest.mark.parametrize("lead_time", [0, 2])
def test_load_level_costs_no_more_than_its_neighbours(demand: DemandShape, lead_time: int) -> None:
    costs: dict[str, Any] = {"holding_cost": 1, "stockout_cost": 7, "lead_time": lead_time}
    best = load_level(demand=demand, **costs)
    for step in (-1, 1):
        assert best.cost <= load_level(demand=demand, level=best.level + step, **costs).cost


def test_load_level_takes_a_quantile_in_place_of_costs() -> None:
    found = load_level(demand=PoissonDemand(6.0), quantile=0.8)
    assert (found.level, found.cost, found.critical_ratio) == (8, None, 0.8)


def test_load_level_of_certain_demand_is_that_demand() -> None:
    found = load_level(demand=NormalDemand(50.0, 0.0), holding_cost=1, stockout_cost=2)
    assert (found.level, found.cost) == (50, 0)


def test_load_level_takes_arrays() -> None:
    demand = NormalDemand(np.array([50.0, 900.0]), np.array([8.0, 60.0]))
    found = load_level(demand=demand, holding_cost=np.array([0.18, 43]), stockout_cost=np.array([0.7, 79]))
    assert found.level == pytest.approx([56.60395592743389, 922.7214038234755])


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ({"quantile": 1}, "quantile"),
        ({"quantile": 0.9, "holding_cost": 1, "stockout_cost": 1}, "quantile"),
        ({"holding_cost": 0, "stockout_cost": 1}, "holding_cost"),
        ({"holding_cost": 1}, "stockout_cost"),
        ({"stockout_cost": 1}, "holding_cost"),
        ({"quantile": 0.5, "lead_time": -1}, "lead_time"),
        ({"quantile": 0.5, "lead_time": 1.5}, "lead_time"),
    ],
)
def test_load_level_names_what_is_out_of_range(given: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name} must"):
        load_level(demand=NormalDemand(50.0, 8.0), **given)
