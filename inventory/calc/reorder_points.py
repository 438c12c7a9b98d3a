"""When to order: the position at which the next order must go out, for a service to be reached.

Everything here takes arrays as well as numbers, so that 100,000 materials are one call.
"""

from typing import cast

import numpy as np
import numpy.typing as npt

from inventory.calc.bisection import least_whole, reaches, root_between
from inventory.calc.demand_shapes import DemandShape
from inventory.calc.ranges import FloatArray, Numbers, as_not_negative, as_open_fraction, as_positive


def lead_time_demand(
    *,
    demand_mean: Numbers,
    demand_sd: Numbers,
    lead_time: Numbers,
    lead_time_sd: Numbers = 0.0,
    review_period: Numbers = 0.0,
) -> tuple[Numbers, Numbers]:
    """Mean and standard deviation of demand over lead time and review period, d (L + R) and
    sqrt((L + R) sigma^2 + d^2 sigma_L^2).

    Parameters
    ----------
    demand_mean, demand_sd : float or ndarray
        Demand per unit time d and its standard deviation sigma, >= 0 [units per time], [units per sqrt(time)]
    lead_time, lead_time_sd, review_period : float or ndarray
        L, sigma_L and R, >= 0 [time]

    Returns
    -------
    tuple of float or ndarray
        Mean and standard deviation, the shapes broadcast [units]

    Raises
    ------
    ValueError
        If a parameter is negative.

    References
    ----------
    .. [1] Hadley, G. & Whitin, T. M. (1963), Analysis of Inventory Systems, section 3-9 (variance of a sum of
       a random number of terms).
    """
    mean, sd = as_not_negative("demand_mean", demand_mean), as_not_negative("demand_sd", demand_sd)
    span = as_not_negative("lead_time", lead_time) + as_not_negative("review_period", review_period)
    spread = as_not_negative("lead_time_sd", lead_time_sd)
    return mean * span, cast(Numbers, np.sqrt(span * np.square(sd) + np.square(mean * spread)))


def fill_rate_at(*, demand: DemandShape, reorder_point: Numbers, order_quantity: Numbers) -> Numbers:
    """Share of demand met at once from stock, 1 - (n(r) - n(r + Q)) / Q.

    Parameters
    ----------
    demand : DemandShape
        Demand over the lead time (and review period) [units]
    reorder_point : float or ndarray
        r, any real number [units]
    order_quantity : float or ndarray
        Q >= 0; 0 stands for orders as small as can be, where the share becomes the chance P(D <= r) [units]

    Returns
    -------
    float or ndarray
        Between 0 and 1 [1]

    Raises
    ------
    ValueError
        If order_quantity is negative.

    References
    ----------
    .. [1] Hadley, G. & Whitin, T. M. (1963), Analysis of Inventory Systems, section 4-9.
    .. [2] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., section 5.3.2.
    """
    size = np.asarray(as_not_negative("order_quantity", order_quantity), dtype=np.float64)
    point = np.asarray(reorder_point, dtype=np.float64)
    missed = np.asarray(demand.loss(point)) - np.asarray(demand.loss(point + size))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(size > 0, 1 - missed / size, demand.cdf(point))
    share = np.clip(share, 0.0, 1.0)
    return cast(Numbers, share if share.ndim else float(share))


def reorder_point_for_cycle_service(*, demand: DemandShape, cycle_service: Numbers) -> Numbers:
    """Least position at which the chance of no shortage before the order arrives is reached, F(r) >= alpha.

    Parameters
    ----------
    demand : DemandShape
        Demand over the lead time (and review period) [units]
    cycle_service : float or ndarray
        alpha, between 0 and 1 [1]

    Returns
    -------
    float or ndarray
        r; a whole number where demand comes in pieces [units]

    Raises
    ------
    ValueError
        If cycle_service is not between 0 and 1.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., section 5.3.2
       (type-1 service).
    """
    return demand.quantile(as_open_fraction("cycle_service", cycle_service))


def reorder_point_for_fill_rate(
    *, demand: DemandShape, order_quantity: Numbers, fill_rate: Numbers
) -> Numbers:
    """Position at which the share of demand met at once is reached, 1 - (n(r) - n(r + Q)) / Q = beta.

    The share is the mean of F over r to r + Q, so r lies between the beta quantile less Q and the beta
    quantile; it may be negative where Q is large.

    Parameters
    ----------
    demand : DemandShape
        Demand over the lead time (and review period) [units]
    order_quantity : float or ndarray
        Q > 0; whole where demand comes in pieces [units]
    fill_rate : float or ndarray
        beta, between 0 and 1 [1]

    Returns
    -------
    float or ndarray
        r; the least whole one that reaches the share where demand comes in pieces [units]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed., section 5.3.2
       (type-2 service).
    """
    target = np.asarray(as_open_fraction("fill_rate", fill_rate), dtype=np.float64)
    size = np.asarray(as_positive("order_quantity", order_quantity), dtype=np.float64)
    high = np.asarray(demand.quantile(target) + 0 * size, dtype=np.float64)
    if demand.is_discrete:
        return _whole_point(demand, size, target, high)

    def excess(point: FloatArray) -> FloatArray:
        missed = np.asarray(demand.loss(point)) - np.asarray(demand.loss(point + size))
        return np.asarray(size * (1 - target) - missed)

    def slope(point: FloatArray) -> FloatArray:
        return np.asarray(demand.cdf(point + size)) - np.asarray(demand.cdf(point))

    root = root_between(excess, slope, low=high - size, high=high)
    return root if root.ndim else float(root)


def _whole_point(demand: DemandShape, size: FloatArray, target: FloatArray, high: FloatArray) -> Numbers:
    def is_enough(point: FloatArray) -> npt.NDArray[np.bool_]:
        return reaches(
            fill_rate_at(demand=demand, reorder_point=point, order_quantity=size), cast(Numbers, target)
        )

    return least_whole(is_enough, low=high - np.ceil(size) - 1, high=high)
