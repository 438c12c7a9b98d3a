"""Orders, levels, forecasts, costs and counts through their door: shapes, nulls and refusals."""

from typing import Any

import pytest

from api.wire.calculations import calculate
from inventory.errors import BadInput


def _faults(name: str, data: Any) -> list[str]:
    with pytest.raises(BadInput) as refusal:
        calculate(name, data)
    return [fault.pointer for fault in refusal.value.faults]


EOQ: dict[str, Any] = {"demand_rate": 1300, "fixed_cost": 8, "holding_cost": "0.225"}
BREAKS: dict[str, Any] = {
    "demand_rate": 1300,
    "fixed_cost": 8,
    "holding_cost_rate": 0.3,
    "breakpoints": [0, 400, 800],
    "unit_costs": [0.75, 0.72, 0.68],
}
COSTS: dict[str, Any] = {"holding_cost": 1, "stockout_cost": 4}
POLICY: dict[str, Any] = {"demand_mean": 40, "demand_sd": 12, "lead_time": 9}


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Examples 3.1, 3.6 and 3.8; how known: printed by stockpyl 1.0.2, re-derived"
)
def test_order_quantity_tells_price_band_and_backorders_only_where_there_are_any() -> None:
    plain = calculate("order-quantity", EOQ)
    assert plain["order_quantity"] == pytest.approx(304.0467800264368)
    assert (plain["price_band"], plain["stockout_fraction"]) == (None, None)
    assert calculate("order-quantity", BREAKS)["price_band"] == 2
    waiting = calculate("order-quantity", EOQ | {"stockout_cost": 5})
    assert waiting["stockout_fraction"] == pytest.approx(0.0430622009569378)
    given = calculate("order-quantity", EOQ | {"order_quantity": 250})
    assert given["cost_per_time"] == pytest.approx(69.725)


DEMANDS: list[tuple[dict[str, Any], float]] = [
    ({"distribution": "normal", "mean": 10, "sd": 0}, 10),
    ({"distribution": "poisson", "mean": 6}, 8),
    ({"distribution": "pmf", "pmf": [0.1] * 10}, 7),
    ({"distribution": "pmf", "pmf": {"0": 0.5, "12": "0.5"}}, 12),
]


@pytest.mark.parametrize(("demand", "level"), DEMANDS)
def test_load_level_takes_every_shape_of_demand(demand: dict[str, Any], level: float) -> None:
    found = calculate("load-level", {"demand": demand, **COSTS})
    assert found["level"] == level
    assert found["critical_ratio"] == 0.8
    by_chance = calculate("load-level", {"demand": demand, "quantile": "0.8"})
    assert (by_chance["level"], by_chance["cost"]) == (level, None)


def test_load_level_of_several_lognormal_periods_is_a_number() -> None:
    demand = {"distribution": "lognormal", "mu": 6, "sigma": 0.3}
    found = calculate("load-level", {"demand": demand, **COSTS, "lead_time": 1})
    assert 2 * 403 < found["level"] < 2 * 403 * 1.5
    assert found["cost"] > 0


@pytest.mark.outside_check(
    "medians of gamma (2, 3), lognormal (6, 0.3), negative binomial (4.2, 0.3); how known: scipy 1.17.1 ppf"
)
def test_load_level_reads_parameters_as_scipy_does() -> None:
    for demand, median in [
        ({"distribution": "gamma", "shape": 2, "scale": 3}, 5.035040970049984),
        ({"distribution": "lognormal", "mu": 6, "sigma": 0.3}, 403.4287934927351),
        ({"distribution": "negative_binomial", "r": 4.2, "p": 0.3}, 9),
    ]:
        assert calculate("load-level", {"demand": demand, "quantile": 0.5})["level"] == pytest.approx(median)


def test_reorder_policy_answers_null_where_nothing_was_given() -> None:
    found = calculate("reorder-policy", POLICY | {"cycle_service": 0.95})
    assert found["reorder_point"] == pytest.approx(419.214730570253)
    assert (found["order_quantity"], found["fill_rate"], found["cost_per_time"]) == (None, None, None)
    assert found["lead_time_demand"] == {"mean": 360, "sd": 36}


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 5.8 and Example 4.7; how known: printed by stockpyl 1.0.2"
)
def test_policies_in_pieces_are_found_exactly() -> None:
    costs = {"holding_cost": 20, "stockout_cost": 150, "fixed_cost": 100}
    pieces = {"demand_mean": 1.5, "distribution": "poisson", "lead_time": 2}
    found = calculate("reorder-policy", pieces | costs)
    assert (found["reorder_point"], found["order_quantity"]) == (3, 5)
    assert found["cost_per_time"] == pytest.approx(107.92358063314975)
    levels = calculate("min-max-policy", {"demand_mean": 6, **COSTS, "fixed_cost": 5})
    assert (levels["reorder_point"], levels["order_up_to"]) == (4, 10)


def test_forward_stock_compares_ids_as_text_and_takes_null_for_none() -> None:
    node = {
        "processing_time": 2,
        "local_holding_cost": 1,
        "external_inbound_cst": None,
        "external_outbound_cst": None,
        "demand_bound_constant": 1,
        "demand_sd": None,
    }
    nodes = {"1": node, "2": node | {"external_outbound_cst": 0, "demand_sd": 3}}
    found = calculate("forward-stock", {"nodes": nodes, "edges": [[1, 2]]})
    assert found["committed_service_times"] == {"1": 2, "2": 0}
    assert found["cost"] == pytest.approx(6)


def test_demand_forecast_answers_null_where_nothing_was_wanted() -> None:
    found = calculate("demand-forecast", {"history": [0, 0], "method": "tsb"})
    assert found == {
        "per_period": 0,
        "method": "tsb",
        "demand_class": None,
        "average_interval": None,
        "squared_cv": None,
    }


def test_cost_flow_answers_layers_as_quantity_and_cost() -> None:
    events = [
        {"receive": 10, "unit_cost": "0.1"},
        {"receive": 10, "unit_cost": "0.2"},
        {"draw": 12},
        {"return": 3, "unit_cost": "0.1"},
    ]
    found = calculate("cost-flow", {"method": "fifo", "events": events})
    assert found["draw_costs"] == [1.4]
    assert found["layers"] == [[3, 0.1], [8, 0.2]]
    assert (found["ending_value"], found["ending_quantity"]) == (1.9, 11)


def test_cost_variance_may_leave_out_a_pair() -> None:
    found = calculate("cost-variance", {"standard_price": 7, "actual_price": 9, "actual_quantity_bought": 20})
    assert found == {"price_variance": 40, "quantity_variance": None, "total": 40}


def test_allocate_money_mirrors_a_negative_sum() -> None:
    found = calculate("allocate-money", {"total_minor_units": -5, "weights": ["0.7", 0.3]})
    assert found == {"allocation": [-4, -1]}


def test_count_classes_keep_the_rank_in_the_order_of_the_answer() -> None:
    items = {"low": {"annual_demand": 1, "unit_cost": 2}, "high": {"annual_demand": 1, "unit_cost": 8}}
    found = calculate("count-classes", {"items": items})
    assert list(found["classes"].items()) == [("high", "A"), ("low", "C")]
    assert found["cumulative_share"] == {"high": 0.8, "low": 1}


@pytest.mark.parametrize(
    ("name", "data", "pointers"),
    [
        ("order-quantity", {"demand_rate": 1, "fixed_cost": 1}, ["/holding_cost"]),
        ("order-quantity", EOQ | {"unit_costs": [1]}, ["/unit_costs"]),
        ("order-quantity", EOQ | {"discount": "incremental"}, ["/discount"]),
        ("order-quantity", BREAKS | {"breakpoints": None}, ["/breakpoints"]),
        ("order-quantity", BREAKS | {"breakpoints": [0, 800, 400]}, ["/breakpoints"]),
        ("order-quantity", EOQ | {"demand_rate": -1}, ["/demand_rate"]),
        ("joint-order", {"shared_fixed_cost": 1, "individual_fixed_costs": [1], "holding_costs": [1, 1],
                         "demand_rates": [1]}, ["/holding_costs"]),
        ("order-schedule", {"demand": [1], "fixed_cost": 1, "holding_cost": -1}, ["/holding_cost"]),
        ("load-level", {"demand": {"distribution": "poisson"}, "quantile": 0.5}, ["/demand/mean"]),
        ("load-level", {"demand": {"distribution": "poisson", "mean": -1}, "quantile": 0.5},
         ["/demand/mean"]),
        ("load-level", {"demand": {"distribution": "poisson", "mean": 1, "sd": 1}, "quantile": 0.5},
         ["/demand/sd"]),
        ("load-level", {"demand": {"distribution": "pmf", "pmf": [0.5, -0.5]}, "quantile": 0.5},
         ["/demand/pmf/1"]),
        ("load-level", {"demand": {"distribution": "pmf", "pmf": [0.5, 0.4]}, "quantile": 0.5},
         ["/demand/pmf"]),
        ("load-level", {"demand": {"distribution": "poisson", "mean": 1}, "quantile": 1}, ["/quantile"]),
        ("reorder-policy", POLICY | {"cycle_service": 1}, ["/cycle_service"]),
        ("reorder-policy", POLICY | {"lead_time": -1, "cycle_service": 0.9}, ["/lead_time"]),
        ("reorder-policy", POLICY | {"fill_rate": 0.9}, ["/order_quantity"]),
        ("reorder-policy", POLICY, ["/cycle_service"]),
        ("min-max-policy", {"demand_mean": 6, **COSTS, "fixed_cost": 5, "reorder_point": 4},
         ["/order_up_to"]),
        ("forward-stock", {"nodes": {"1": {"processing_time": 1, "local_holding_cost": 1}},
                           "edges": [["1", "1"]]}, ["/edges"]),
        ("forward-stock", {"nodes": {"1": {"processing_time": -1, "local_holding_cost": 1}}, "edges": []},
         ["/nodes/1/processing_time"]),
        ("demand-forecast", {"history": [], "method": "sba"}, ["/history"]),
        ("cost-flow", {"method": "fifo", "events": [{"draw": 1}]}, ["/events/0/draw"]),
        ("cost-flow", {"method": "fifo", "events": [{"receive": 1, "draw": 1}]}, ["/events/0"]),
        ("cost-flow", {"method": "fifo", "events": [{"return": 1}]}, ["/events/0/unit_cost"]),
        ("cost-variance", {"standard_price": 7, "actual_price": 9}, ["/actual_quantity_bought"]),
        ("allocate-money", {"total_minor_units": 5, "weights": [0]}, ["/weights"]),
        ("count-classes", {"items": {}, "limits": [0.9, 0.8]}, ["/limits"]),
        ("count-sample", {"population": 9, "tolerable_rate": 0, "confidence": 0.9}, ["/tolerable_rate"]),
    ],
)  # fmt: skip
def test_calculations_of_stock_point_at_what_is_wrong(
    name: str, data: dict[str, Any], pointers: list[str]
) -> None:
    assert _faults(name, data) == pointers
