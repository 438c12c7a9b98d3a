"""Reconciling a fluid's measurements with its conservation."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from api.wire.calculations.faults import Faults, Place
from api.wire.calculations.fields import (
    Flag,
    Keyed,
    Limits,
    Listing,
    Number,
    Record,
    Row,
    Text,
    Whole,
    not_negative,
    open_fraction,
)
from api.wire.calculations.registry import register
from jobs.calc.balance import Correlation, reconcile

MOST_STREAMS = 3000
MOST_BALANCES = 2000


def _fluid_balance(values: dict[str, Any]) -> dict[str, Any]:
    streams = values["streams"]
    faults = Faults()
    places = _place_streams(streams, faults)
    matrix = _read_balances(values["balances"], places, len(streams), faults)
    correlations = _read_correlations(values["correlations"], streams, places, faults)
    faults.raise_if_any()
    found = reconcile(
        measured=[math.nan if stream["measured"] is None else stream["measured"] for stream in streams],
        standard_uncertainty=[stream["standard_uncertainty"] or 0.0 for stream in streams],
        balances=matrix,
        correlations=correlations,
        confidence=values["confidence"],
    )
    names = [stream["name"] for stream in streams]
    columns = zip(
        names,
        found.reconciled,
        found.standard_uncertainty,
        found.adjustment,
        found.test_statistic,
        strict=True,
    )
    keys = ("name", "reconciled", "standard_uncertainty", "adjustment", "test_statistic")
    return {
        "streams": [dict(zip(keys, column, strict=True)) for column in columns],
        "global_statistic": found.global_statistic,
        "degrees_of_freedom": found.degrees_of_freedom,
        "critical_value": found.critical_value,
        "is_consistent": found.is_consistent,
        "suspects": [names[index] for index in found.suspects],
    }


def _place_streams(streams: Sequence[Mapping[str, Any]], faults: Faults) -> dict[str, int]:
    """Each stream's index by its name, its uncertainty checked on the way."""
    places: dict[str, int] = {}
    for index, stream in enumerate(streams):
        place = Place("/streams") / index
        if stream["name"] in places:
            faults.add(place / "name", stream["name"], "names a second stream the same")
        places.setdefault(stream["name"], index)
        is_measured, has_uncertainty = (
            stream[key] is not None for key in ("measured", "standard_uncertainty")
        )
        if is_measured and not has_uncertainty:
            faults.add(place / "standard_uncertainty", None, "is missing for a measured stream")
    return places


def _read_balances(
    balances: Sequence[Mapping[str, float]], places: Mapping[str, int], count: int, faults: Faults
) -> np.ndarray:
    matrix = np.zeros((len(balances), count))
    for index, balance in enumerate(balances):
        for name, coefficient in balance.items():
            if name in places:
                matrix[index, places[name]] = coefficient
            else:
                faults.add(Place("/balances") / index / name, None, "is not the name of a stream")
    return matrix


def _read_correlations(
    correlations: Sequence[tuple[str, str, float]],
    streams: Sequence[Mapping[str, Any]],
    places: Mapping[str, int],
    faults: Faults,
) -> list[Correlation]:
    found: dict[frozenset[str], Correlation] = {}
    for index, (first, second, value) in enumerate(correlations):
        place = Place("/correlations") / index
        pair = frozenset((first, second))
        if any(name not in places or streams[places[name]]["measured"] is None for name in pair):
            faults.add(place, f"{first}, {second}", "must join two measured streams")
        elif len(pair) == 1 or pair in found:
            faults.add(place, f"{first}, {second}", "must join two different streams, each pair once")
        else:
            found[pair] = (places[first], places[second], value)
    return list(found.values())


def _maybe(**rest: Any) -> Number:
    return Number(may_be_null=True, **rest)


register(
    name="fluid-balance",
    summary="Reconcile measured streams with conservation; test globally and singly, name the suspects.",
    takes={
        "streams": Listing(
            item=Record(
                fields={
                    "name": Text(is_id=True),
                    "measured": _maybe(default=None, about="absent for an unmeasured stream"),
                    "standard_uncertainty": _maybe(limits=not_negative(), default=None),
                }
            ),
            fewest=1,
            most=MOST_STREAMS,
        ),
        "balances": Listing(
            item=Keyed(item=Number(), fewest=1),
            fewest=1,
            most=MOST_BALANCES,
            about="coefficients by stream, each balance summing to 0",
        ),
        "correlations": Listing(
            item=Row(items=(Text(is_id=True), Text(is_id=True), Number(limits=Limits(least=-1, most=1)))),
            default=(),
            about="of the errors of two streams",
        ),
        "confidence": Number(limits=open_fraction(), default=0.95),
    },
    gives={
        "streams": Listing(
            item=Record(
                fields={
                    "name": Text(),
                    "reconciled": _maybe(about="null where the balances do not determine it"),
                    "standard_uncertainty": _maybe(limits=not_negative()),
                    "adjustment": _maybe(about="null for an unmeasured stream"),
                    "test_statistic": _maybe(limits=not_negative(), about="null where nothing checks it"),
                }
            )
        ),
        "global_statistic": Number(limits=not_negative()),
        "degrees_of_freedom": Whole(limits=not_negative()),
        "critical_value": _maybe(limits=not_negative(), about="null without degrees of freedom"),
        "is_consistent": Flag(),
        "suspects": Listing(item=Text(), about="streams whose own test fails, the worst first"),
    },
    compute=_fluid_balance,
    example={
        "streams": [
            {"name": "drum out", "measured": "205.0", "standard_uncertainty": "1.0"},
            {"name": "recovered", "measured": "171.4", "standard_uncertainty": "2.0"},
            {"name": "waste", "measured": "22.6", "standard_uncertainty": "0.8"},
            {"name": "left in plant"},
        ],
        "balances": [{"drum out": 1, "recovered": -1, "waste": -1, "left in plant": -1}],
    },
)
