"""Jobs, crews' days, kits and reports."""

from typing import Any

from tests.api.rest import supply_requests
from tests.api.rest.furnished import (
    DAY,
    METER,
    REPORTED,
    a_field_report,
    a_hand_over,
    a_purchase,
)
from tests.api.rest.operations.rows import (
    CREWS_CHANGE_TOO,
    CREWS_MAKE_TOO,
    KEEPERS_MAKE,
    NOT_FOR_CREWS,
    PLANNERS_CHANGE,
    STORES_CHANGE_UNSEEN,
    STORES_MAKE,
    STORES_MAKE_UNNAMED,
    STORES_MAKE_UNSEEN,
    SUMS_ALL_WORK,
    WHEN,
    Operation,
    post,
    put,
    read,
)


def _correction(crew: str = "north") -> dict[str, Any]:
    body = a_field_report(crew, note="read again")
    return {name: value for name, value in body.items() if name not in ("crew", "date")}


PAIL = supply_requests.made(containers=[{"container": "PAIL", "reason": "for rags"}])
NEW_VEHICLE = supply_requests.made(vehicle="truck-9")
CHECK = {"checked_date": "2026-03-01", "due_date": "2027-03-01"}


OPERATIONS: list[Operation] = [
    read("jobs"),
    read("jobs/J-north"),
    read("jobs/J-south", NOT_FOR_CREWS),
    read("jobs/J-north/statement"),
    read("jobs/J-south/statement", NOT_FOR_CREWS),
    read("jobs/J-north/to-come-back"),
    read("jobs/J-south/to-come-back", NOT_FOR_CREWS),
    read(f"pull-sheets?crew=north&date={DAY}"),
    read(f"pull-sheets?crew=south&date={DAY}", NOT_FOR_CREWS),
    read(f"pull-sheets/north/{DAY}"),
    read(f"pull-sheets/south/{DAY}", NOT_FOR_CREWS),
    read(f"pull-sheets/north/{DAY}/file.pdf"),
    read(f"pull-sheets/south/{DAY}/file.pdf", NOT_FOR_CREWS),
    read(f"pull-sheets/north/{DAY}/cuts"),
    read(f"pull-sheets/south/{DAY}/cuts", NOT_FOR_CREWS),
    read(f"pull-sheets/north/{DAY}/cuts/picture.svg"),
    read(f"pull-sheets/south/{DAY}/cuts/picture.svg", NOT_FOR_CREWS),
    read(f"pull-sheets/north/{DAY}/scans/D-north"),
    read(f"pull-sheets/south/{DAY}/scans/D-south", NOT_FOR_CREWS),
    read("scans/D-north"),
    read("scans/D-south", NOT_FOR_CREWS),
    read(f"kits-of-day/yard/{DAY}/file.pdf", SUMS_ALL_WORK),
    read("kit-policy"),
    read("estimating-policy"),
    read("learnt-fits"),
    read("cable-sizes"),
    read("cable-sizes/.500"),
    read("check-list"),
    read(f"kits-of-day/yard/{DAY}", SUMS_ALL_WORK),
    read("field-reports"),
    read("field-reports/{report}"),
    read("field-reports/{foreign report}", NOT_FOR_CREWS),
    read("hand-overs"),
    read("unconfirmed-trucks"),
    read(f"crew-days/north/{REPORTED}/balance", (401, 404, 404, 404, 404, 404, 404)),
    read("jobs/J-north/fluid"),
    read("jobs/J-south/fluid", NOT_FOR_CREWS),
    read("months/2026-03/fluid", SUMS_ALL_WORK),
    read("instruments"),
    read("instruments/M-1"),
    post("jobs/J-north/state", PLANNERS_CHANGE, {"state": "approved"}),
    post("jobs/J-south/state", (401, 403, 404, 200, 403, 403, 200), {"state": "approved"}),
    post(f"pull-sheets/north/{DAY}/state", PLANNERS_CHANGE, {"state": "agreed"}),
    post(f"pull-sheets/south/{DAY}/state", (401, 403, 404, 200, 403, 403, 200), {"state": "agreed"}),
    post(f"pull-sheets/north/{DAY}/loads", CREWS_MAKE_TOO, PAIL),
    post(f"pull-sheets/south/{DAY}/loads", STORES_MAKE_UNSEEN, PAIL),
    put("check-list", (401, 403, 403, 200, 403, 200, 200), {"gear": [], "protective": []}),
    post(f"kits-of-day/yard/{DAY}/prints", STORES_MAKE),
    post("field-reports", CREWS_MAKE_TOO, a_field_report()),
    post("field-reports", STORES_MAKE_UNSEEN, a_field_report("south")),
    post("field-reports/{report}/correction", CREWS_MAKE_TOO, _correction()),
    post("field-reports/{foreign report}/correction", STORES_MAKE_UNSEEN, _correction("south")),
    post("hand-overs", CREWS_MAKE_TOO, a_hand_over("north", "9")),
    post("hand-overs", STORES_MAKE_UNNAMED, a_hand_over("south", "9")),
    # Whoever gave the goods, here the admin, does not confirm that they came.
    post(
        "hand-overs/{hand-over}/answer",
        (401, 200, 200, 403, 403, 403, 409),
        {**WHEN, "is_confirmed": True},
    ),
    post("purchases", CREWS_MAKE_TOO, a_purchase()),
    post("purchases", STORES_MAKE, a_purchase("south")),
    post(f"crew-days/north/{DAY}/vehicle", CREWS_CHANGE_TOO, NEW_VEHICLE),
    post(f"crew-days/south/{DAY}/vehicle", STORES_CHANGE_UNSEEN, NEW_VEHICLE),
    post(f"crew-days/north/{REPORTED}/balance", CREWS_CHANGE_TOO),
    post(f"crew-days/south/{REPORTED}/balance", STORES_CHANGE_UNSEEN),
    put("instruments/M-2", KEEPERS_MAKE, METER),
    post("instruments/M-1/checks", KEEPERS_MAKE, CHECK),
]
