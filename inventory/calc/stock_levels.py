"""Reorder points and order quantities of many materials at once, each for its own target."""

from dataclasses import dataclass, fields
from typing import cast

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_shapes import GammaDemand, LeadTimeShape, NormalDemand
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand
from inventory.calc.ranges import FloatArray, as_not_negative, as_open_fraction, as_positive
from inventory.calc.reorder_points import (
    fill_rate_at,
    lead_time_demand,
    reorder_point_for_cycle_service,
    reorder_point_for_fill_rate,
)

# A spread below this share of the mean is no gamma any more but as good as normal.
LEAST_GAMMA_SPREAD = 0.01
# A variance this close to the mean is a Poisson's.
POISSON_BAND = 1e-6


@dataclass(frozen=True)
class LeadTimeDemands:
    """Demand over lead time and review period of many materials: mean, sd and whether it comes in pieces."""

    mean: FloatArray
    sd: FloatArray
    is_whole: npt.NDArray[np.bool_]

    def groups(self) -> list[tuple[npt.NDArray[np.int_], LeadTimeShape]]:
        """The materials of each shape of demand, with the shape of them all."""
        variance = np.square(self.sd)
        is_none = self.mean <= 0
        is_wide = self.is_whole & ~is_none & (variance > self.mean * (1 + POISSON_BAND))
        is_poisson = self.is_whole & ~is_none & ~is_wide
        is_gamma = ~self.is_whole & ~is_none & (self.sd > LEAST_GAMMA_SPREAD * self.mean)
        is_normal = ~self.is_whole & ~is_gamma
        found: list[tuple[npt.NDArray[np.int_], LeadTimeShape]] = []
        for chosen, make in (
            (is_wide, _make_wide),
            (is_poisson | (self.is_whole & is_none), lambda mean, sd: PoissonDemand(np.maximum(mean, 0.0))),
            (is_gamma, lambda mean, sd: GammaDemand(np.square(mean / sd), np.square(sd) / mean)),
            (is_normal, lambda mean, sd: NormalDemand(mean, np.where(mean > 0, sd, 0.0))),
        ):
            rows = np.flatnonzero(chosen)
            if len(rows):
                found.append((rows, make(self.mean[rows], self.sd[rows])))
        return found


@dataclass(frozen=True)
class LevelPlan:
    """Reorder points [units], chance of no shortage before an order comes, share filled [1]; shape (n,)."""

    reorder_point: FloatArray
    cycle_service: FloatArray
    fill_rate: FloatArray


def demands_over_lead_time(
    *,
    rate: FloatArray,
    sd: FloatArray,
    rate_error: FloatArray,
    lead_time: FloatArray,
    lead_time_sd: FloatArray,
    review_period: FloatArray,
    is_whole: npt.NDArray[np.bool_],
) -> LeadTimeDemands:
    """Demand over lead time and review period, the rate itself being uncertain.

    Mean d (L + R), variance (L + R) s^2 + d^2 s_L^2 + (L + R)^2 e^2: that of demand around its rate, of the
    lead time, and of the rate around what is forecast.

    Parameters
    ----------
    rate, sd, rate_error : ndarray
        d, s and e, >= 0, shape (n,) [units per time], [units per sqrt(time)], [units per time]
    lead_time, lead_time_sd, review_period : ndarray
        L, s_L and R, >= 0, shape (n,) [time]
    is_whole : ndarray
        Whether demand comes in pieces, shape (n,) [-]

    Returns
    -------
    LeadTimeDemands
        mean and sd, shape (n,) [units]

    Raises
    ------
    ValueError
        If a parameter is negative.

    References
    ----------
    .. [1] As for `lead_time_demand`; the last term: Silver, E. A., Pyke, D. F. & Peterson, R. (1998),
       Inventory Management and Production Planning and Scheduling, 3rd ed., section 4.6 (errors of a forecast
       of the mean add up over the lead time).
    """
    mean, spread = lead_time_demand(
        demand_mean=rate,
        demand_sd=sd,
        lead_time=lead_time,
        lead_time_sd=lead_time_sd,
        review_period=review_period,
    )
    error = (lead_time + review_period) * as_not_negative("rate_error", rate_error)
    return LeadTimeDemands(
        np.asarray(mean, dtype=np.float64),
        np.sqrt(np.square(spread) + np.square(error)),
        np.asarray(is_whole, dtype=bool),
    )


def plan_levels(
    *,
    demands: LeadTimeDemands,
    order_quantity: FloatArray,
    share: FloatArray,
    is_fill_rate: npt.NDArray[np.bool_],
    spread_factor: npt.ArrayLike = np.nan,
) -> LevelPlan:
    """Reorder points for a cycle service or a fill rate, from what looking back has taught where it has.

    Where a factor f is known the point is that of `scaled_points`; elsewhere it reaches the target under the
    material's shape of demand (Poisson or negative binomial for pieces, gamma or normal for what can be
    divided). What a point gives is told under that shape either way.

    Parameters
    ----------
    demands : LeadTimeDemands
        Demand over lead time and review period [units]
    order_quantity : ndarray
        Q > 0, whole where there are pieces, shape (n,) [units]
    share : ndarray
        Target between 0 and 1, shape (n,) [1]
    is_fill_rate : ndarray
        Whether the target is a fill rate, else a cycle service, shape (n,) [-]
    spread_factor : array_like
        f > 0, NaN where it is not known, shape (n,) or a number [1]

    Returns
    -------
    LevelPlan
        Whole reorder points where there are pieces, rounded up [units]

    Raises
    ------
    ValueError
        If a target is not between 0 and 1 or an order quantity not above 0.

    References
    ----------
    .. [1] As for `reorder_point_for_cycle_service` and `reorder_point_for_fill_rate`.
    """
    size = np.asarray(as_positive("order_quantity", order_quantity), dtype=np.float64)
    wanted = np.asarray(as_open_fraction("share", share), dtype=np.float64)
    factor = np.broadcast_to(np.asarray(spread_factor, dtype=np.float64), size.shape)
    point, service, filled = (np.zeros(len(size)) for _ in range(3))
    for rows, shape in demands.groups():
        taught = ~np.isnan(factor[rows])
        one = LeadTimeDemands(demands.mean[rows], demands.sd[rows], demands.is_whole[rows])
        if not taught.all():
            point[rows] = _points(shape, size[rows], wanted[rows], is_fill_rate[rows])
        if taught.any():
            scale = np.where(taught, factor[rows], 1.0)
            scaled = scaled_points(one, size[rows], wanted[rows], is_fill_rate[rows], scale)
            point[rows] = np.where(taught, scaled, point[rows])
        service[rows] = shape.cdf(point[rows])
        filled[rows] = fill_rate_at(demand=shape, reorder_point=point[rows], order_quantity=size[rows])
    return LevelPlan(point, service, filled)


def scaled_points(
    demands: LeadTimeDemands,
    order_quantity: FloatArray,
    share: FloatArray,
    is_fill_rate: npt.NDArray[np.bool_],
    factor: FloatArray,
) -> FloatArray:
    """Reorder points under a normal demand whose spread is multiplied by what looking back asks for, f s.

    For pieces a point is rounded up, for a fill rate from half a piece below: positions r + 1 to r + Q stand
    for the stretch from r + 1/2 to r + Q + 1/2.

    Parameters
    ----------
    demands : LeadTimeDemands
        Demand over lead time and review period, shape (n,) [units]
    order_quantity, share, is_fill_rate : ndarray
        As for `plan_levels`, shape (n,) [units], [1], [-]
    factor : ndarray
        f > 0, shape (n,), or (n, k) for k points of each [1]

    Returns
    -------
    ndarray
        In the shape of the factor [units]

    Raises
    ------
    ValueError
        If a share or an order quantity is out of range.

    References
    ----------
    .. [1] As for `reorder_point_for_cycle_service` and `reorder_point_for_fill_rate`.
    """
    column = (slice(None),) + (np.newaxis,) * (factor.ndim - 1)
    size, is_whole = order_quantity[column] + 0 * factor, demands.is_whole[column]
    spread = np.where(demands.mean > 0, demands.sd, 0.0)[column] * factor
    shape = NormalDemand(demands.mean[column] + 0 * factor, spread)
    by_fill = is_fill_rate[column] & np.ones_like(size, dtype=bool)
    found = _points(shape, size, share[column] + 0 * factor, by_fill)
    found = np.where(is_whole & by_fill, found - 0.5, found)
    return np.where(is_whole, np.ceil(found - 1e-9), found)


@dataclass(frozen=True)
class OrderBounds:
    """Under which terms each material is ordered, shape (n,): money [currency], quantities [units], days.

    Cost of an order, of holding a unit for a day, pack, least order, shelf life and room; infinite where
    there is no limit.
    """

    order_cost: FloatArray
    holding_cost: FloatArray
    pack: FloatArray
    minimum: FloatArray
    shelf_life_days: FloatArray
    storage_limit: FloatArray

    def most(self, rate_per_day: FloatArray) -> FloatArray:
        """The most that is used while it keeps and that there is room for; 1e15 where there is no limit."""
        lasting = np.full(len(rate_per_day), np.inf)
        np.multiply(rate_per_day, self.shelf_life_days, out=lasting, where=np.isfinite(self.shelf_life_days))
        return np.minimum(np.minimum(lasting, self.storage_limit), 1e15)

    def sizes(self, rate_per_day: FloatArray, review_days: FloatArray) -> FloatArray:
        """Order quantities for these rates: no less than is used until the next look, see `order_sizes`."""
        most = self.most(rate_per_day)
        wanted = np.maximum(self.minimum, np.minimum(rate_per_day * review_days, most))
        return order_sizes(
            rate=rate_per_day,
            fixed_cost=self.order_cost,
            holding_cost=self.holding_cost,
            least=np.where(rate_per_day > 0, wanted, self.minimum),
            most=most,
            pack=self.pack,
        )

    def of(self, rows: npt.NDArray[np.int_]) -> "OrderBounds":
        """Those of some materials."""
        return OrderBounds(*(getattr(self, field.name)[rows] for field in fields(self)))


def order_sizes(
    *,
    rate: FloatArray,
    fixed_cost: FloatArray,
    holding_cost: FloatArray,
    least: FloatArray,
    most: FloatArray,
    pack: FloatArray,
) -> FloatArray:
    """Order quantities sqrt(2 K d / h), no less than `least`, no more than `most`, in whole packs.

    Parameters
    ----------
    rate : ndarray
        Demand d >= 0, shape (n,) [units per time]
    fixed_cost, holding_cost : ndarray
        Cost K >= 0 of an order [money], cost h > 0 of holding [money per unit per time], shape (n,)
    least, most : ndarray
        Bounds, shape (n,); what is asked for at least wins where they cross [units]
    pack : ndarray
        Pack > 0, shape (n,) [units]

    Returns
    -------
    ndarray
        Shape (n,), at least one pack; down to whole packs where `most` binds, up elsewhere [units]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Harris, F. W. (1913), How many parts to make at once.
    """
    cost = as_not_negative("fixed_cost", fixed_cost) * as_not_negative("rate", rate)
    best = np.sqrt(2 * cost / as_positive("holding_cost", holding_cost))
    step = np.asarray(as_positive("pack", pack), dtype=np.float64)
    up = np.ceil(np.maximum(best, least) / step - 1e-9)
    down = np.floor(np.maximum(most, 0.0) / step + 1e-9)
    asked = np.ceil(np.asarray(least) / step - 1e-9)
    return np.asarray(np.maximum(np.maximum(np.minimum(up, down), asked), 1.0) * step)


def _make_wide(mean: FloatArray, sd: FloatArray) -> LeadTimeShape:
    p = mean / np.square(sd)
    return NegativeBinomialDemand(mean * p / (1 - p), p)


def _points(
    shape: LeadTimeShape, size: FloatArray, wanted: FloatArray, is_fill_rate: npt.NDArray[np.bool_]
) -> FloatArray:
    if is_fill_rate.all():
        found = reorder_point_for_fill_rate(demand=shape, order_quantity=size, fill_rate=wanted)
        return np.asarray(found, dtype=np.float64)
    by_cycle = np.asarray(reorder_point_for_cycle_service(demand=shape, cycle_service=wanted))
    if not is_fill_rate.any():
        return by_cycle
    by_fill = reorder_point_for_fill_rate(demand=shape, order_quantity=size, fill_rate=wanted)
    return cast(FloatArray, np.where(is_fill_rate, by_fill, by_cycle))
