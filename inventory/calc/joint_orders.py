"""Orders that share a fixed cost: how often, and which material how many turns apart."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.calc.ranges import FloatArray, as_not_negative, as_positive


@dataclass(frozen=True)
class JointOrder:
    """A common cycle; each material is ordered every so many cycles (None where nothing is wanted of it)."""

    cycle_time: float | None
    multiples: list[int | None]
    order_quantities: list[float]
    cost_per_time: float


def joint_order(
    *,
    shared_fixed_cost: float,
    individual_fixed_costs: Sequence[float],
    holding_costs: Sequence[float],
    demand_rates: Sequence[float],
) -> JointOrder:
    """Cycle and whole multiples by Silver's rule.

    The material with the least k_i / (h_i D_i) is ordered every cycle; any other every m_j cycles,
    m_j = sqrt(k_j / (h_j D_j) * h_1 D_1 / (K + k_1)) to the nearest whole number, at least 1. Then
    T = sqrt(2 (K + sum k_i / m_i) / sum h_i m_i D_i) and Q_i = m_i D_i T. The rule is a heuristic: its cost
    is exact for the policy it gives, which is seldom more than a few per cent above the best.

    Parameters
    ----------
    shared_fixed_cost : float
        Cost K of an order whatever is in it, >= 0 [money]
    individual_fixed_costs : sequence of float
        Cost k_i of a line in it, >= 0, shape (n,) [money]
    holding_costs : sequence of float
        h_i > 0, shape (n,) [money per unit per time]
    demand_rates : sequence of float
        D_i >= 0, shape (n,); a material without demand is left out of the cycle [units per time]

    Returns
    -------
    JointOrder
        cycle_time [time], multiples [1], order_quantities [units], cost_per_time [money per time]

    Raises
    ------
    ValueError
        If a parameter is out of range, the lists differ in length, or neither K nor the k_i of the most
        frequent material is above 0, so that there is no best cycle.

    References
    ----------
    .. [1] Silver, E. A. (1976), A simple method of determining order quantities in joint replenishments under
       deterministic demand, Management Science 22(12):1351-1361.
    """
    shared = as_not_negative("shared_fixed_cost", shared_fixed_cost)
    own, held, demand = _lists(individual_fixed_costs, holding_costs, demand_rates)
    is_wanted = demand > 0
    if not is_wanted.any():
        return JointOrder(None, [None] * len(demand), [0.0] * len(demand), 0.0)
    turns = _multiples(shared, own[is_wanted], held[is_wanted] * demand[is_wanted])
    per_cycle = shared + float(np.sum(own[is_wanted] / turns))
    holding = float(np.sum(held[is_wanted] * demand[is_wanted] * turns))
    cycle = math.sqrt(2 * per_cycle / holding)
    multiples = np.zeros(len(demand))
    multiples[is_wanted] = turns
    return JointOrder(
        cycle_time=cycle,
        multiples=[int(turn) or None for turn in multiples],
        order_quantities=[float(quantity) for quantity in multiples * demand * cycle],
        cost_per_time=per_cycle / cycle + holding * cycle / 2,
    )


def _lists(*lists: Sequence[float]) -> tuple[FloatArray, FloatArray, FloatArray]:
    own, held, demand = (np.array(values, dtype=np.float64).reshape(-1) for values in lists)
    if not len(own):
        raise ValueError("individual_fixed_costs must have at least one entry")
    for name, values in (("holding_costs", held), ("demand_rates", demand)):
        if len(values) != len(own):
            raise ValueError(
                f"{name} must be as many as individual_fixed_costs ({len(own)}), got {len(values)}"
            )
    as_not_negative("individual_fixed_costs", own)
    as_positive("holding_costs", held)
    as_not_negative("demand_rates", demand)
    return own, held, demand


def _multiples(shared: float, own: FloatArray, turnover: FloatArray) -> FloatArray:
    ratios = own / turnover
    leader = int(np.argmin(ratios))
    if shared + own[leader] <= 0:
        raise ValueError(
            f"shared_fixed_cost must be above 0 where an individual fixed cost is 0, got {shared:g}"
        )
    turns = np.maximum(1.0, np.round(np.sqrt(ratios * turnover[leader] / (shared + own[leader]))))
    turns[leader] = 1.0
    return turns
