"""Min-max: look once a period, and when the position is at the minimum or below, order up to the maximum."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inventory.calc.demand_shapes import DemandShape
from inventory.calc.load_levels import mismatch_cost
from inventory.calc.piece_demand import PoissonDemand, TableDemand
from inventory.calc.ranges import FloatArray, as_not_negative, as_positive, as_whole

# A chance this small of a period's demand is left out of the recursion.
NEGLIGIBLE = 1e-17
# Costs this close differ by rounding only.
TIE = 1e-12
# The recursion takes time with the square of this: minutes beyond it, and pieces by the thousand have no need
# of exact levels.
MOST_PIECES = 20_000


@dataclass(frozen=True)
class MinMaxPolicy:
    """The levels s and S and their exact cost per period."""

    reorder_point: int
    order_up_to: int
    cost_per_time: float


def min_max_policy(
    *,
    demand_mean: float,
    holding_cost: float,
    stockout_cost: float,
    fixed_cost: float,
    lead_time: int = 0,
    reorder_point: int | None = None,
    order_up_to: int | None = None,
) -> MinMaxPolicy:
    """Best (s, S) levels for Poisson demand, or the cost of given ones; exact, with backorders.

    c(s, S) = (K + sum_{j=0}^{S-s-1} m(j) G(S - j)) / M(S - s), where m(j) is the expected number of periods
    at the position S - j between orders, M(n) = sum_{j<n} m(j), and G(y) is the cost of a period, charged
    lead time later: h E[(y - D)+] + p E[(D - y)+] with D over lead_time + 1 periods.

    Parameters
    ----------
    demand_mean : float
        Poisson mean per period, >= 0 [pieces per period]
    holding_cost, stockout_cost : float
        h > 0 and p > 0, charged at the end of each period [money per piece per period]
    fixed_cost : float
        K >= 0 [money per order]
    lead_time : int
        Whole periods >= 0 [periods]
    reorder_point, order_up_to : int, optional
        Evaluate these, s < S; both or neither [pieces]

    Returns
    -------
    MinMaxPolicy
        s: order when the position is at or below it, S: up to which [pieces]; cost [money per period].
        Of levels that cost the same, the lower. Without demand nothing is held.

    Raises
    ------
    ValueError
        If a parameter is out of range, or the levels would be more than MOST_PIECES apart.

    References
    ----------
    .. [1] Zheng, Y.-S. & Federgruen, A. (1991), Finding optimal (s, S) policies is about as simple as
       evaluating a single policy, Operations Research 39(4):654-665.
    """
    mean = as_not_negative("demand_mean", demand_mean)
    if mean > MOST_PIECES:
        raise ValueError(f"demand_mean must be at most {MOST_PIECES} pieces a period, got {mean:g}")
    one = PoissonDemand(mean)
    periods = as_whole("lead_time", lead_time, least=0) + 1
    costs = _costs(one.over_periods(periods), holding_cost, stockout_cost)
    review = PeriodicReview(_poisson_table(mean), costs, as_not_negative("fixed_cost", fixed_cost))
    if reorder_point is None and order_up_to is None:
        if not mean:
            return MinMaxPolicy(-1, 0, 0.0)
        return _best_min_max(review)
    low, high = _checked_levels(reorder_point, order_up_to)
    return MinMaxPolicy(low, high, review.cost_per_period(low, high))


def table_min_max_policy(
    *, demand: TableDemand, holding_cost: float, stockout_cost: float, fixed_cost: float, lead_time: int = 0
) -> MinMaxPolicy:
    """Best (s, S) levels for demand given by a table of chances of 0, 1, 2, ... pieces a period.

    Parameters
    ----------
    demand : TableDemand
        Whole values >= 0 with their chances, not certain to be 0 [pieces per period]
    holding_cost, stockout_cost, fixed_cost, lead_time
        As for `min_max_policy` [money per piece per period], [money per order], [periods]

    Returns
    -------
    MinMaxPolicy
        As for `min_max_policy` [pieces], [money per period]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Zheng, Y.-S. & Federgruen, A. (1991), Operations Research 39(4):654-665.
    """
    values = np.asarray(as_whole("demand", demand.values, least=0))
    chances = np.zeros(int(values.max()) + 1)
    chances[values.astype(int)] = demand.chances
    if chances[0] >= 1:
        return MinMaxPolicy(-1, 0, 0.0)
    protected = demand.over_periods(as_whole("lead_time", lead_time, least=0) + 1)
    costs = _costs(protected, holding_cost, stockout_cost)
    return _best_min_max(PeriodicReview(chances, costs, as_not_negative("fixed_cost", fixed_cost)))


def _checked_levels(reorder_point: int | None, order_up_to: int | None) -> tuple[int, int]:
    if reorder_point is None or order_up_to is None:
        missing = "reorder_point" if reorder_point is None else "order_up_to"
        raise ValueError(f"{missing} must be given where the other of reorder_point and order_up_to is")
    low, high = as_whole("reorder_point", reorder_point), as_whole("order_up_to", order_up_to)
    if high <= low:
        raise ValueError(f"order_up_to must be above reorder_point ({low}), got {high}")
    return low, high


def _costs(demand: DemandShape, holding_cost: float, stockout_cost: float) -> "PositionCosts":
    surplus, shortage = as_positive("holding_cost", holding_cost), as_positive("stockout_cost", stockout_cost)

    def cost_of(positions: FloatArray) -> FloatArray:
        return np.asarray(
            mismatch_cost(demand=demand, level=positions, holding_cost=surplus, stockout_cost=shortage)
        )

    return PositionCosts(cost_of, int(float(demand.quantile(shortage / (shortage + surplus)))))


def _poisson_table(mean: float) -> FloatArray:
    """Chances of 0, 1, 2, ... as far as they matter."""
    shape = PoissonDemand(mean)
    top = int(mean + 12 * mean**0.5 + 30)
    chances = -np.diff(np.asarray(shape.tail(np.arange(top + 2, dtype=np.float64))))
    return chances[: int(np.flatnonzero(chances > NEGLIGIBLE)[-1]) + 1]


class PositionCosts:
    """G(y) and its cheapest position; values are kept, since every pair of levels asks for them again."""

    def __init__(self, cost_of: Callable[[FloatArray], FloatArray], cheapest: int) -> None:
        self.cost_of, self.cheapest = cost_of, cheapest
        self._lowest, self._known = cheapest, np.zeros(0)

    def at(self, position: int) -> float:
        return float(self.down_from(position, 1)[0])

    def down_from(self, top: int, count: int) -> FloatArray:
        """G at top, top - 1, ... for `count` positions."""
        bottom = top - count + 1
        highest = self._lowest + len(self._known) - 1
        if bottom < self._lowest or top > highest:
            spare = max(64, len(self._known))
            low = min(bottom - spare, self._lowest) if bottom < self._lowest else self._lowest
            high = max(top + spare, highest) if top > highest else highest
            self._lowest = low
            self._known = self.cost_of(np.arange(low, high + 1, dtype=np.float64))
        return self._known[bottom - self._lowest : top - self._lowest + 1][::-1]


class PeriodicReview:
    """Costs of (s, S) levels under one demand: the renewal function grows as far as it is needed."""

    def __init__(self, chances: FloatArray, costs: PositionCosts, fixed_cost: float) -> None:
        self.chances, self.costs, self.fixed_cost = chances, costs, fixed_cost
        self._visits = np.zeros(0)

    def visits(self, count: int) -> FloatArray:
        """m(0) to m(count - 1): expected periods at each distance below S between two orders."""
        known = len(self._visits)
        if count > known:
            grown = np.zeros(max(count, 2 * known))
            grown[:known] = self._visits
            self._fill(grown, known)
            self._visits = grown
        return self._visits[:count]

    def _fill(self, visits: FloatArray, start: int) -> None:
        """m(j) = [j = 0] + sum_k p_k m(j - k), solved for m(j)."""
        stays = 1 - self.chances[0]
        reversed_chances = self.chances[:0:-1]
        for distance in range(start, len(visits)):
            reach = min(distance, len(reversed_chances))
            before = visits[distance - reach : distance]
            arrivals = float(before @ reversed_chances[len(reversed_chances) - reach :]) if reach else 0.0
            visits[distance] = (arrivals + (distance == 0)) / stays

    def cost_per_period(self, reorder_point: int, order_up_to: int) -> float:
        """c(s, S)."""
        count = order_up_to - reorder_point
        if count > MOST_PIECES:
            raise ValueError(f"order_up_to must be at most {MOST_PIECES} pieces above the reorder point")
        if self.chances[0] >= 1:
            # Without demand the position stays where it was put.
            return self.costs.at(order_up_to)
        visits = self.visits(count)
        held = float(visits @ self.costs.down_from(order_up_to, count))
        return (self.fixed_cost + held) / float(visits.sum())


def _best_min_max(review: PeriodicReview) -> MinMaxPolicy:
    """The levels that cost least, by raising S and tightening s.

    The best s for a given S is the first one, going down, whose cost is not above that of its own position:
    c(s, S) <= G(s). A higher S is worth a look as long as G(S) is not above the least cost so far.
    """
    cheapest = review.costs.cheapest
    low = cheapest - 1
    while review.cost_per_period(low, cheapest) > review.costs.at(low):
        low -= 1
    best = MinMaxPolicy(low, cheapest, review.cost_per_period(low, cheapest))
    high = cheapest + 1
    while review.costs.at(high) <= best.cost_per_time:
        if review.cost_per_period(low, high) < best.cost_per_time * (1 - TIE):
            while review.cost_per_period(low, high) <= review.costs.at(low + 1):
                low += 1
            best = MinMaxPolicy(low, high, review.cost_per_period(low, high))
        high += 1
    return best
