"""What each role is answered by each operation of REST, on own and on foreign things.

Statuses stand for nobody, stores, crew, planner, accounts, safety, admin. A crew is the one called north;
stores keep all warehouses here, and what differs for those who keep one has tests of its own.
"""

from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from tests.api.rest import requests, supply_requests
from tests.api.rest.furnished import (
    A_PAPER,
    ACCOUNTS,
    AT,
    DAY,
    METER,
    REPORTED,
    a_bill,
    a_change_of_value,
    a_field_report,
    a_fitting,
    a_hand_over,
    a_limit,
    a_purchase,
    a_write_off,
    an_incident,
)
from tests.factories.accounts import PASSWORD

ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")
Statuses = tuple[int, ...]
EVERYBODY = (200, 200, 200, 200, 200, 200, 200)
SIGNED_IN = (401, 200, 200, 200, 200, 200, 200)
NOT_FOR_CREWS = (401, 200, 404, 200, 200, 200, 200)
SUMS_ALL_WORK = (401, 200, 403, 200, 200, 200, 200)
# Stands for an answer: nothing is planned there that could be told of.
NOTHING_AHEAD = (401, 404, 403, 404, 404, 404, 404)
ADMIN_ONLY = (401, 403, 403, 403, 403, 403, 200)
SEES_MONEY = (401, 200, 403, 200, 200, 403, 200)


@dataclass(frozen=True)
class Operation:
    """One request and what it is answered; `{name}` in the address stands for something in the office."""

    method: str
    address: str
    statuses: Statuses
    # What is sent, or a function that makes it for what is in the office.
    body: Any = None
    # Where the version that is changed is read, if not at the address itself.
    version_at: str = ""


def post(address: str, statuses: Statuses, body: Any = None) -> Operation:
    return Operation("post", address, statuses, body)


def put(address: str, statuses: Statuses, body: Any, version_at: str = "") -> Operation:
    return Operation("put", address, statuses, body, version_at or address)


def read(address: str, statuses: Statuses = SIGNED_IN) -> Operation:
    return Operation("get", address, statuses)


def _correction(crew: str = "north") -> dict[str, Any]:
    body = a_field_report(crew, note="read again")
    return {name: value for name, value in body.items() if name not in ("crew", "date")}


def _joint_order() -> dict[str, Any]:
    line = {"place": "main-yard", "material": "projectile-12", "amount": supply_requests.pieces(3)}
    return supply_requests.made(lines=[line])


WHEN = {"occurred_at": AT}

READS = [
    read("session"),
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
    read("fitting-limits"),
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
    *(
        read(f"jobs/{job}/{part}", SEES_MONEY)
        for job in ("J-north", "J-south")
        for part in (
            "cost-sheet",
            "cost-sheet/file.csv",
            "cost-sheet/picture",
            "cost-sheet/entries?material=fluid&owner=own",
            "issued-sheets",
        )
    ),
    read("jobs/J-north/issued-sheets/1", SEES_MONEY),
    read("accounting-periods", SEES_MONEY),
    read(f"accounting-periods/check-list?last_date={DAY}", SEES_MONEY),
    read(f"accounting-periods/{DAY}/job-costs", (401, 404, 403, 404, 404, 403, 404)),
    read("period-closings", SEES_MONEY),
    read("period-closings/00000000-0000-4000-8000-000000000000", (401, 404, 403, 404, 404, 403, 404)),
    read("second-words"),
    read("accounts", SEES_MONEY),
    read("write-off-limit", SEES_MONEY),
    read("journal-batches", SEES_MONEY),
    read("journal-batches/1", SEES_MONEY),
    read("journal-batches/1/file.csv", SEES_MONEY),
    read("invoices", SEES_MONEY),
    read(f"unbilled-receipts?until={DAY}", SEES_MONEY),
    read(f"stock-at?date={DAY}", SEES_MONEY),
    read(f"account-ties?until={DAY}", SEES_MONEY),
    read(f"stock-ages?date={DAY}", SEES_MONEY),
    read(f"roll-forward?last_date={DAY}", SEES_MONEY),
    read(f"crew-days/north/{REPORTED}/balance", (401, 404, 404, 404, 404, 404, 404)),
    read("jobs/J-north/fluid"),
    read("jobs/J-south/fluid", NOT_FOR_CREWS),
    read("months/2026-03/fluid", SUMS_ALL_WORK),
    read("instruments"),
    read("instruments/M-1"),
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
    read("rules", EVERYBODY),
    read("pressure-limits"),
    read("findings"),
    read("findings/{finding}"),
    read("findings/{foreign finding}", NOT_FOR_CREWS),
    read("incidents"),
    read("incidents/{incident}"),
    read("incidents/{foreign incident}", NOT_FOR_CREWS),
    read("incidents/{incident}/told"),
    read("incidents/{incident}/closing"),
    read("claims", SEES_MONEY),
    read("tagged-fittings"),
    read("tagged-fittings/PF-1"),
    read("tagged-fittings/PF-2", NOT_FOR_CREWS),
    read("tagged-fittings/PF-1/approval"),
    read("tagged-fittings/PF-1/withdrawal"),
    read("recovered-fluid"),
    read("fluid-tests"),
    read("fluid-tests/00000000-0000-4000-8000-000000000000", (401, 404, 404, 404, 404, 404, 404)),
    read("fluid-limits"),
    read("fluid-policies"),
    read("fluid-releases"),
    read("quarantines"),
    read("quarantines/{quarantine}"),
    read("quarantines/{foreign quarantine}", NOT_FOR_CREWS),
    read("documents"),
    read("documents/{document}"),
    read("documents/{foreign document}", NOT_FOR_CREWS),
    read("documents/{receipt document}", (401, 200, 404, 200, 200, 404, 200)),
    read("documents/{document}/content"),
    read("documents/{foreign document}/content", NOT_FOR_CREWS),
    read("documents/{receipt document}/content", (401, 200, 404, 200, 200, 404, 200)),
    read("scrap-lots", SUMS_ALL_WORK),
    read("scrap-lots/none", (401, 404, 403, 404, 404, 404, 404)),
    read("jobs/J-north/core-scrap"),
    read("jobs/J-south/core-scrap", NOT_FOR_CREWS),
    read("scrap-terms"),
    read("core-masses"),
    read("recovery-rates", SUMS_ALL_WORK),
    read("recovery-rates/picture", SUMS_ALL_WORK),
    read("recovery-drifts", SUMS_ALL_WORK),
    read("waste-manifests"),
    read("waste-drums"),
    read("deposits", SEES_MONEY),
    read("deposit-terms", SEES_MONEY),
    read("deposit-balances", SEES_MONEY),
    read("empties", SEES_MONEY),
    read("company-rules"),
    read("fitting-limits"),
    read("safety-notices", SUMS_ALL_WORK),
    read("changes", SEES_MONEY),
    read("webhook-targets", ADMIN_ONLY),
    read("webhook-targets/{target}", ADMIN_ONLY),
    read("webhook-deliveries", ADMIN_ONLY),
    read("calculations"),
    read("calculations/bore-volume"),
    read("problems", EVERYBODY),
    read("problems/not_found", EVERYBODY),
    read("schema", EVERYBODY),
    read("reference", EVERYBODY),
]

PAIL = supply_requests.made(containers=[{"container": "PAIL", "reason": "for rags"}])
NEW_VEHICLE = supply_requests.made(vehicle="truck-9")
TOLD = {"at": AT, "who": "Fire service", "how": "telephone"}
PROMISE = {"promised_date": "2026-04-01"}
LIFT = {**WHEN, "reason": "all accounted for"}
PSI = {"value": "90", "unit": "[psi]"}
LIMIT = supply_requests.made(purpose="extraction", pressure=PSI, weakest_part="hose")
CHECK = {"checked_date": "2026-03-01", "due_date": "2027-03-01"}
FOUND = {"id": str(uuid4()), "counted_at": AT, "position": 1, "amount": supply_requests.pieces(30)}
COME_ACROSS = {
    "id": str(uuid4()),
    "counted_at": AT,
    "place": "main-yard",
    "material": "fluid",
    "vessel": {"kind": "drum", "tare_kg": "20"},
    "amount": {"value": "12", "unit": "[gal_us]"},
}
BORE = {"bore": {"value": "20", "unit": "mm"}, "length": {"value": "100", "unit": "m"}, "volume_unit": "L"}

# Who may, by what is answered: made (201) or changed (200); what a crew may not do it may not see (404)
# or may not name (400).
STORES_MAKE = (401, 201, 403, 403, 403, 403, 201)
STORES_MAKE_UNSEEN = (401, 201, 404, 403, 403, 403, 201)
STORES_MAKE_UNNAMED = (401, 201, 400, 403, 403, 403, 201)
STORES_CHANGE = (401, 200, 403, 403, 403, 403, 200)
STORES_CHANGE_UNSEEN = (401, 200, 404, 403, 403, 403, 200)
CREWS_MAKE_TOO = (401, 201, 201, 403, 403, 403, 201)
CREWS_CHANGE_TOO = (401, 200, 200, 403, 403, 403, 200)
ACCOUNTS_MAKE = (401, 403, 403, 403, 201, 403, 201)
ACCOUNTS_CHANGE = (401, 403, 403, 403, 200, 403, 200)
SAFETY_CHANGES = (401, 403, 403, 403, 403, 200, 403)
KEEPERS_MAKE = (401, 201, 403, 403, 403, 201, 201)
PLANNERS_CHANGE = (401, 403, 403, 200, 403, 403, 200)
PERSONS_OWN = (401, 204, 204, 204, 204, 204, 204)
# Answered by the protocol, which knows systems only: see the tests of signing in.
PROTOCOL = (415, 415, 415, 415, 415, 415, 415)


def _attach(thing: str, statuses: Statuses) -> Operation:
    return Operation("put", f"documents/{NEW}?of={thing}&name=a", statuses, A_PAPER)


A_TARGET = {"id": str(uuid4()), "url": "https://hooks.example/x"}
NEW = "00000000-0000-4000-8000-00000000d0c5"
WRITES = [
    post("webhook-targets", (401, 403, 403, 403, 403, 403, 201), A_TARGET),
    post("webhook-targets/{target}/replay", ADMIN_ONLY, {}),
    Operation("delete", "webhook-targets/{target}", ADMIN_ONLY),
    _attach("field-report&on={report}", CREWS_CHANGE_TOO),
    _attach("field-report&on={foreign report}", STORES_CHANGE_UNSEEN),
    _attach("incident&on={incident}", SIGNED_IN),
    _attach("incident&on={foreign incident}", NOT_FOR_CREWS),
    _attach("receipt&on={receipt}", (401, 200, 404, 403, 403, 404, 200)),
    _attach("material&on=fluid", (401, 403, 403, 403, 403, 200, 200)),
    _attach("waste-manifest&on={manifest}", STORES_CHANGE_UNSEEN),
    post("session", EVERYBODY, {"name": "safety", "password": PASSWORD}),
    Operation("delete", "session", PERSONS_OWN),
    put("session/password", PERSONS_OWN, {"current": PASSWORD, "new": "quite another one 7"}),
    post("oauth/token", PROTOCOL),
    post("oauth/revocation", PROTOCOL),
    post("calculations/bore-volume", SIGNED_IN, BORE),
    post("entries", CREWS_MAKE_TOO, lambda furnished: requests.a_report(furnished.office)),
    post("entries", STORES_MAKE_UNNAMED, lambda furnished: requests.a_draw(furnished.office)),
    post("entries", (401, 403, 400, 403, 201, 403, 201), requests.a_revaluation()),
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
    post("jobs/J-north/issued-sheets", ACCOUNTS_MAKE, {"id": str(uuid4())}),
    post(
        "accounting-periods",
        (401, 403, 403, 403, 202, 403, 202),
        {"id": str(uuid4()), "last_date": DAY, "remark": "x"},
    ),
    post("second-words", (401, 201, 403, 403, 403, 403, 201), a_write_off()),
    post("second-words", ACCOUNTS_MAKE, a_limit()),
    post("second-words", ACCOUNTS_MAKE, a_change_of_value()),
    post("second-words/{word}/decision", ACCOUNTS_CHANGE, {"is_granted": False, "note": "no"}),
    put("accounts", ACCOUNTS_CHANGE, ACCOUNTS),
    put("write-off-limit", ACCOUNTS_CHANGE, {"limit": None}),
    post("journal-batches", ACCOUNTS_MAKE, {"booked_until": DAY}),
    post("journal-batches/1/answer", ACCOUNTS_CHANGE, {"is_accepted": True}),
    post("journal-batches/1/remaking", (401, 403, 403, 403, 409, 403, 409)),
    post("invoices", ACCOUNTS_MAKE, lambda furnished: a_bill(furnished.names["unbilled"], "B-2")),
    post("invoices/{bill}/undoing", ACCOUNTS_CHANGE, {"reason": "wrong"}),
    post(f"crew-days/north/{REPORTED}/balance", CREWS_CHANGE_TOO),
    post(f"crew-days/south/{REPORTED}/balance", STORES_CHANGE_UNSEEN),
    put("instruments/M-2", KEEPERS_MAKE, METER),
    post("instruments/M-1/checks", KEEPERS_MAKE, CHECK),
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
    post("pressure-limits", (401, 403, 403, 403, 403, 201, 403), LIMIT),
    post(
        "pressure-limits/withdrawal",
        (401, 403, 403, 403, 403, 404, 403),
        {**WHEN, "purpose": "extraction"},
    ),
    post("findings/{finding}/lift", SAFETY_CHANGES, LIFT),
    post("findings/{foreign finding}/lift", (401, 403, 404, 403, 403, 200, 403), LIFT),
    # Whoever sees an accident tells of it.
    post("incidents", (401, 201, 201, 201, 201, 201, 201), an_incident()),
    post("incidents", (401, 201, 400, 201, 201, 201, 201), an_incident("south")),
    post("incidents/{incident}/told", SIGNED_IN, TOLD),
    post("incidents/{foreign incident}/told", NOT_FOR_CREWS, TOLD),
    post("incidents/{incident}/closing", SAFETY_CHANGES, {**WHEN, "note": "done"}),
    post("tagged-fittings", KEEPERS_MAKE, a_fitting("PF-3")),
    post(
        "tagged-fittings/PF-1/inspections",
        (401, 201, 201, 403, 403, 201, 201),
        supply_requests.made(is_passed=True),
    ),
    post(
        "tagged-fittings/PF-2/inspections",
        (401, 201, 404, 403, 403, 201, 201),
        supply_requests.made(is_passed=True),
    ),
    post("tagged-fittings/PF-1/approval", SAFETY_CHANGES, {"pressure": PSI}),
    post(
        "tagged-fittings/PF-1/withdrawal",
        (401, 200, 403, 403, 403, 200, 200),
        {**WHEN, "reason": "worn"},
    ),
]
