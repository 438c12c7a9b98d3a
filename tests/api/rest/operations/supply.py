"""Buying, receiving and shipping."""

from typing import Any

from tests.api.rest import supply_requests
from tests.api.rest.operations.rows import (
    NOT_FOR_CREWS,
    STORES_CHANGE_UNSEEN,
    STORES_MAKE,
    STORES_MAKE_UNNAMED,
    STORES_MAKE_UNSEEN,
    WHEN,
    Operation,
    post,
    put,
    read,
)


def _joint_order() -> dict[str, Any]:
    line = {"place": "main-yard", "material": "projectile-12", "amount": supply_requests.pieces(3)}
    return supply_requests.made(lines=[line])


PROMISE = {"promised_date": "2026-04-01"}


OPERATIONS: list[Operation] = [
    read("supply-terms"),
    read("suppliers"),
    read("expected-credits"),
    read("orders"),
    read("orders/{order}", NOT_FOR_CREWS),
    read("receipts"),
    read("receipts/{receipt}", NOT_FOR_CREWS),
    read("held-goods"),
    read("shipments"),
    read("shipments/{shipment}", NOT_FOR_CREWS),
    post("supply-terms", STORES_MAKE, supply_requests.some_terms()),
    post("orders", STORES_MAKE_UNNAMED, supply_requests.an_order()),
    post("joint-orders", STORES_MAKE_UNNAMED, _joint_order()),
    put("orders/{order}", STORES_CHANGE_UNSEEN, {"lines": supply_requests.an_order(3)["lines"]}),
    post("orders/{order}/sending", STORES_CHANGE_UNSEEN, WHEN),
    put("orders/{sent order}/promise", STORES_CHANGE_UNSEEN, PROMISE, "orders/{sent order}"),
    post("orders/{order}/calling-off", STORES_CHANGE_UNSEEN, WHEN),
    post("receipts", STORES_MAKE_UNNAMED, supply_requests.a_delivery(4)),
    post("receipts/{receipt}/lines/1/outcomes", STORES_MAKE_UNSEEN, supply_requests.made(outcome="refused")),
    post("shipments", STORES_MAKE_UNNAMED, supply_requests.a_shipment(2)),
    post("shipments/{shipment}/arrivals", STORES_MAKE_UNSEEN, supply_requests.made()),
    post(
        "shipments/{differing}/differences",
        STORES_MAKE_UNSEEN,
        supply_requests.made(position=1, reason="lost", cause="theft"),
    ),
]
