"""What a reorder point and order quantity cost, and the pair that costs least.

With orders of Q going out whenever the position falls to r, the position is spread evenly over r to r + Q,
and

    g(r, Q) = (K d + integral of G over r to r + Q) / Q,    G(y) = h E[(y - D)+] + p E[(D - y)+],

with a sum over r + 1 to r + Q where demand comes in pieces. Everything takes arrays as well as numbers.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np

from inventory.calc.bisection import least_whole, root_between
from inventory.calc.demand_shapes import LeadTimeShape
from inventory.calc.load_levels import mismatch_cost
from inventory.calc.ranges import FloatArray, Numbers, as_not_negative, as_positive
from inventory.calc.reorder_points import reorder_point_for_fill_rate

# Costs this close differ by rounding only.
TIE = 1e-12
MOST_ROUNDS = 200


@dataclass(frozen=True)
class StockCosts:
    """Cost h of holding, p of a backorder (both per unit per time) and K of an order."""

    holding_cost: Numbers
    stockout_cost: Numbers
    fixed_cost: Numbers

    def __post_init__(self) -> None:
        as_positive("holding_cost", self.holding_cost)
        as_positive("stockout_cost", self.stockout_cost)
        as_not_negative("fixed_cost", self.fixed_cost)

    @property
    def critical_ratio(self) -> Numbers:
        return self.stockout_cost / (self.holding_cost + self.stockout_cost)

    def of_position(self, demand: LeadTimeShape, position: Numbers) -> FloatArray:
        """G(y): the cost rate a lead time later when the position is y now."""
        cost = mismatch_cost(
            demand=demand,
            level=position,
            holding_cost=self.holding_cost,
            stockout_cost=self.stockout_cost,
        )
        return np.asarray(cost)

    def of_range(self, demand: LeadTimeShape, point: Numbers, size: Numbers) -> FloatArray:
        """G added up over the positions from `point` (excluded) to `point + size`."""
        step = 1 if demand.is_discrete else 0
        missed = np.asarray(demand.second_loss(point + step)) - demand.second_loss(point + size + step)
        surplus = size * (point + (size + step) / 2 - demand.mean)
        return np.asarray(self.holding_cost * surplus + (self.holding_cost + self.stockout_cost) * missed)


def reorder_cost(
    *,
    demand: LeadTimeShape,
    demand_rate: Numbers,
    costs: StockCosts,
    reorder_point: Numbers,
    order_quantity: Numbers,
) -> Numbers:
    """Cost per time of a reorder point and order quantity, g(r, Q), exact.

    Parameters
    ----------
    demand : LeadTimeShape
        Demand over the lead time (and review period) [units]
    demand_rate : float or ndarray
        d >= 0 [units per time]
    costs : StockCosts
        h and p [money per unit per time], K [money]
    reorder_point, order_quantity : float or ndarray
        r, any real number, and Q > 0; whole where demand comes in pieces [units]

    Returns
    -------
    float or ndarray
        g(r, Q) [money per time]

    Raises
    ------
    ValueError
        If order_quantity is not above 0 or demand_rate is negative.

    References
    ----------
    .. [1] Hadley, G. & Whitin, T. M. (1963), Analysis of Inventory Systems, chapter 4.
    .. [2] Zheng, Y.-S. (1992), On properties of stochastic inventory systems, Management Science
       38(1):87-103.
    """
    size = as_positive("order_quantity", order_quantity)
    ordering = costs.fixed_cost * as_not_negative("demand_rate", demand_rate)
    cost = (ordering + costs.of_range(demand, reorder_point, size)) / size
    return cast(Numbers, cost if np.ndim(cost) else float(cost))


def best_reorder_point(*, demand: LeadTimeShape, costs: StockCosts, order_quantity: Numbers) -> Numbers:
    """Least-cost reorder point for a given order quantity: the one with fill rate p / (p + h).

    Without gaps G(r) = G(r + Q), which is that fill rate; with pieces the last whole r before it is reached.

    Parameters
    ----------
    demand : LeadTimeShape
        Demand over the lead time (and review period) [units]
    costs : StockCosts
        h and p [money per unit per time]; K does not matter here
    order_quantity : float or ndarray
        Q > 0 [units]

    Returns
    -------
    float or ndarray
        r, possibly negative [units]

    Raises
    ------
    ValueError
        If order_quantity is not above 0.

    References
    ----------
    .. [1] Zheng, Y.-S. (1992), On properties of stochastic inventory systems, Management Science
       38(1):87-103.
    """
    point = reorder_point_for_fill_rate(
        demand=demand, order_quantity=order_quantity, fill_rate=costs.critical_ratio
    )
    return point - 1 if demand.is_discrete else point


def best_policy(
    *, demand: LeadTimeShape, demand_rate: Numbers, costs: StockCosts
) -> tuple[Numbers, Numbers, Numbers]:
    """The reorder point and order quantity that cost least, exactly.

    The least cost c is where the positions cheaper than c make up for ordering, sum of (c - G(y))+ = K d;
    those positions are the range from r to r + Q. From a cost that is too high, c = g(r(c), Q(c)) is
    repeated: it falls each time and settles in a few rounds (Newton's method on a convex function).

    Parameters
    ----------
    demand, demand_rate, costs
        As for `reorder_cost` [units], [units per time], [money per unit per time] and [money]

    Returns
    -------
    tuple of float or ndarray
        r (possibly negative) and Q [units], cost [money per time]. Where ordering costs nothing (K d = 0) an
        order is as small as can be: Q is 0, or 1 with pieces.

    Raises
    ------
    ValueError
        If demand_rate is negative.

    References
    ----------
    .. [1] Federgruen, A. & Zheng, Y.-S. (1992), An efficient algorithm for computing an optimal (r, Q) policy
       in continuous review stochastic inventory systems, Operations Research 40(4):808-813.
    .. [2] Dinkelbach, W. (1967), On nonlinear fractional programming, Management Science 13(7):492-498.
    """
    ordering = np.asarray(costs.fixed_cost * as_not_negative("demand_rate", demand_rate), dtype=np.float64)
    centre = np.asarray(demand.quantile(costs.critical_ratio) + 0 * ordering, dtype=np.float64)
    floor = costs.of_position(demand, centre)
    cost = _first_cost(demand, ordering, costs, centre)
    for _ in range(MOST_ROUNDS):
        point, size = _cheaper_range(demand, costs, centre, np.maximum(cost, floor))
        with np.errstate(divide="ignore", invalid="ignore"):
            lower = (ordering + costs.of_range(demand, point, size)) / size
        lower = np.where(size > 0, lower, floor)
        is_settled = lower >= cost * (1 - TIE)
        cost = np.where(is_settled, cost, lower)
        if is_settled.all():
            break
    if not demand.is_discrete:
        point, size = np.where(ordering > 0, point, centre), np.where(ordering > 0, size, 0.0)
    if point.ndim:
        return point, size, cost
    return float(point), float(size), float(cost)


def _first_cost(
    demand: LeadTimeShape, ordering: FloatArray, costs: StockCosts, centre: FloatArray
) -> FloatArray:
    """Cost of a policy near the best: the order quantity of certain demand, around the best position."""
    held, missed = costs.holding_cost, costs.stockout_cost
    size = np.sqrt(2 * ordering * (held + missed) / (held * missed))
    below = size * (1 - costs.critical_ratio)
    if demand.is_discrete:
        size, below = np.maximum(1.0, np.ceil(size)), np.maximum(1.0, np.ceil(below))
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = (ordering + costs.of_range(demand, centre - below, size)) / size
    return np.where(size > 0, cost, costs.of_position(demand, centre))


def _cheaper_range(
    demand: LeadTimeShape, costs: StockCosts, centre: FloatArray, cost: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The range of positions cheaper than `cost`, as its lower end and size.

    G(y) is never below p (mean - y) nor below h (y - mean), which bounds the search.
    """
    low = np.minimum(centre, demand.mean - cost / costs.stockout_cost)
    high = np.maximum(centre, demand.mean + cost / costs.holding_cost)
    if demand.is_discrete:
        return _cheaper_whole_range(demand, costs, centre, cost)
    both = costs.holding_cost + costs.stockout_cost

    def slope(position: FloatArray) -> FloatArray:
        return np.asarray(both * np.asarray(demand.cdf(position)) - costs.stockout_cost)

    left = root_between(
        lambda position: cost - costs.of_position(demand, position),
        lambda position: -slope(position),
        low=low,
        high=centre,
    )
    right = root_between(
        lambda position: costs.of_position(demand, position) - cost, slope, low=centre, high=high
    )
    return left, right - left


def _cheaper_whole_range(
    demand: LeadTimeShape, costs: StockCosts, centre: FloatArray, cost: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """As above over whole positions; the best position itself is always in it."""
    limit = cost * (1 - TIE)
    below = least_whole(
        lambda steps: costs.of_position(demand, centre - steps) >= limit,
        low=np.zeros_like(centre),
        high=np.ones_like(centre),
    )
    above = least_whole(
        lambda steps: costs.of_position(demand, centre + steps) >= limit,
        low=np.zeros_like(centre),
        high=np.ones_like(centre),
    )
    return np.asarray(centre - below), np.asarray(below + above - 1.0)
