"""How much to order at a time: order cost against holding cost, price breaks, packs and minimums."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from inventory.calc.ranges import as_finite, as_not_negative, as_positive

ALL_UNITS = "all_units"
INCREMENTAL = "incremental"
# A whole number of packs is whole up to the rounding of a division.
PACK_ROUNDING = 1e-9
# Two costs this close differ by rounding only.
TIE = 1e-12


@dataclass(frozen=True)
class OrderQuantity:
    """A quantity per order, its cost per unit time, its price band (from 0) and share of backorders."""

    order_quantity: float
    cost_per_time: float
    price_band: int | None = None
    stockout_fraction: float | None = None


@dataclass(frozen=True)
class OrderLots:
    """Which quantities can be ordered: whole packs (of 0 where any amount goes), at least the minimum."""

    pack_size: float = 0.0
    minimum: float = 0.0

    def around(self, wanted: float, *, least: float, below: float) -> list[float]:
        """The orderable quantities next to the wanted one, least <= q < below; none where none fits."""
        floor = max(least, self.minimum)
        if not self.pack_size:
            nearest = max(wanted, floor)
            return [nearest] if nearest < below else []
        first = max(1, self._packs_to_reach(floor))
        under = self._packs_to_reach(wanted) - 1
        packs = {max(first, under), max(first, under + 1)}
        if math.isfinite(below):
            # The cost falls up to the wanted quantity, so the last pack below the next break may be the best.
            packs.add(max(first, self._packs_to_reach(below) - 1))
        return [count * self.pack_size for count in sorted(packs) if count * self.pack_size < below]

    def _packs_to_reach(self, quantity: float) -> int:
        packs = quantity / self.pack_size
        return math.ceil(packs - PACK_ROUNDING * max(1.0, packs))


@dataclass(frozen=True)
class OrderCosts:
    """Demand D and the cost K of an order; the cost p of a backorder where backorders are planned."""

    demand_rate: float
    fixed_cost: float
    stockout_cost: float | None

    def stockout_fraction(self, holding_cost: float) -> float | None:
        """Share of demand that had best wait, h / (h + p)."""
        if self.stockout_cost is None:
            return None
        return holding_cost / (holding_cost + self.stockout_cost)

    def net_holding_cost(self, holding_cost: float) -> float:
        """What holding costs once the best share of demand waits, h p / (h + p)."""
        return holding_cost * (1 - (self.stockout_fraction(holding_cost) or 0.0))


@dataclass(frozen=True)
class PriceBand:
    """One band of a price list: from `least` up to (not including) `below`.

    An order of q in this band costs `unit_cost * q + excess`; the excess is what the dearer first units of an
    incremental discount cost above this band's price, 0 for an all-units discount. Holding the average price
    of such an order costs `holding_cost * q / 2 + excess_held` per unit time.
    """

    least: float
    below: float
    unit_cost: float
    holding_cost: float
    excess: float = 0.0
    excess_held: float = 0.0

    def cost_per_time(self, order_quantity: float, costs: OrderCosts) -> float:
        holding = costs.net_holding_cost(self.holding_cost) * order_quantity / 2 + self.excess_held
        per_order = (costs.fixed_cost + self.excess) * costs.demand_rate
        ordering = per_order / order_quantity if per_order else 0.0
        return self.unit_cost * costs.demand_rate + ordering + holding

    def best_quantity(self, costs: OrderCosts) -> float:
        """Where the band's cost is least if its limits are left aside."""
        per_order = (costs.fixed_cost + self.excess) * costs.demand_rate
        return math.sqrt(2 * per_order / costs.net_holding_cost(self.holding_cost))


def order_quantity(
    *,
    demand_rate: float,
    fixed_cost: float,
    holding_cost: float,
    stockout_cost: float | None = None,
    evaluate: float | None = None,
    pack_size: float | None = None,
    minimum: float | None = None,
) -> OrderQuantity:
    """Economic order quantity Q = sqrt(2 K D / h) at K D / Q + h Q / 2; h p / (h + p) for h with backorders.

    Where packs or a minimum bind, the cheapest orderable quantity; the smaller of two that cost the same.

    Parameters
    ----------
    demand_rate : float
        Demand D per unit time, >= 0 [unit of the material per time]
    fixed_cost : float
        Cost K of an order, >= 0 [money]
    holding_cost : float
        Cost h of holding, > 0 [money per unit per time]
    stockout_cost : float, optional
        Cost p of a unit on backorder, > 0; none planned where left out [money per unit per time]
    evaluate : float, optional
        Cost this order quantity, > 0, and choose none [unit of the material]
    pack_size, minimum : float, optional
        Order whole packs, > 0, and at least the minimum, >= 0 [unit of the material]

    Returns
    -------
    OrderQuantity
        order_quantity [unit of the material], cost_per_time [money per time], stockout_fraction (share of
        demand on backorder, None without backorders) [1]; no price band. Nothing to order gives 0.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Harris, F. W. (1913), How many parts to make at once.
    .. [2] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed.,
       sections 3.2, 3.5.
    """
    band = PriceBand(0.0, math.inf, unit_cost=0.0, holding_cost=as_positive("holding_cost", holding_cost))
    costs = _costs(demand_rate, fixed_cost, stockout_cost)
    chosen = _choose([band], costs, _lots(pack_size, minimum), evaluate)
    return replace(chosen, price_band=None)


def discounted_order_quantity(
    *,
    demand_rate: float,
    fixed_cost: float,
    holding_cost_rate: float,
    breakpoints: Sequence[float],
    unit_costs: Sequence[float],
    discount: str = ALL_UNITS,
    stockout_cost: float | None = None,
    evaluate: float | None = None,
    pack_size: float | None = None,
    minimum: float | None = None,
) -> OrderQuantity:
    """Order quantity under price breaks: the cheapest of the best quantities of all price bands.

    Per band K D / Q + i c(Q) Q / 2 + c(Q) D, where c(Q) is the price of the band (all units) or the average
    price of the order (incremental).

    Parameters
    ----------
    demand_rate, fixed_cost, stockout_cost, evaluate, pack_size, minimum : float
        As for `order_quantity`, in the same units [-]; stockout_cost only with an all-units discount
    holding_cost_rate : float
        Cost i of holding money in stock, > 0 [1 per time]
    breakpoints : sequence of float
        Where each band begins: from 0, rising [unit of the material]
    unit_costs : sequence of float
        Price in each band, > 0, not rising, as many as breakpoints [money per unit]
    discount : str
        'all_units' or 'incremental'

    Returns
    -------
    OrderQuantity
        order_quantity [unit of the material], cost_per_time with purchase cost [money per time], price_band
        from 0, stockout_fraction (all-units, share of demand on backorder) [1]

    Raises
    ------
    ValueError
        If a parameter is out of range or the breaks are out of order.

    References
    ----------
    .. [1] Hadley, G. & Whitin, T. M. (1963), Analysis of Inventory Systems, sections 2-11 to 2-13.
    .. [2] Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply Chain Theory, 2nd ed.,
       section 3.4.
    """
    if discount not in (ALL_UNITS, INCREMENTAL):
        raise ValueError(f"discount must be {ALL_UNITS} or {INCREMENTAL}, got {discount!r}")
    bands = _bands(breakpoints, unit_costs, as_positive("holding_cost_rate", holding_cost_rate), discount)
    if stockout_cost is not None and bands[-1].excess:
        raise ValueError("stockout_cost must be left out with an incremental discount")
    costs = _costs(demand_rate, fixed_cost, stockout_cost)
    return _choose(bands, costs, _lots(pack_size, minimum), evaluate)


def _costs(demand_rate: float, fixed_cost: float, stockout_cost: float | None) -> OrderCosts:
    return OrderCosts(
        demand_rate=as_not_negative("demand_rate", demand_rate),
        fixed_cost=as_not_negative("fixed_cost", fixed_cost),
        stockout_cost=None if stockout_cost is None else as_positive("stockout_cost", stockout_cost),
    )


def _lots(pack_size: float | None, minimum: float | None) -> OrderLots:
    return OrderLots(
        pack_size=0.0 if pack_size is None else as_positive("pack_size", pack_size),
        minimum=0.0 if minimum is None else as_not_negative("minimum", minimum),
    )


def _bands(
    breakpoints: Sequence[float], unit_costs: Sequence[float], rate: float, discount: str
) -> list[PriceBand]:
    _check_breaks(breakpoints, unit_costs)
    bands: list[PriceBand] = []
    excess = 0.0
    for number, (least, price) in enumerate(zip(breakpoints, unit_costs, strict=True)):
        if discount == INCREMENTAL and number:
            excess += (unit_costs[number - 1] - price) * least
        below = breakpoints[number + 1] if number + 1 < len(breakpoints) else math.inf
        bands.append(PriceBand(least, below, price, rate * price, excess, rate * excess / 2))
    return bands


def _check_breaks(breakpoints: Sequence[float], unit_costs: Sequence[float]) -> None:
    if not len(breakpoints) or as_finite("breakpoints", breakpoints[0]) != 0:
        raise ValueError("breakpoints must begin with 0")
    if any(following <= break_ for break_, following in pairwise(breakpoints)):
        raise ValueError("breakpoints must rise from each to the next")
    if len(unit_costs) != len(breakpoints):
        raise ValueError(
            f"unit_costs must be as many as breakpoints ({len(breakpoints)}), got {len(unit_costs)}"
        )
    as_positive("unit_costs", unit_costs)
    if any(following > price for price, following in pairwise(unit_costs)):
        raise ValueError("unit_costs must not rise with the quantity")


def _choose(
    bands: Sequence[PriceBand], costs: OrderCosts, lots: OrderLots, evaluate: float | None
) -> OrderQuantity:
    if evaluate is not None:
        quantity = as_positive("order_quantity", evaluate)
        number = max(number for number, band in enumerate(bands) if band.least <= quantity)
        return _priced(bands, number, quantity, costs)
    if not costs.demand_rate:
        # Nothing is wanted, so nothing is ordered, whatever the minimum.
        return _priced(bands, 0, 0.0, costs)
    options = [
        _priced(bands, number, quantity, costs)
        for number, band in enumerate(bands)
        for quantity in lots.around(band.best_quantity(costs), least=band.least, below=band.below)
    ]
    least = min(option.cost_per_time for option in options)
    ties = [option for option in options if option.cost_per_time <= least * (1 + TIE)]
    return min(ties, key=lambda option: option.order_quantity)


def _priced(bands: Sequence[PriceBand], number: int, quantity: float, costs: OrderCosts) -> OrderQuantity:
    band = bands[number]
    return OrderQuantity(
        order_quantity=quantity,
        cost_per_time=band.cost_per_time(quantity, costs),
        price_band=number,
        stockout_fraction=costs.stockout_fraction(band.holding_cost),
    )
