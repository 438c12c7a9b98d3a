"""One material's reorder point and order quantity, for whichever target is set."""

from dataclasses import dataclass
from typing import cast

from inventory.calc.demand_shapes import GammaDemand, LeadTimeShape, NormalDemand
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand
from inventory.calc.ranges import as_finite, as_not_negative, as_positive, as_whole
from inventory.calc.reorder_costs import StockCosts, best_policy, best_reorder_point, reorder_cost
from inventory.calc.reorder_points import (
    fill_rate_at,
    lead_time_demand,
    reorder_point_for_cycle_service,
    reorder_point_for_fill_rate,
)

NORMAL, GAMMA, POISSON, NEGATIVE_BINOMIAL = "normal", "gamma", "poisson", "negative_binomial"
DISTRIBUTIONS = (NORMAL, GAMMA, POISSON, NEGATIVE_BINOMIAL)


@dataclass(frozen=True)
class Target:
    """What a policy is to reach; exactly one of the three, or the costs alone for the least cost."""

    cycle_service: float | None = None
    fill_rate: float | None = None
    reorder_point: float | None = None


@dataclass(frozen=True)
class ReorderPolicy:
    """When to order, how much, and what that gives; None where something it needs was not given."""

    reorder_point: float
    order_quantity: float | None
    safety_stock: float
    cycle_service: float
    fill_rate: float | None
    cost_per_time: float | None
    lead_time_demand_mean: float
    lead_time_demand_sd: float


def reorder_policy(
    *,
    demand_mean: float,
    demand_sd: float | None = None,
    distribution: str = NORMAL,
    lead_time: float,
    lead_time_sd: float = 0.0,
    review_period: float = 0.0,
    order_quantity: float | None = None,
    cycle_service: float | None = None,
    fill_rate: float | None = None,
    reorder_point: float | None = None,
    holding_cost: float | None = None,
    stockout_cost: float | None = None,
    fixed_cost: float | None = None,
) -> ReorderPolicy:
    """Reorder point r and order quantity Q for a cycle service, a fill rate or the least cost, or as given.

    Demand over lead time and review period has mean d (L + R) and variance (L + R) sigma^2 + d^2 sigma_L^2.
    Safety stock is r less that mean, cycle service F(r), fill rate 1 - (n(r) - n(r + Q)) / Q, cost
    (K d + sum of h E[(y - D)+] + p E[(D - y)+] over the positions from r to r + Q) / Q.

    Parameters
    ----------
    demand_mean, demand_sd : float
        Demand per unit time and its standard deviation, >= 0 [units per time], [units per sqrt(time)]
    distribution : str
        'normal' or 'gamma' (no gaps); 'poisson' (pieces; demand_sd follows from the mean; with an uncertain
        lead time negative binomial) or 'negative_binomial' (pieces; variance above the mean)
    lead_time, lead_time_sd, review_period : float
        L, sigma_L and R, >= 0 [time]
    order_quantity : float, optional
        Q > 0; chosen only together with r for the least cost [units]
    cycle_service, fill_rate, reorder_point : float, optional
        Target between 0 and 1 [1], or the point to evaluate [units]; the latter two need order_quantity
    holding_cost, stockout_cost, fixed_cost : float, optional
        h > 0 and p > 0 per unit held or on backorder [money per unit per time], K >= 0 [money].
        Without another target they are the target; with order_quantity only r is chosen.

    Returns
    -------
    ReorderPolicy
        Quantities [units], shares [1], cost [money per time]

    Raises
    ------
    ValueError
        If a parameter is out of range, no target is given or more than one.

    References
    ----------
    .. [1] Hadley, G. & Whitin, T. M. (1963), Analysis of Inventory Systems, chapter 4.
    .. [2] Zheng, Y.-S. (1992), Management Science 38(1):87-103.
    """
    demand = _lead_time_shape(demand_mean, demand_sd, distribution, lead_time, lead_time_sd, review_period)
    size, costs = _size(demand, order_quantity), _costs(holding_cost, stockout_cost, fixed_cost)
    point = _target(demand, Target(cycle_service, fill_rate, reorder_point), size)
    if point is None:
        return _cheapest(demand, demand_mean, size, costs, has_fixed_cost=fixed_cost is not None)
    return _described(demand, demand_mean, point, size, costs if fixed_cost is not None else None)


def demand_over_lead_time(
    *,
    demand_mean: float,
    demand_sd: float | None,
    distribution: str,
    lead_time: float,
    lead_time_sd: float = 0.0,
    review_period: float = 0.0,
) -> LeadTimeShape:
    """Shape of demand over lead time and review period with the moments of `lead_time_demand`.

    Parameters
    ----------
    demand_mean, demand_sd, distribution, lead_time, lead_time_sd, review_period
        As for `reorder_policy` [units per time], [units per sqrt(time)], [time]

    Returns
    -------
    LeadTimeShape
        Normal, gamma, Poisson or negative binomial [units]. A Poisson demand over a gamma distributed lead
        time is exactly negative binomial; with a review period on top, or another lead time, it is so by its
        moments.

    Raises
    ------
    ValueError
        If a parameter is out of range or the distribution cannot have these moments.

    References
    ----------
    .. [1] Johnson, N. L., Kemp, A. W. & Kotz, S. (2005), Univariate Discrete Distributions, 3rd ed., section
       5.3 (negative binomial as a gamma mixture of Poissons).
    """
    return _lead_time_shape(demand_mean, demand_sd, distribution, lead_time, lead_time_sd, review_period)


def _lead_time_shape(
    demand_mean: float,
    demand_sd: float | None,
    distribution: str,
    lead_time: float,
    lead_time_sd: float,
    review_period: float,
) -> LeadTimeShape:
    if distribution not in DISTRIBUTIONS:
        raise ValueError(f"distribution must be one of {', '.join(DISTRIBUTIONS)}, got {distribution!r}")
    as_not_negative("demand_mean", demand_mean)
    if distribution == POISSON:
        if demand_sd is not None:
            raise ValueError("demand_sd must be left out with Poisson demand, its variance is its mean")
        demand_sd = demand_mean**0.5
    elif demand_sd is None:
        raise ValueError("demand_sd must be given, or distribution must be poisson")
    mean, sd = lead_time_demand(
        demand_mean=demand_mean,
        demand_sd=demand_sd,
        lead_time=lead_time,
        lead_time_sd=lead_time_sd,
        review_period=review_period,
    )
    return _shape(distribution, float(mean), float(sd), is_spread=bool(lead_time_sd))


def _shape(distribution: str, mean: float, sd: float, *, is_spread: bool) -> LeadTimeShape:
    if distribution == NORMAL or (not mean and not sd and distribution == GAMMA):
        return NormalDemand(mean, sd)
    if distribution == POISSON and (not is_spread or not mean):
        return PoissonDemand(mean)
    if distribution == GAMMA:
        if not mean or not sd:
            raise ValueError("demand_sd must be above 0, and so must demand_mean, for gamma demand")
        return GammaDemand((mean / sd) ** 2, sd * sd / mean)
    if not mean:
        return PoissonDemand(0.0)
    if sd * sd <= mean:
        raise ValueError(
            "demand_sd must make the variance exceed the mean for negative binomial demand;"
            f" over the lead time they are {sd * sd:g} and {mean:g}"
        )
    p = mean / (sd * sd)
    return NegativeBinomialDemand(mean * p / (1 - p), p)


def _size(demand: LeadTimeShape, order_quantity: float | None) -> float | None:
    if order_quantity is None:
        return None
    size = as_positive("order_quantity", order_quantity)
    return cast(float, as_whole("order_quantity", size, least=1) if demand.is_discrete else size)


def _costs(
    holding_cost: float | None, stockout_cost: float | None, fixed_cost: float | None
) -> StockCosts | None:
    if holding_cost is None and stockout_cost is None:
        return None
    if holding_cost is None or stockout_cost is None:
        missing = "holding_cost" if holding_cost is None else "stockout_cost"
        raise ValueError(f"{missing} must be given where the other of holding_cost and stockout_cost is")
    return StockCosts(holding_cost, stockout_cost, 0.0 if fixed_cost is None else fixed_cost)


def _target(demand: LeadTimeShape, target: Target, size: float | None) -> float | None:
    """The reorder point that a service target or the caller sets; None where the cost is the target."""
    given = [
        name for name in ("cycle_service", "fill_rate", "reorder_point") if vars(target)[name] is not None
    ]
    if len(given) > 1:
        raise ValueError(f"{given[1]} must be left out where {given[0]} is given: one target")
    if target.cycle_service is not None:
        return float(reorder_point_for_cycle_service(demand=demand, cycle_service=target.cycle_service))
    if given and size is None:
        raise ValueError(f"order_quantity must be given with {given[0]}")
    if target.fill_rate is not None:
        return float(
            reorder_point_for_fill_rate(
                demand=demand, order_quantity=cast(float, size), fill_rate=target.fill_rate
            )
        )
    if target.reorder_point is None:
        return None
    point = as_finite("reorder_point", target.reorder_point)
    return float(as_whole("reorder_point", point) if demand.is_discrete else point)


def _cheapest(
    demand: LeadTimeShape,
    demand_rate: float,
    size: float | None,
    costs: StockCosts | None,
    *,
    has_fixed_cost: bool,
) -> ReorderPolicy:
    """The policy of least cost: of reorder point and order quantity, or of the point for a given quantity."""
    if costs is None:
        raise ValueError(
            "cycle_service must be given as a target, or fill_rate, reorder_point or holding_cost with"
            " stockout_cost"
        )
    if size is not None:
        point = float(best_reorder_point(demand=demand, costs=costs, order_quantity=size))
        return _described(demand, demand_rate, point, size, costs if has_fixed_cost else None)
    if not has_fixed_cost:
        raise ValueError("fixed_cost must be given, or an order_quantity, to find the least cost")
    best = best_policy(demand=demand, demand_rate=demand_rate, costs=costs)
    return _described(demand, demand_rate, float(best[0]), float(best[1]), costs, cost=float(best[2]))


def _described(
    demand: LeadTimeShape,
    demand_rate: float,
    point: float,
    size: float | None,
    costs: StockCosts | None,
    cost: float | None = None,
) -> ReorderPolicy:
    if cost is None and costs is not None and size:
        cost = float(
            reorder_cost(
                demand=demand, demand_rate=demand_rate, costs=costs, reorder_point=point, order_quantity=size
            )
        )
    filled = None if size is None else fill_rate_at(demand=demand, reorder_point=point, order_quantity=size)
    return ReorderPolicy(
        reorder_point=point,
        order_quantity=size,
        safety_stock=point - float(demand.mean),
        cycle_service=float(demand.cdf(point)),
        fill_rate=None if filled is None else float(filled),
        cost_per_time=cost,
        lead_time_demand_mean=float(demand.mean),
        lead_time_demand_sd=float(demand.sd),
    )
