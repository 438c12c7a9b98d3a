"""Reorder points for a service, against published and independently computed values."""

import numpy as np
import pytest

from inventory.calc.demand_shapes import GammaDemand, LeadTimeShape, NormalDemand
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand
from inventory.calc.reorder_points import (
    fill_rate_at,
    lead_time_demand,
    reorder_point_for_cycle_service,
    reorder_point_for_fill_rate,
)


@pytest.mark.outside_check(
    "Var = E[L] Var(D) + E[D]^2 Var(L), Hadley & Whitin; Silver, Pyke & Peterson; how known: closed form"
)
@pytest.mark.parametrize(
    ("demand_mean", "demand_sd", "lead_time", "lead_time_sd", "mean", "sd"),
    [
        (100, 30, 5, 1.5, 500, 164.31676725154983),
        (40, 0, 10, 2, 400, 80),
        (12.5, 6, 14, 3.5, 175, 49.17379891771633),
    ],
)
def test_lead_time_demand_adds_both_uncertainties(
    demand_mean: float, demand_sd: float, lead_time: float, lead_time_sd: float, mean: float, sd: float
) -> None:
    found = lead_time_demand(
        demand_mean=demand_mean, demand_sd=demand_sd, lead_time=lead_time, lead_time_sd=lead_time_sd
    )
    assert found == pytest.approx((mean, sd))


@pytest.mark.outside_check(
    "N(108.33, 43.30), r 160, Q 304.05 (data of Snyder & Shen 2e, Example 5.1): type 1 and type 2 service; "
    "how known: computed with scipy norm"
)
def test_fill_rate_at_a_point_and_its_cycle_service() -> None:
    demand = NormalDemand(108.33333333333333, 43.30127018922193)
    assert demand.cdf(160) == pytest.approx(0.883602623838464)
    found = fill_rate_at(demand=demand, reorder_point=160, order_quantity=304.0467800264368)
    assert found == pytest.approx(0.9918978519849805, abs=1e-9)


@pytest.mark.outside_check(
    "40 a day, sd 12, nine days: 419.2147, 433.9349, 443.7485 for 95, 98 and 99 %; "
    "how known: textbook formula d L + z sigma sqrt(L) with scipy 1.17.1 norm.ppf"
)
@pytest.mark.parametrize(
    ("service", "point"), [(0.95, 419.214730570253), (0.98, 433.93496078274563), (0.99, 443.74852346547027)]
)
def test_reorder_point_for_cycle_service_adds_the_safety_factor(service: float, point: float) -> None:
    demand = NormalDemand(360.0, 36.0)
    assert reorder_point_for_cycle_service(demand=demand, cycle_service=service) == pytest.approx(point)


@pytest.mark.outside_check(
    "N(100, 25), Q 100: 112.32212540783264 and 125.53096417385618 for 95 and 98 %; "
    "how known: computed with scipy brentq on the exact fill rate"
)
def test_reorder_point_for_fill_rate_solves_the_exact_equation() -> None:
    found = reorder_point_for_fill_rate(
        demand=NormalDemand(100.0, 25.0), order_quantity=100, fill_rate=np.array([0.95, 0.98])
    )
    assert found == pytest.approx([112.32212540783264, 125.53096417385618], abs=1e-8)


@pytest.mark.parametrize("demand", [NormalDemand(100.0, 25.0), GammaDemand(0.3, 50.0)])
@pytest.mark.parametrize("order_quantity", [1e-3, 1, 1e3, 1e9])
@pytest.mark.parametrize("target", [1e-6, 0.5, 0.95, 1 - 1e-9])
def test_reorder_point_for_fill_rate_is_found_over_any_range(
    demand: LeadTimeShape, order_quantity: float, target: float
) -> None:
    point = reorder_point_for_fill_rate(demand=demand, order_quantity=order_quantity, fill_rate=target)
    found = fill_rate_at(demand=demand, reorder_point=point, order_quantity=order_quantity)
    # n(r) - n(r + Q) is a difference of numbers of the size of r.
    assert found == pytest.approx(target, abs=1e-15 * (1 + abs(point) / order_quantity) * 10 + 1e-10)


@pytest.mark.parametrize("demand", [PoissonDemand(3.0), NegativeBinomialDemand(2.0, 0.3), PoissonDemand(0.0)])
@pytest.mark.parametrize("order_quantity", [1, 7, 10**9])
def test_reorder_point_for_fill_rate_of_pieces_is_the_least_that_reaches_it(
    demand: LeadTimeShape, order_quantity: int
) -> None:
    point = reorder_point_for_fill_rate(demand=demand, order_quantity=order_quantity, fill_rate=0.9)
    shares = [
        fill_rate_at(demand=demand, reorder_point=level, order_quantity=order_quantity)
        for level in (point - 1, point)
    ]
    assert shares[0] < 0.9 <= shares[1] + 1e-10


def test_reorder_point_for_fill_rate_of_certain_demand_lets_the_allowed_share_wait() -> None:
    found = reorder_point_for_fill_rate(demand=NormalDemand(100.0, 0.0), order_quantity=10, fill_rate=0.9)
    assert found == pytest.approx(99)


def test_fill_rate_at_orders_as_small_as_can_be_is_the_chance_of_no_shortage() -> None:
    demand = NormalDemand(100.0, 25.0)
    found = fill_rate_at(demand=demand, reorder_point=120, order_quantity=0)
    assert found == pytest.approx(
        fill_rate_at(demand=demand, reorder_point=120, order_quantity=1e-4), abs=1e-5
    )


def test_reorder_point_for_fill_rate_takes_arrays() -> None:
    means = np.array([100.0, 100.0, 0.0])
    found = reorder_point_for_fill_rate(
        demand=NormalDemand(means, np.array([25.0, 0.0, 0.0])), order_quantity=100, fill_rate=0.95
    )
    assert found == pytest.approx([112.32212540783264, 95, -5])


@pytest.mark.parametrize("service", [0, 1, 1.5, float("nan")])
def test_reorder_points_refuse_a_service_of_all_or_nothing(service: float) -> None:
    demand = NormalDemand(100.0, 25.0)
    with pytest.raises(ValueError, match=r"^cycle_service must be"):
        reorder_point_for_cycle_service(demand=demand, cycle_service=service)
    with pytest.raises(ValueError, match=r"^fill_rate must be"):
        reorder_point_for_fill_rate(demand=demand, order_quantity=10, fill_rate=service)
