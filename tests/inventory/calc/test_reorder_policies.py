"""One material's policy: which target wins, and what comes back with it."""

from typing import Any

import pytest

from inventory.calc.reorder_policies import demand_over_lead_time, reorder_policy

DAILY: dict[str, Any] = {"demand_mean": 40, "demand_sd": 12, "lead_time": 9}
PIECES: dict[str, Any] = {"demand_mean": 1.5, "distribution": "poisson", "lead_time": 2}
COSTS: dict[str, Any] = {"holding_cost": 20, "stockout_cost": 150, "fixed_cost": 100}


@pytest.mark.outside_check(
    "40 a day, sd 12, nine days, 95 %: 419.2147; how known: d L + z sigma sqrt(L) with scipy 1.17.1 norm.ppf"
)
def test_reorder_policy_reaches_a_cycle_service() -> None:
    found = reorder_policy(**DAILY, cycle_service=0.95)
    assert found.reorder_point == pytest.approx(419.214730570253)
    assert found.safety_stock == pytest.approx(59.214730570252996)
    assert found.cycle_service == pytest.approx(0.95)
    assert (found.order_quantity, found.fill_rate, found.cost_per_time) == (None, None, None)
    assert (found.lead_time_demand_mean, found.lead_time_demand_sd) == (360, 36)


@pytest.mark.outside_check(
    "N(100, 25), Q 100, 98 %: 125.53096417385618; how known: scipy brentq on the exact fill rate"
)
def test_reorder_policy_reaches_a_fill_rate() -> None:
    found = reorder_policy(demand_mean=100, demand_sd=25, lead_time=1, order_quantity=100, fill_rate=0.98)
    assert found.reorder_point == pytest.approx(125.53096417385618, abs=1e-8)
    assert found.fill_rate == pytest.approx(0.98)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 5.8: r 3, Q 5, cost 107.92358; how known: printed by stockpyl 1.0.2"
)
def test_reorder_policy_finds_the_least_cost_in_pieces() -> None:
    found = reorder_policy(**PIECES, **COSTS)
    assert (found.reorder_point, found.order_quantity) == (3, 5)
    assert found.cost_per_time == pytest.approx(107.92358063314975)


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 5.1: r 127.78803 for Q 318, cost 78.07116 at (126.8, 328.5); "
    "how known: printed by stockpyl 1.0.2"
)
def test_reorder_policy_with_a_quantity_chooses_or_evaluates_the_point() -> None:
    given = {
        "demand_mean": 1300,
        "demand_sd": 150,
        "lead_time": 1 / 12,
        "holding_cost": 0.225,
        "stockout_cost": 7.5,
    }
    chosen = reorder_policy(**given, order_quantity=318)
    assert chosen.reorder_point == pytest.approx(127.78803486696552, abs=1e-4)
    # Without the cost of an order there is no cost to tell.
    assert chosen.cost_per_time is None
    evaluated = reorder_policy(**given, fixed_cost=8, order_quantity=328.5, reorder_point=126.8)
    assert evaluated.cost_per_time == pytest.approx(78.07116250928294)


def test_reorder_policy_protects_the_review_period_and_the_uncertain_lead_time() -> None:
    found = reorder_policy(**DAILY, lead_time_sd=1.5, review_period=7, cycle_service=0.9)
    assert found.lead_time_demand_mean == 640
    assert found.lead_time_demand_sd == pytest.approx((16 * 144 + 1600 * 2.25) ** 0.5)


@pytest.mark.outside_check(
    "Poisson demand over a gamma distributed lead time is negative binomial: rate 1.5, time mean 2, sd 0.5, "
    "P(D <= 3) 0.6477834674; how known: the mixture integrated with scipy 1.17.1 quad"
)
def test_demand_over_lead_time_of_pieces_spreads_with_the_lead_time() -> None:
    shape = demand_over_lead_time(
        demand_mean=1.5, demand_sd=None, distribution="poisson", lead_time=2, lead_time_sd=0.5
    )
    assert shape.is_discrete
    assert shape.cdf(3) == pytest.approx(0.6477834674, abs=1e-9)


def test_reorder_policy_without_demand_holds_nothing() -> None:
    for shape in ({"demand_sd": 0}, {"distribution": "poisson"}, {"distribution": "gamma", "demand_sd": 0}):
        found = reorder_policy(
            **{"demand_mean": 0, "lead_time": 5, "fill_rate": 0.9, "order_quantity": 3} | shape
        )
        assert found.reorder_point <= 0
        assert found.fill_rate == pytest.approx(1 if found.reorder_point == 0 else 0.9)


@pytest.mark.parametrize(
    ("given", "name"),
    [
        (DAILY, "cycle_service"),
        (DAILY | {"cycle_service": 1}, "cycle_service"),
        (DAILY | {"cycle_service": 0.9, "fill_rate": 0.9, "order_quantity": 5}, "fill_rate"),
        (DAILY | {"fill_rate": 0.9}, "order_quantity"),
        (DAILY | {"reorder_point": 5}, "order_quantity"),
        (DAILY | {"holding_cost": 1}, "stockout_cost"),
        (DAILY | {"holding_cost": 1, "stockout_cost": 2}, "fixed_cost"),
        (DAILY | {"lead_time": -1, "cycle_service": 0.9}, "lead_time"),
        (DAILY | {"lead_time_sd": -1, "cycle_service": 0.9}, "lead_time_sd"),
        (DAILY | {"review_period": -1, "cycle_service": 0.9}, "review_period"),
        (DAILY | {"demand_mean": -1, "cycle_service": 0.9}, "demand_mean"),
        (DAILY | {"demand_sd": None, "cycle_service": 0.9}, "demand_sd"),
        (DAILY | {"distribution": "poisson", "cycle_service": 0.9}, "demand_sd"),
        (DAILY | {"distribution": "other", "cycle_service": 0.9}, "distribution"),
        (DAILY | {"distribution": "negative_binomial", "demand_sd": 1, "cycle_service": 0.9}, "demand_sd"),
        (PIECES | {"order_quantity": 1.5, "fill_rate": 0.9}, "order_quantity"),
        (PIECES | {"order_quantity": 2, "reorder_point": 0.5}, "reorder_point"),
    ],
)
def test_reorder_policy_names_what_is_out_of_range(given: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must"):
        reorder_policy(**given)
