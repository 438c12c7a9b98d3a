"""How much to order, together with what, and when."""

from typing import Any

from api.wire.calculations.faults import refuse
from api.wire.calculations.fields import Choice, Listing, Number, Whole, not_negative, number_list, positive
from api.wire.calculations.registry import register
from inventory.calc.joint_orders import joint_order
from inventory.calc.order_quantities import (
    ALL_UNITS,
    INCREMENTAL,
    OrderQuantity,
    discounted_order_quantity,
    order_quantity,
)
from inventory.calc.order_schedules import order_schedule

PRICE_FIELDS = ("holding_cost_rate", "breakpoints", "unit_costs")
COMMON_FIELDS = ("demand_rate", "fixed_cost", "stockout_cost", "pack_size", "minimum")
MOST_PERIODS = 5_000


def _order_quantity(values: dict[str, Any]) -> dict[str, Any]:
    found = _found_quantity(values)
    return {
        "order_quantity": found.order_quantity,
        "cost_per_time": found.cost_per_time,
        "price_band": found.price_band,
        "stockout_fraction": found.stockout_fraction,
    }


def _found_quantity(values: dict[str, Any]) -> OrderQuantity:
    common = {name: values[name] for name in COMMON_FIELDS} | {"evaluate": values["order_quantity"]}
    prices = {name: values[name] for name in PRICE_FIELDS if values[name] is not None}
    if values["holding_cost"] is not None:
        for name in (*prices, *(["discount"] if values["discount"] else [])):
            raise refuse(f"/{name}", "must be left out where holding_cost is given")
        return order_quantity(**common, holding_cost=values["holding_cost"])
    if not prices:
        raise refuse("/holding_cost", f"is missing; or give {', '.join(PRICE_FIELDS)}")
    for name in PRICE_FIELDS:
        if name not in prices:
            raise refuse(f"/{name}", "is missing where holding_cost is left out")
    return discounted_order_quantity(**common, **prices, discount=values["discount"] or ALL_UNITS)


def _optional(limits: Any, about: str = "") -> Number:
    return Number(limits=limits, default=None, may_be_null=True, about=about)


register(
    name="order-quantity",
    summary="Economic order quantity, with backorders, price breaks, packs and a minimum.",
    takes={
        "demand_rate": Number(limits=not_negative(), about="per unit time"),
        "fixed_cost": Number(limits=not_negative(), about="of an order"),
        "holding_cost": _optional(positive(), "per unit per time"),
        "holding_cost_rate": _optional(positive(), "per money held per time, with prices"),
        "breakpoints": number_list(
            limits=not_negative(), default=None, may_be_null=True, about="where each price begins, from 0"
        ),
        "unit_costs": number_list(
            limits=positive(), default=None, may_be_null=True, about="price from each break on"
        ),
        "discount": Choice(
            options=(ALL_UNITS, INCREMENTAL), default=None, may_be_null=True, about="all_units where left out"
        ),
        "stockout_cost": _optional(positive(), "of a backorder per unit per time; none where left out"),
        "order_quantity": _optional(positive(), "evaluate this one"),
        "pack_size": _optional(positive(), "order whole packs"),
        "minimum": _optional(not_negative(), "order at least this"),
    },
    gives={
        "order_quantity": Number(limits=not_negative()),
        "cost_per_time": Number(about="with purchase cost where there are unit costs"),
        "price_band": Whole(may_be_null=True, about="from 0; null without prices"),
        "stockout_fraction": Number(may_be_null=True, about="share of demand on backorder; null without"),
    },
    compute=_order_quantity,
    example={
        "demand_rate": 1300,
        "fixed_cost": 8,
        "holding_cost_rate": "0.3",
        "breakpoints": [0, 400, 800],
        "unit_costs": ["0.75", "0.72", "0.68"],
        "discount": ALL_UNITS,
    },
)


def _joint_order(values: dict[str, Any]) -> dict[str, Any]:
    return vars(joint_order(**values))


register(
    name="joint-order",
    summary="Common cycle and whole multiples for materials ordered together (Silver 1976).",
    takes={
        "shared_fixed_cost": Number(limits=not_negative(), about="of an order, whatever is in it"),
        "individual_fixed_costs": number_list(limits=not_negative(), about="of each line in it"),
        "holding_costs": number_list(limits=positive(), about="per unit per time"),
        "demand_rates": number_list(limits=not_negative(), about="per unit time"),
    },
    gives={
        "cycle_time": Number(may_be_null=True, about="null without any demand"),
        "multiples": Listing(
            item=Whole(may_be_null=True), about="ordered every so many cycles; null without demand"
        ),
        "order_quantities": number_list(),
        "cost_per_time": Number(),
    },
    compute=_joint_order,
    example={
        "shared_fixed_cost": 10,
        "individual_fixed_costs": ["1.87", "5.27", "7.94"],
        "holding_costs": ["0.2", "0.2", "0.2"],
        "demand_rates": [1736, 656, 170],
    },
)


def _order_schedule(values: dict[str, Any]) -> dict[str, Any]:
    return vars(order_schedule(**values))


register(
    name="order-schedule",
    summary="When to order for known demand by period (Wagner-Whitin).",
    takes={
        "demand": Listing(item=Number(limits=not_negative()), fewest=1, most=MOST_PERIODS, about="by period"),
        "fixed_cost": Number(limits=not_negative(), about="of an order"),
        "holding_cost": Number(limits=not_negative(), about="per unit left at the end of a period"),
        "unit_costs": number_list(
            limits=not_negative(), default=None, may_be_null=True, about="by period; 0 where left out"
        ),
    },
    gives={"order_quantities": number_list(), "cost": Number()},
    compute=_order_schedule,
    example={"demand": [90, 120, 80, 70], "fixed_cost": 500, "holding_cost": 2},
)
