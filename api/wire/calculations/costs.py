"""What draws cost, why it differs from standard, and how a sum is shared out."""

from typing import Any

from api.wire.calculations.faults import refuse
from api.wire.calculations.fields import Choice, Listing, Number, Record, Row, Whole, not_negative
from api.wire.calculations.registry import register
from inventory.calc.allocation import allocate_money
from inventory.calc.cost_flows import DRAW, FIFO, RECEIVE, RETURN, WEIGHTED_AVERAGE, StockEvent, cost_flow
from inventory.calc.cost_variances import cost_variance

KINDS = (RECEIVE, DRAW, RETURN)
# An exact average grows by some digits with every receipt; time grows with their square.
MOST_EVENTS = 2_000


def _optional(about: str = "") -> Number:
    return Number(limits=not_negative(), is_exact=True, default=None, may_be_null=True, about=about)


def _cost_flow(values: dict[str, Any]) -> dict[str, Any]:
    events = [_event(number, event) for number, event in enumerate(values["events"])]
    return vars(cost_flow(method=values["method"], events=events))


def _event(number: int, event: dict[str, Any]) -> StockEvent:
    given = [kind for kind in KINDS if event[kind] is not None]
    if len(given) != 1:
        raise refuse(f"/events/{number}", f"give exactly one of {', '.join(KINDS)}")
    if (event["unit_cost"] is None) != (given[0] == DRAW):
        message = "is missing" if event["unit_cost"] is None else "must be left out of a draw"
        raise refuse(f"/events/{number}/unit_cost", message)
    return StockEvent(given[0], event[given[0]], event["unit_cost"])


register(
    name="cost-flow",
    summary="Cost of draws and of what is left, first in first out or weighted average, exact.",
    takes={
        "method": Choice(options=(FIFO, WEIGHTED_AVERAGE)),
        "events": Listing(
            item=Record(
                fields={
                    "receive": _optional("quantity received, with unit_cost"),
                    "draw": _optional("quantity drawn"),
                    "return": _optional("quantity returned, with unit_cost; leaves next"),
                    "unit_cost": _optional(),
                }
            ),
            most=MOST_EVENTS,
            about="in the order they happened",
        ),
    },
    gives={
        "draw_costs": Listing(item=Number(), about="of each draw"),
        "cost_of_draws": Number(about="of all draws; returns are not taken off"),
        "ending_value": Number(),
        "ending_quantity": Number(),
        "layers": Listing(
            item=Row(items=(Number(), Number())), about="[quantity, unit cost] in the order they will leave"
        ),
    },
    compute=_cost_flow,
    example={
        "method": FIFO,
        "events": [
            {"receive": 3000, "unit_cost": "0.60"},
            {"receive": 4000, "unit_cost": "0.74"},
            {"draw": 4400},
            {"return": 100, "unit_cost": "0.74"},
        ],
    },
)


def _cost_variance(values: dict[str, Any]) -> dict[str, Any]:
    return vars(cost_variance(**values))


register(
    name="cost-variance",
    summary="Price and quantity variance against standard; positive is unfavourable.",
    takes={
        "standard_price": Number(limits=not_negative(), is_exact=True),
        "actual_price": _optional("with actual_quantity_bought, or neither"),
        "actual_quantity_bought": _optional(),
        "standard_quantity": _optional("with actual_quantity_used, or neither"),
        "actual_quantity_used": _optional(),
    },
    gives={
        "price_variance": Number(may_be_null=True, about="null where its pair was left out"),
        "quantity_variance": Number(may_be_null=True, about="null where its pair was left out"),
        "total": Number(),
    },
    compute=_cost_variance,
    example={
        "standard_price": "6.90",
        "actual_price": "6.50",
        "standard_quantity": 430,
        "actual_quantity_used": 450,
        "actual_quantity_bought": 450,
    },
)


def _allocate_money(values: dict[str, Any]) -> dict[str, Any]:
    return {"allocation": allocate_money(**values)}


register(
    name="allocate-money",
    summary="Share a sum so that every smallest coin is given away once (largest remainder).",
    takes={
        "total_minor_units": Whole(about="such as cents; a negative sum is mirrored"),
        "weights": Listing(item=Number(limits=not_negative(), is_exact=True), fewest=1),
    },
    gives={"allocation": Listing(item=Whole(), about="minor units, ties to the first")},
    compute=_allocate_money,
    example={"total_minor_units": 10000, "weights": [1, 1, 1]},
)
