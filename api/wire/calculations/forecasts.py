"""Forecasts of demand that comes now and then."""

from typing import Any

from api.wire.calculations.fields import Choice, Limits, Number, not_negative, number_list
from api.wire.calculations.registry import register
from inventory.calc.demand_forecasts import (
    ERRATIC,
    INTERMITTENT,
    LUMPY,
    METHODS,
    SMOOTH,
    demand_forecast,
)


def _demand_forecast(values: dict[str, Any]) -> dict[str, Any]:
    return vars(demand_forecast(**values))


register(
    name="demand-forecast",
    summary="What to expect per period of a demand that comes now and then, and its class.",
    takes={
        "history": number_list(limits=not_negative(), about="by period, oldest first"),
        "method": Choice(options=METHODS),
        "smoothing": Number(limits=Limits(above=0, most=1), default=0.1),
        "probability_smoothing": Number(limits=Limits(above=0, most=1), default=0.1, about="tsb only"),
    },
    gives={
        "per_period": Number(limits=not_negative()),
        "method": Choice(options=METHODS, about="the one used, where auto was asked for"),
        "demand_class": Choice(
            options=(SMOOTH, INTERMITTENT, ERRATIC, LUMPY), may_be_null=True, about="null without demand"
        ),
        "average_interval": Number(may_be_null=True, about="null without demand"),
        "squared_cv": Number(may_be_null=True, about="null with fewer than two demands"),
    },
    compute=_demand_forecast,
    example={"history": [0, 0, 4, 0, 0, 0, 2, 0, 3, 0, 0, 5], "method": "auto"},
)
