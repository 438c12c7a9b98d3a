"""How much to load for one stretch of work: too much is carried for nothing, too little stands still."""

from dataclasses import dataclass
from typing import cast

import numpy as np

from inventory.calc.demand_shapes import DemandShape
from inventory.calc.ranges import Numbers, as_finite, as_open_fraction, as_positive, as_whole


@dataclass(frozen=True)
class LoadLevel:
    """A level, what it is expected to cost (None without costs) and the chance it was chosen for."""

    level: Numbers
    cost: Numbers | None
    critical_ratio: Numbers | None


def load_level(
    *,
    demand: DemandShape,
    holding_cost: Numbers | None = None,
    stockout_cost: Numbers | None = None,
    quantile: Numbers | None = None,
    level: Numbers | None = None,
    lead_time: int = 0,
) -> LoadLevel:
    """Level with the least expected cost h E[(S - D)+] + p E[(D - S)+]: the p / (p + h) quantile of demand.

    Parameters
    ----------
    demand : DemandShape
        Demand of one period [unit of the material]
    holding_cost, stockout_cost : float or ndarray, optional
        Cost h of a unit too much and p of a unit too little, both > 0 [money per unit]
    quantile : float or ndarray, optional
        Chance of enough to aim for in place of costs, between 0 and 1 [1]
    level : float or ndarray, optional
        Evaluate this level and choose none [unit of the material]
    lead_time : int
        Whole periods >= 0 until more can come; demand of lead_time + 1 periods is met [periods]

    Returns
    -------
    LoadLevel
        level [unit of the material], cost per period [money], critical_ratio [1]; the least whole level that
        reaches the ratio where demand comes in pieces

    Raises
    ------
    ValueError
        If a parameter is out of range, or neither costs nor a quantile (or both) are given.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed.,
       sections 4.3-4.4.
    """
    protected = demand.over_periods(as_whole("lead_time", lead_time, least=0) + 1)
    if quantile is not None:
        if holding_cost is not None or stockout_cost is not None or level is not None:
            raise ValueError("quantile must be left out where costs or a level are given")
        chance = as_open_fraction("quantile", quantile)
        return LoadLevel(level=protected.quantile(chance), cost=None, critical_ratio=chance)
    if holding_cost is None or stockout_cost is None:
        missing = "holding_cost" if holding_cost is None else "stockout_cost"
        raise ValueError(f"{missing} must be given, or a quantile in place of both costs")
    surplus = as_positive("holding_cost", holding_cost)
    shortage = as_positive("stockout_cost", stockout_cost)
    ratio = shortage / (shortage + surplus)
    chosen = protected.quantile(ratio) if level is None else as_finite("level", level)
    cost = mismatch_cost(demand=protected, level=chosen, holding_cost=surplus, stockout_cost=shortage)
    return LoadLevel(level=chosen, cost=cost, critical_ratio=ratio)


def mismatch_cost(
    *, demand: DemandShape, level: Numbers, holding_cost: Numbers, stockout_cost: Numbers
) -> Numbers:
    """Expected cost of a level that demand falls short of or exceeds, h (S - mean) + (h + p) n(S).

    Parameters
    ----------
    demand : DemandShape
        Demand the level has to meet [unit of the material]
    level : float or ndarray
        Any real number, any shape [unit of the material]
    holding_cost, stockout_cost : float or ndarray
        h and p, >= 0 [money per unit]

    Returns
    -------
    float or ndarray
        Expected cost [money]

    Raises
    ------
    ValueError
        Never; the callers have checked.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed.,
       eq. (4.6).
    """
    surplus = np.asarray(level, dtype=np.float64) - demand.mean
    cost = holding_cost * surplus + (holding_cost + stockout_cost) * np.asarray(demand.loss(level))
    return cast(Numbers, cost if np.ndim(cost) else float(cost))
