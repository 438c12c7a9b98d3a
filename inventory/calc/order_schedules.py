"""When to order for known demand by period, so that orders and stock together cost least."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.calc.ranges import FloatArray, as_not_negative

# Plans this close in cost differ by rounding only; the one that orders sooner again is taken.
TIE = 1e-12


@dataclass(frozen=True)
class OrderSchedule:
    """What to order in each period, and the cost of the whole horizon."""

    order_quantities: list[float]
    cost: float


def order_schedule(
    *,
    demand: Sequence[float],
    fixed_cost: float | Sequence[float],
    holding_cost: float | Sequence[float],
    unit_costs: float | Sequence[float] | None = None,
) -> OrderSchedule:
    """Least-cost schedule without backorders by the Wagner-Whitin recursion.

    theta_t = min over s > t of K_t (if anything is wanted) + sum_{t <= i < s} (c_t + h_t (i - t)) d_i
    + theta_s: an order covers whole periods, and stock is charged at the end of each period it lies over.

    Parameters
    ----------
    demand : sequence of float
        d_t >= 0, shape (n,); delivered and used within the period [unit of the material]
    fixed_cost, holding_cost, unit_costs : float or sequence of float
        K_t, h_t and c_t >= 0: one for all periods, or shape (n,) [money], [money per unit per period],
        [money per unit]; unit_costs are 0 where left out

    Returns
    -------
    OrderSchedule
        order_quantities, shape (n,) [unit of the material], and cost, purchase included [money]

    Raises
    ------
    ValueError
        If a parameter is out of range or a list is not as long as demand.

    References
    ----------
    .. [1] Wagner, H. M. & Whitin, T. M. (1958), Dynamic version of the economic lot size model, Management
       Science 5(1):89-96.
    """
    wanted = np.asarray(as_not_negative("demand", np.array(demand, dtype=np.float64).reshape(-1)))
    fixed = _by_period("fixed_cost", fixed_cost, len(wanted))
    held = _by_period("holding_cost", holding_cost, len(wanted))
    price = _by_period("unit_costs", 0.0 if unit_costs is None else unit_costs, len(wanted))
    least_cost, next_order = _recursion(wanted, fixed, held, price)
    quantities = np.zeros(len(wanted))
    period = 0
    while period < len(wanted):
        quantities[period] = wanted[period : next_order[period]].sum()
        period = next_order[period]
    return OrderSchedule([float(quantity) for quantity in quantities], least_cost)


def _by_period(name: str, value: float | Sequence[float], periods: int) -> FloatArray:
    numbers = np.asarray(as_not_negative(name, value))
    if numbers.ndim and len(numbers) != periods:
        raise ValueError(f"{name} must be one number or as many as demand ({periods}), got {len(numbers)}")
    return np.array(np.broadcast_to(numbers, (periods,)))


def _recursion(
    wanted: FloatArray, fixed: FloatArray, held: FloatArray, price: FloatArray
) -> tuple[float, list[int]]:
    periods = len(wanted)
    rest = np.zeros(periods + 1)
    next_order = [periods] * periods
    for period in range(periods - 1, -1, -1):
        ahead = wanted[period:]
        lying = price[period] + held[period] * np.arange(len(ahead))
        covered = np.cumsum(lying * ahead)
        # Nothing is ordered, and nothing is paid for ordering, as long as nothing is wanted.
        covered += np.where(np.cumsum(ahead) > 0, fixed[period], 0.0)
        total = covered + rest[period + 1 :]
        first = int(np.argmax(total <= total.min() * (1 + TIE)))
        rest[period] = total[first]
        next_order[period] = period + first + 1
    return float(rest[0]), next_order
