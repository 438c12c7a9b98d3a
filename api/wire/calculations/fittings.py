"""Fittings of a kit, and the length of cable a run takes."""

from typing import Any

from api.wire.calculations.fields import (
    Keyed,
    Limits,
    Listing,
    Number,
    Record,
    Whole,
    closed_fraction,
    not_negative,
    open_fraction,
    positive,
)
from api.wire.calculations.quantities import NumberOrQuantity, UnitOfAnswer
from api.wire.calculations.registry import register
from jobs.calc.cable import cable_length_m
from jobs.calc.fittings import count_fittings

MOST_SPANS_OF_A_SIZE = 10_000
MOST_SIZES = 200
MOST_LENGTHS = 10_000


def _fittings_needed(values: dict[str, Any]) -> dict[str, Any]:
    return {size: _fittings_of_size(spans, values) for size, spans in values["spans"].items()}


def _fittings_of_size(spans: int, values: dict[str, Any]) -> dict[str, int]:
    need = count_fittings(
        spans=spans,
        sets_in_use=values["sets_in_use"],
        loss_probability=values["loss_probability"],
        quantile=values["quantile"],
    )
    return {"pressure_end": need.in_place, "exit_end": need.in_place, "spares": need.spares}


_PIECES = Whole(limits=not_negative())

register(
    name="fittings-needed",
    summary="Fittings per cable size and role: the most in place at one time, and spares for losses.",
    takes={
        "spans": Keyed(
            item=Whole(limits=Limits(least=0, most=MOST_SPANS_OF_A_SIZE)),
            fewest=1,
            most=MOST_SIZES,
            about="number of spans by cable size",
        ),
        "sets_in_use": Whole(limits=Limits(least=1, most=MOST_SPANS_OF_A_SIZE), about="rigged at one time"),
        "loss_probability": Number(limits=closed_fraction(), about="of one fitting in one use"),
        "quantile": Number(limits=open_fraction(), about="certainty that the spares suffice"),
    },
    gives=Keyed(
        item=Record(fields={"pressure_end": _PIECES, "exit_end": _PIECES, "spares": _PIECES}),
        about="by cable size; the spares are of each role",
    ),
    compute=_fittings_needed,
    example={
        "spans": {".500": 9, ".750": 4},
        "sets_in_use": 2,
        "loss_probability": "0.03",
        "quantile": "0.95",
    },
)


def _cable_length(values: dict[str, Any]) -> dict[str, Any]:
    unit = UnitOfAnswer()
    spans, slack, tails = (
        [float(unit.take(length)) for length in values[name]] for name in ("span_lengths", "slack", "tails")
    )
    length = cable_length_m(
        span_lengths_m=spans, slack_m=slack, tails_m=tails, allowance_fraction=values["allowance_fraction"]
    )
    return {"length": unit.give(length)}


def _lengths(limits: Limits, **rest: Any) -> Listing:
    return Listing(item=NumberOrQuantity(dimension="length", limits=limits), most=MOST_LENGTHS, **rest)


register(
    name="cable-length",
    summary="Length of cable for a run in one piece: spans, slack and tails, and an allowance on all of it.",
    takes={
        "span_lengths": _lengths(positive(), fewest=1),
        "slack": _lengths(not_negative(), default=(), about="slack loops and vault perimeter shares"),
        "tails": _lengths(not_negative(), default=(), about="at the ends"),
        "allowance_fraction": Number(limits=Limits(least=0, most=10), default=0.0),
    },
    gives={"length": NumberOrQuantity(dimension="length", limits=positive())},
    compute=_cable_length,
    example={
        "span_lengths": [{"value": "412", "unit": "[ft_i]"}, {"value": "125.6", "unit": "m"}],
        "slack": [{"value": "50", "unit": "[ft_i]"}],
        "tails": [{"value": "20", "unit": "[ft_i]"}, {"value": "20", "unit": "[ft_i]"}],
        "allowance_fraction": "0.02",
    },
)
