"""How much to load, when to order, and where to hold stock: levels under uncertain demand."""

from dataclasses import dataclass
from typing import Any

from api.wire.calculations.faults import Faults, Place, refuse
from api.wire.calculations.fields import (
    NO_LIMITS,
    Choice,
    Field,
    Keyed,
    Limits,
    Number,
    Record,
    Schema,
    Whole,
    not_negative,
    number_list,
    open_fraction,
    positive,
)
from api.wire.calculations.registry import register
from inventory.calc.demand_shapes import DemandShape, GammaDemand, NormalDemand
from inventory.calc.load_levels import load_level
from inventory.calc.lognormal_demand import LognormalDemand
from inventory.calc.min_max_levels import min_max_policy
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand, TableDemand
from inventory.calc.reorder_policies import DISTRIBUTIONS, NORMAL, reorder_policy

SHAPES: dict[str, tuple[type, tuple[str, ...]]] = {
    "normal": (NormalDemand, ("mean", "sd")),
    "poisson": (PoissonDemand, ("mean",)),
    "gamma": (GammaDemand, ("shape", "scale")),
    "lognormal": (LognormalDemand, ("mu", "sigma")),
    "negative_binomial": (NegativeBinomialDemand, ("r", "p")),
    "pmf": (TableDemand, ("pmf",)),
}
MOST_PERIODS = 1_000
# exp(sigma^2 / 2) must stay a number.
LARGEST_LOGARITHM = 30.0


@dataclass(frozen=True, kw_only=True)
class Chances(Field):
    """Chances as a list for 0, 1, 2, ... or as an object by value."""

    def _read(self, value: Any, place: Place, faults: Faults) -> Any:
        return (self._by_value() if isinstance(value, dict) else self._listed()).read(value, place, faults)

    def _schema(self) -> Schema:
        return {"anyOf": [self._listed().schema(), self._by_value().schema()]}

    @staticmethod
    def _listed() -> Field:
        return number_list(limits=not_negative())

    @staticmethod
    def _by_value() -> Field:
        return Keyed(item=Number(limits=not_negative()), fewest=1)


def _optional(limits: Limits = NO_LIMITS, about: str = "") -> Number:
    return Number(limits=limits, default=None, may_be_null=True, about=about)


def _shape(demand: dict[str, Any]) -> DemandShape:
    kind, names = SHAPES[demand["distribution"]]
    for name, value in demand.items():
        if name != "distribution" and (value is None) == (name in names):
            belongs = "is missing" if value is None else "must be left out"
            raise refuse(f"/demand/{name}", f"{belongs} for {demand['distribution']} demand")
    given = [demand[name] for name in names]
    try:
        return TableDemand.of(given[0]) if kind is TableDemand else kind(*given)
    except ValueError as error:
        raise refuse(f"/demand/{str(error).split(' ', 1)[0]}", str(error)) from error


def _load_level(values: dict[str, Any]) -> dict[str, Any]:
    found = load_level(**values | {"demand": _shape(values["demand"])})
    return {"level": found.level, "cost": found.cost, "critical_ratio": found.critical_ratio}


register(
    name="load-level",
    summary="How much to load where too much and too little both cost (newsvendor).",
    takes={
        "demand": Record(
            fields={
                "distribution": Choice(options=tuple(SHAPES)),
                "mean": _optional(about="normal, poisson"),
                "sd": _optional(not_negative(), "normal"),
                "shape": _optional(positive(), "gamma"),
                "scale": _optional(positive(), "gamma"),
                "mu": _optional(Limits(least=-300, most=300), "lognormal, of the logarithm"),
                "sigma": _optional(Limits(above=0, most=LARGEST_LOGARITHM), "lognormal, of the logarithm"),
                "r": _optional(positive(), "negative binomial, successes"),
                "p": _optional(Limits(above=0, most=1), "negative binomial, chance of success"),
                "pmf": Chances(
                    default=None, may_be_null=True, about="chances of 0, 1, 2, ..., or by value; add up to 1"
                ),
            },
            about="of one period",
        ),
        "holding_cost": _optional(positive(), "of a unit too much"),
        "stockout_cost": _optional(positive(), "of a unit too little"),
        "quantile": _optional(open_fraction(), "aim for this chance of enough in place of costs"),
        "level": _optional(about="evaluate this one"),
        "lead_time": Whole(
            limits=Limits(least=0, most=MOST_PERIODS),
            default=0,
            about="whole periods; lead time + 1 periods are protected",
        ),
    },
    gives={
        "level": Number(),
        "cost": Number(may_be_null=True, about="null without costs"),
        "critical_ratio": Number(limits=open_fraction()),
    },
    compute=_load_level,
    example={
        "demand": {"distribution": "normal", "mean": 50, "sd": 8},
        "holding_cost": "0.18",
        "stockout_cost": "0.7",
        "lead_time": 4,
    },
)


def _reorder_policy(values: dict[str, Any]) -> dict[str, Any]:
    found = dict(vars(reorder_policy(**values)))
    mean, sd = found.pop("lead_time_demand_mean"), found.pop("lead_time_demand_sd")
    return {**found, "lead_time_demand": {"mean": mean, "sd": sd}}


register(
    name="reorder-policy",
    summary="Reorder point and order quantity for a cycle service, a fill rate or the least cost.",
    takes={
        "demand_mean": Number(limits=not_negative(), about="per unit time"),
        "demand_sd": _optional(not_negative(), "of one unit of time; left out for poisson"),
        "distribution": Choice(options=DISTRIBUTIONS, default=NORMAL),
        "lead_time": Number(limits=not_negative()),
        "lead_time_sd": Number(limits=not_negative(), default=0.0),
        "review_period": Number(limits=not_negative(), default=0.0),
        "order_quantity": _optional(positive()),
        "cycle_service": _optional(open_fraction(), "target: chance of no shortage in a cycle"),
        "fill_rate": _optional(open_fraction(), "target: share of demand met at once"),
        "reorder_point": _optional(about="evaluate this one with order_quantity"),
        "holding_cost": _optional(positive(), "per unit per time"),
        "stockout_cost": _optional(positive(), "of a backorder per unit per time"),
        "fixed_cost": _optional(not_negative(), "of an order"),
    },
    gives={
        "reorder_point": Number(),
        "order_quantity": Number(may_be_null=True, about="null where none was given or asked for"),
        "safety_stock": Number(),
        "cycle_service": Number(),
        "fill_rate": Number(may_be_null=True, about="null without an order quantity"),
        "cost_per_time": Number(may_be_null=True, about="null without all three costs"),
        "lead_time_demand": Record(fields={"mean": Number(), "sd": Number(limits=not_negative())}),
    },
    compute=_reorder_policy,
    example={
        "demand_mean": 40,
        "demand_sd": 12,
        "lead_time": 9,
        "order_quantity": 300,
        "fill_rate": "0.98",
    },
)


def _min_max_policy(values: dict[str, Any]) -> dict[str, Any]:
    return vars(min_max_policy(**values))


register(
    name="min-max-policy",
    summary="Order up to a maximum when at or below a minimum, for demand in pieces: least cost, exact.",
    takes={
        "demand_mean": Number(limits=not_negative(), about="Poisson, per period"),
        "holding_cost": Number(limits=positive(), about="per piece at the end of a period"),
        "stockout_cost": Number(limits=positive(), about="per backordered piece at the end of a period"),
        "fixed_cost": Number(limits=not_negative(), about="of an order"),
        "lead_time": Whole(limits=Limits(least=0, most=MOST_PERIODS), default=0, about="whole periods"),
        "reorder_point": Whole(default=None, may_be_null=True, about="evaluate, with order_up_to"),
        "order_up_to": Whole(default=None, may_be_null=True, about="evaluate, with reorder_point"),
    },
    gives={
        "reorder_point": Whole(about="order when the position is at or below it"),
        "order_up_to": Whole(),
        "cost_per_time": Number(about="per period"),
    },
    compute=_min_max_policy,
    example={"demand_mean": 6, "holding_cost": 1, "stockout_cost": 4, "fixed_cost": 5},
)
