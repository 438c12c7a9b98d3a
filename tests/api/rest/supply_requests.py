"""Requests about buying, receiving, sending and counting, in the small world of an office."""

from typing import Any
from uuid import uuid4

from tests.api.rest.requests import AT, dollars

Json = dict[str, Any]


def pieces(count: int) -> Json:
    return {"value": str(count), "unit": "1"}


def made(**fields: Any) -> Json:
    return {"id": str(uuid4()), "occurred_at": AT, **fields}


def some_terms(**more: Any) -> Json:
    terms = {
        "material": "projectile-12",
        "supplier": "source",
        "unit_cost": dollars("2.00"),
        "lead_time_days": 5,
        "breaks": [{"from_quantity": pieces(100), "unit_cost": dollars("1.50")}],
    }
    return {**terms, **more}


def an_order(count: int = 40, **more: Any) -> Json:
    line = {"material": "projectile-12", "amount": pieces(count)}
    return made(supplier="source", place="main-yard", lines=[line], **more)


def a_delivery(count: int = 40, order: str = "", **more: Any) -> Json:
    line = {"material": "projectile-12", "amount": pieces(count), "target": {"place": "main-yard"}, **more}
    if order:
        line["ordered"] = {"order": order, "line": 1}
    return made(supplier="source", place="main-yard", delivery_note="slip 9", lines=[line])


def a_shipment(count: int = 10) -> Json:
    line = {"material": "projectile-12", "amount": pieces(count), "place": "main-yard"}
    return made(source="main-yard", target="north-yard", lines=[line])


def a_sheet() -> Json:
    return made(place="main-yard", materials=["projectile-12"])


def a_count_plan() -> Json:
    rule = {"upto_share": "1", "counts_per_year": 4, "limit_share": "0.02"}
    return {"rules": [rule]}
