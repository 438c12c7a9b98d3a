"""Safety stock placed along a tree of places that supply one another."""

from typing import Any

from api.wire.calculations.fields import Keyed, Listing, Number, Record, Row, Text, not_negative
from api.wire.calculations.registry import register
from inventory.calc.forward_stock import SupplyNode, forward_stock

MOST_NODES = 500


def _forward_stock(values: dict[str, Any]) -> dict[str, Any]:
    nodes = {name: SupplyNode(**node) for name, node in values["nodes"].items()}
    return vars(forward_stock(nodes=nodes, edges=values["edges"]))


def _time(about: str) -> Number:
    return Number(limits=not_negative(), is_exact=True, default=None, may_be_null=True, about=about)


register(
    name="forward-stock",
    summary="Where in a supply tree to hold safety stock, by guaranteed service times.",
    takes={
        "nodes": Keyed(
            fewest=1,
            most=MOST_NODES,
            item=Record(
                fields={
                    "processing_time": Number(limits=not_negative(), is_exact=True),
                    "local_holding_cost": Number(limits=not_negative(), about="per unit per period"),
                    "external_inbound_cst": _time("service time of outside suppliers"),
                    "external_outbound_cst": _time("longest service time promised to outside customers"),
                    "demand_bound_constant": Number(
                        limits=not_negative(), default=1.0, about="safety factor; 1 where left out"
                    ),
                    "demand_sd": Number(
                        limits=not_negative(),
                        default=None,
                        may_be_null=True,
                        about="of outside demand per period",
                    ),
                }
            ),
        ),
        "edges": Listing(item=Row(items=(Text(is_id=True), Text(is_id=True))), about="[from, to]"),
    },
    gives={
        "committed_service_times": Keyed(item=Number(limits=not_negative())),
        "safety_stocks": Keyed(item=Number(limits=not_negative())),
        "cost": Number(limits=not_negative()),
    },
    compute=_forward_stock,
    example={
        "nodes": {
            "3": {"processing_time": 1, "local_holding_cost": 2, "external_inbound_cst": 1},
            "2": {"processing_time": 0, "local_holding_cost": 4},
            "1": {
                "processing_time": 1,
                "local_holding_cost": 7,
                "external_outbound_cst": 1,
                "demand_sd": 1,
            },
        },
        "edges": [["3", "2"], ["2", "1"]],
    },
)
