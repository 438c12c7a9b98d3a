"""From whom to order what, where each supplier also asks something for an order as a whole."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

# All sets of suppliers are tried; more than this many for one order is no order but a market.
MOST_SUPPLIERS = 12


def choose_suppliers(*, line_costs: Sequence[Sequence[float]], order_costs: Sequence[float]) -> list[int]:
    """Supplier of each line at least total cost, min_S of sum_i min_{j in S} c_ij + sum_{j in S} f_j.

    Every set of suppliers is tried, the smaller ones first, so that of two sets that cost the same the
    smaller is taken; within a set a line goes to its cheapest supplier, the first of several.

    Parameters
    ----------
    line_costs : array of shape (lines, suppliers)
        What line i costs from supplier j, >= 0, infinite where it does not sell it [money]
    order_costs : array of shape (suppliers,)
        What supplier j asks for an order, >= 0 [money]

    Returns
    -------
    list of int
        Supplier of each line, from 0 [1]

    Raises
    ------
    ValueError
        If a parameter is out of range, or a line is sold by nobody.

    References
    ----------
    .. [1] Krarup, J. & Pruzan, P. M. (1983), The simple plant location problem, European Journal of
       Operational Research 12, 36-81 (the same problem, suppliers for plants).
    """
    fixed = np.asarray(order_costs, dtype=np.float64)
    if not 1 <= fixed.size <= MOST_SUPPLIERS:
        raise ValueError(f"order_costs must be of 1 to {MOST_SUPPLIERS} suppliers")
    costs = np.asarray(line_costs, dtype=np.float64).reshape(-1, fixed.size)
    if not np.isfinite(fixed).all() or (fixed < 0).any():
        raise ValueError("order_costs must be numbers of 0 or more")
    if np.isnan(costs).any() or (costs < 0).any():
        raise ValueError("line_costs must be numbers of 0 or more, infinite where a line is not sold")
    if len(costs) and not np.isfinite(costs.min(axis=1)).all():
        raise ValueError("line_costs: a line is sold by nobody")
    best, chosen = np.inf, list(range(fixed.size))
    for size in range(1, fixed.size + 1):
        for members in combinations(range(fixed.size), size):
            total = float(costs[:, members].min(axis=1).sum() + fixed[list(members)].sum())
            if total < best:
                best, chosen = total, list(members)
    return [chosen[int(position)] for position in costs[:, chosen].argmin(axis=1)]
