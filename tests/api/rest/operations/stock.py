"""What is held and where, and the entries of the book."""

from uuid import uuid4

from tests.api.rest import requests, supply_requests
from tests.api.rest.furnished import (
    AT,
)
from tests.api.rest.operations.rows import (
    CREWS_MAKE_TOO,
    NOT_FOR_CREWS,
    STORES_CHANGE,
    STORES_CHANGE_UNSEEN,
    STORES_MAKE_UNNAMED,
    STORES_MAKE_UNSEEN,
    SUMS_ALL_WORK,
    WHEN,
    Operation,
    post,
    put,
    read,
)

# Stands for an answer: nothing is planned there that could be told of.
NOTHING_AHEAD = (401, 404, 403, 404, 404, 404, 404)
FOUND = {"id": str(uuid4()), "counted_at": AT, "position": 1, "amount": supply_requests.pieces(30)}
COME_ACROSS = {
    "id": str(uuid4()),
    "counted_at": AT,
    "place": "main-yard",
    "material": "fluid",
    "vessel": {"kind": "drum", "tare_kg": "20"},
    "amount": {"value": "12", "unit": "[gal_us]"},
}


OPERATIONS: list[Operation] = [
    read("entries"),
    read("entries/{entry}"),
    read("entries/{foreign entry}", NOT_FOR_CREWS),
    read("holdings"),
    read("materials"),
    read("materials/fluid"),
    read("places"),
    read("places/truck-south"),
    read("places/main-yard", NOT_FOR_CREWS),
    read("containers"),
    read("containers/D-north"),
    read("containers/D-south", NOT_FOR_CREWS),
    read("count-plans"),
    read("count-plans/main-yard", NOT_FOR_CREWS),
    read("count-plans/main-yard/due", NOT_FOR_CREWS),
    read("count-plans/main-yard/accuracy?since=2026-01-01&until=2026-12-31", NOT_FOR_CREWS),
    read("count-sheets"),
    read("count-sheets/{sheet}", NOT_FOR_CREWS),
    read("count-sheets/{sheet}/file.pdf", NOT_FOR_CREWS),
    read("container-labels/file.pdf?container=D-north"),
    read("container-labels/file.pdf?container=D-south", NOT_FOR_CREWS),
    read("restock", SUMS_ALL_WORK),
    read("restock-runs", SUMS_ALL_WORK),
    read("restock-runs/{run}", SUMS_ALL_WORK),
    read("restock-runs/{run}/results", SUMS_ALL_WORK),
    read("top-ups", SUMS_ALL_WORK),
    read("stock-policies", SUMS_ALL_WORK),
    read("stock-ahead/projectile-12?place=main-yard", NOTHING_AHEAD),
    read("stock-ahead/projectile-12/picture.svg?place=main-yard", NOTHING_AHEAD),
    post("entries", CREWS_MAKE_TOO, lambda furnished: requests.a_report(furnished.office)),
    post("entries", STORES_MAKE_UNNAMED, lambda furnished: requests.a_draw(furnished.office)),
    post("entries", (401, 403, 400, 403, 201, 403, 201), requests.a_revaluation()),
    put("count-plans/main-yard", STORES_CHANGE_UNSEEN, supply_requests.a_count_plan()),
    post("count-sheets", STORES_MAKE_UNNAMED, supply_requests.a_sheet()),
    post("count-sheets/{sheet}/counts", STORES_MAKE_UNSEEN, FOUND),
    post("count-sheets/{sheet}/found", STORES_MAKE_UNNAMED, COME_ACROSS),
    post("count-sheets/{sheet}/posting", (401, 409, 404, 403, 403, 403, 409), {**WHEN, "reasons": []}),
    post("count-sheets/{sheet}/dropping", STORES_CHANGE_UNSEEN, WHEN),
    post("restock-runs", (401, 202, 403, 202, 202, 202, 202), {"id": str(uuid4()), "place": "main-yard"}),
    post(
        "restock-orders",
        (401, 400, 403, 403, 403, 403, 400),
        {"id": str(uuid4()), "materials": ["fluid"]},
    ),
    put(
        "stock-policies",
        STORES_CHANGE,
        {"place": "main-yard", "target": "fill_rate", "target_share": "0.97"},
    ),
]
