"""Which cuts come off which reels."""

import time
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from api.wire.calculations.faults import Faults, Place
from api.wire.calculations.fields import (
    Flag,
    Limits,
    Listing,
    Number,
    Record,
    Text,
    Whole,
    not_negative,
    positive,
)
from api.wire.calculations.quantities import NumberOrQuantity, UnitOfAnswer
from api.wire.calculations.registry import register
from jobs.calc.reels.allotment import MOST_CUTS, allot_reels
from jobs.calc.reels.kinds import Cut, Reel

MOST_REELS = 2000
LONGEST_SECONDS = 120
USUAL_SECONDS = 10.0


def _reel_allotment(values: dict[str, Any]) -> dict[str, Any]:
    unit = UnitOfAnswer()
    reels = [_read_reel(reel, unit) for reel in values["reels"]]
    cuts = [Cut(id=cut["id"], length=unit.take(cut["length"]), count=cut["count"]) for cut in values["cuts"]]
    _refuse_longer_than_any_reel(cuts, reels)
    least = values["minimum_remnant"]
    found = allot_reels(
        reels=reels,
        cuts=cuts,
        minimum_remnant=unit.take(least) if least is not None else Fraction(0),
        seconds_left=_clock(values["time_limit_s"]),
    )
    return {
        "cuts_on_reels": [{"reel": used.reel, "cuts": used.cuts} for used in found.opened],
        "reels_used": len(found.opened),
        "cost": found.cost,
        "remnants": [unit.give(used.remnant) for used in found.opened],
        "lower_bound": found.lower_bound,
        "is_proven_optimal": found.is_proven_optimal,
        "unserved": found.unserved,
    }


def _read_reel(reel: dict[str, Any], unit: UnitOfAnswer) -> Reel:
    available = MOST_CUTS if reel["available"] is None else reel["available"]
    return Reel(id=reel["id"], length=unit.take(reel["length"]), available=available, cost=reel["cost"])


def _refuse_longer_than_any_reel(cuts: list[Cut], reels: list[Reel]) -> None:
    """A run that no reel could serve even if it were whole is a mistake in the question, not a shortage."""
    longest = max((reel for reel in reels if reel.available), key=lambda reel: reel.length, default=None)
    if longest is None:
        return
    faults = Faults()
    for number, cut in enumerate(cuts):
        if cut.count and cut.length > longest.length:
            faults.add(
                Place() / "cuts" / number / "length",
                float(cut.length),
                f"cut {cut.id} is longer than the longest reel, {longest.id} with "
                f"{float(longest.length):.10g}; it takes a longer reel, or a run divided in two",
            )
    faults.raise_if_any()


def _clock(seconds: float) -> Callable[[], float]:
    end = time.monotonic() + seconds
    return lambda: end - time.monotonic()


_LENGTH = NumberOrQuantity(dimension="length", limits=positive())

register(
    name="reel-allotment",
    summary=(
        "Allot cuts to reels, each in one piece: least unserved, then cheapest, then shortest. "
        "A cut longer than every reel is refused."
    ),
    takes={
        "reels": Listing(
            item=Record(
                fields={
                    "id": Text(is_id=True),
                    "length": _LENGTH,
                    "available": Whole(
                        limits=Limits(least=0, most=1_000_000),
                        default=1,
                        may_be_null=True,
                        about="null for as many as are wanted",
                    ),
                    "cost": Number(
                        limits=not_negative(),
                        default=Fraction(1),
                        is_exact=True,
                        about="of opening one; 1 if absent",
                    ),
                }
            ),
            most=MOST_REELS,
        ),
        "cuts": Listing(
            item=Record(
                fields={
                    "id": Text(is_id=True),
                    "length": _LENGTH,
                    "count": Whole(limits=Limits(least=0, most=MOST_CUTS), default=1),
                }
            ),
            most=MOST_CUTS,
        ),
        "minimum_remnant": NumberOrQuantity(
            dimension="length",
            limits=not_negative(),
            default=None,
            may_be_null=True,
            about="a shorter remnant counts as lost; preferred against, not forbidden",
        ),
        "time_limit_s": Number(limits=Limits(above=0, most=LONGEST_SECONDS), default=USUAL_SECONDS),
    },
    gives={
        "cuts_on_reels": Listing(
            item=Record(fields={"reel": Text(), "cuts": Listing(item=Text(), most=MOST_CUTS)}),
            most=MOST_CUTS,
        ),
        "reels_used": Whole(limits=not_negative()),
        "cost": Number(limits=not_negative()),
        "remnants": Listing(
            item=NumberOrQuantity(dimension="length", limits=not_negative()),
            most=MOST_CUTS,
            about="one for each opened reel, in their order",
        ),
        "lower_bound": Number(limits=not_negative(), about="of the cost"),
        "is_proven_optimal": Flag(about="unserved length, cost and opened length are all proven least"),
        "unserved": Listing(item=Text(), most=MOST_CUTS, about="ids of cuts that no reel serves"),
    },
    compute=_reel_allotment,
    example={
        "reels": [
            {"id": "R-1", "length": "1200"},
            {"id": "R-2", "length": "950", "cost": "0.5"},
            {"id": "R-3", "length": "800", "available": 2},
        ],
        "cuts": [
            {"id": "north", "length": "610"},
            {"id": "east", "length": "540.5"},
            {"id": "mill lane", "length": "260", "count": 2},
        ],
        "minimum_remnant": "100",
        "time_limit_s": 5,
    },
)
