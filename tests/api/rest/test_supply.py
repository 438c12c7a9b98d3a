"""Buying, receiving, sending and counting over REST, each answer held against what is published."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import CountPlan, CountSheet, Entry, Order, Receipt, Shipment, SupplyTerms
from inventory.short_codes import read_short_code
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import supply_requests as requests
from tests.api.rest.requests import AT, dollars
from tests.factories.accounts import Office
from tests.factories.supply import make_supplier, make_terms

ClientOf = Callable[[str], APIClient]
ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")


@pytest.fixture(autouse=True)
def _terms(office: Office) -> None:
    make_terms(make_supplier(), office.world.projectile, unit_cost=2, breaks=((100, 1),))


@pytest.fixture
def stores(client_of: ClientOf) -> APIClient:
    return client_of("stores")


def send(client: APIClient, address: str, body: Any, method: str = "post", **headers: str) -> Any:
    return getattr(client, method)(f"/api/v1/{address}", body, format="json", headers=headers)


def write(client: APIClient, count: int = 40) -> Any:
    return assert_answer("write_order", send(client, "orders", requests.an_order(count)))


def test_terms_are_set_and_listed_with_the_learnt_lead_time(stores: APIClient) -> None:
    body = assert_answer("set_supply_terms", send(stores, "supply-terms", requests.some_terms()))
    assert body["unit_cost"] == dollars("2.00")
    assert body["breaks"][0]["unit_cost"] == dollars("1.50")
    listed = assert_answer("list_supply_terms", stores.get("/api/v1/supply-terms?supplier=source"))
    assert [row["learnt_lead_time"]["deliveries"] for row in listed["results"]] == [0]


@pytest.mark.parametrize(
    ("given", "pointer"),
    [
        ({"lead_time_days": -3}, "/lead_time_days"),
        (
            {
                "breaks": [
                    {"from_quantity": requests.pieces(200), "unit_cost": dollars("1")},
                    {"from_quantity": requests.pieces(100), "unit_cost": dollars("1")},
                ]
            },
            "/breaks/1/from_quantity",
        ),
        ({"pack": requests.pieces(0)}, "/pack"),
    ],
)
def test_terms_out_of_order_are_refused_and_nothing_is_stored(
    stores: APIClient, given: dict[str, Any], pointer: str
) -> None:
    before = list(SupplyTerms.objects.values())
    assert_refusal(send(stores, "supply-terms", requests.some_terms(**given)), 400, "bad_input", pointer)
    assert list(SupplyTerms.objects.values()) == before


def test_order_to_a_supplier_without_terms_is_refused(stores: APIClient) -> None:
    make_supplier("depot", "Depot")
    body = {**requests.an_order(), "supplier": "depot"}
    assert_refusal(send(stores, "orders", body), 400, "no_terms", "/lines/0/material")
    assert not Order.objects.exists()


def test_order_is_written_changed_sent_received_and_all_in(stores: APIClient) -> None:
    body = requests.an_order(40)
    first = send(stores, "orders", body)
    order = assert_answer("write_order", first)
    assert send(stores, "orders", body).json() == order
    assert_refusal(send(stores, "orders", {**body, "note": "other"}), 409, "document_conflict")
    assert order["total"] == dollars("80.00")
    address, change = f"orders/{order['reference']}", {"lines": requests.an_order(120)["lines"]}
    assert_refusal(send(stores, address, change, "put"), 428, "precondition_missing")
    changed = send(stores, address, change, "put", **{"If-Match": first["ETag"]})
    assert assert_answer("change_order", changed)["total"] == dollars("120.00")
    assert_refusal(send(stores, address, change, "put", **{"If-Match": first["ETag"]}), 412, "order_changed")
    sent = assert_answer("send_order", send(stores, f"{address}/sending", {"occurred_at": AT}))
    assert sent["state"] == "sent"
    promise = send(
        stores,
        f"{address}/promise",
        {"promised_date": "2026-04-01"},
        "put",
        **{"If-Match": f'"{sent["version"]}"'},
    )
    assert assert_answer("promise_order", promise)["promised_date"] == "2026-04-01"
    receipt = assert_answer(
        "receive_delivery", send(stores, "receipts", requests.a_delivery(125, order["reference"]))
    )
    assert [(row["finding"], row["quantity"]["value"]) for row in receipt["lines"]] == [
        ("sound", "120.000000"),
        ("over", "5.000000"),
    ]
    found = assert_answer("get_order", stores.get(f"/api/v1/{address}"))
    assert (found["state"], found["lines"][0]["awaited"]["value"]) == ("all_in", "0.000000")
    listed = assert_answer("list_orders", stores.get("/api/v1/orders?state=all_in"))
    assert [row["reference"] for row in listed["results"]] == [order["reference"]]


def test_order_is_called_off(stores: APIClient) -> None:
    order = write(stores)
    body = send(stores, f"orders/{order['reference']}/calling-off", {"occurred_at": AT})
    assert assert_answer("call_off_order", body)["state"] == "called_off"


def test_joint_orders_are_written_from_lines_that_are_wanted(stores: APIClient) -> None:
    line = {"place": "main-yard", "material": "projectile-12", "amount": requests.pieces(3)}
    body = requests.made(lines=[line])
    orders = assert_answer("write_joint_orders", send(stores, "joint-orders", body))["results"]
    assert [row["supplier"]["code"] for row in orders] == ["source"]
    assert send(stores, "joint-orders", body).json()["results"] == orders


def test_held_goods_are_listed_and_decided(stores: APIClient) -> None:
    receipt = assert_answer("receive_delivery", send(stores, "receipts", requests.a_delivery(9)))
    held = assert_answer("list_held_goods", stores.get("/api/v1/held-goods?finding=unordered"))
    assert [row["held"]["value"] for row in held["results"]] == ["9.000000"]
    address = f"receipts/{receipt['id']}/lines/1/outcomes"
    kept = requests.made(outcome="kept", amount=requests.pieces(4), unit_cost=dollars("1.25"))
    found = assert_answer("decide_held_goods", send(stores, address, kept))
    assert found["lines"][0]["held"]["value"] == "5.000000"
    assert send(stores, address, kept).json() == found
    order = write(stores, 5)
    matched = requests.made(outcome="matched", ordered={"order": order["reference"], "line": 1})
    assert_answer("decide_held_goods", send(stores, address, matched))
    assert_refusal(send(stores, address, requests.made(outcome="refused")), 409, "not_held_back")
    assert_answer("get_receipt", stores.get(f"/api/v1/receipts/{receipt['id']}"))
    listed = assert_answer("list_receipts", stores.get("/api/v1/receipts?delivery_note=slip%209"))
    assert len(listed["results"]) == 1


def test_reel_comes_with_both_end_marks_and_its_stated_length(stores: APIClient, office: Office) -> None:
    make_terms(make_supplier(), office.world.fibre)
    reel = {
        "label": "R-1",
        "kind": "reel",
        "material": "fibre-48",
        "place": "main-yard",
        "outer_mark": {"value": "12000", "unit": "[ft_i]"},
        "inner_mark": {"value": "2000", "unit": "[ft_i]"},
        "stated_length": {"value": "10000", "unit": "[ft_i]"},
    }
    line = {
        "material": "fibre-48",
        "amount": {"value": "10000", "unit": "[ft_i]"},
        "target": {"place": "main-yard", "container": "R-1"},
    }
    body = requests.made(supplier="source", place="main-yard", containers=[reel], lines=[line])
    assert_answer("receive_delivery", send(stores, "receipts", body))
    found = assert_answer("get_container", stores.get("/api/v1/containers/R-1"))
    marks = [found[name]["value"] for name in ("outer_mark", "inner_mark", "stated_length")]
    assert marks == ["12000.000000", "2000.000000", "10000.000000"]
    drum = {**reel, "label": "D-8", "kind": "drum"}
    refused = requests.made(supplier="source", place="main-yard", containers=[drum], lines=[line])
    assert "is a length on a reel" in send(stores, "receipts", refused).json()["detail"]


def test_shipment_is_sent_unloaded_and_its_difference_named(stores: APIClient) -> None:
    shipment = assert_answer("send_shipment", send(stores, "shipments", requests.a_shipment(10)))
    address = f"shipments/{shipment['reference']}"
    arrival = requests.made(unloaded=[{"position": 1, "amount": requests.pieces(8)}], is_last=True)
    found = assert_answer("receive_shipment", send(stores, f"{address}/arrivals", arrival))
    assert (found["state"], found["lines"][0]["differs"]["value"]) == ("differs", "-2.000000")
    named = requests.made(position=1, reason="lost", cause="theft")
    found = assert_answer("name_shipment_difference", send(stores, f"{address}/differences", named))
    assert (found["state"], found["lines"][0]["named"][0]["cause"]) == ("settled", "theft")
    assert_answer("get_shipment", stores.get(f"/api/v1/{address}"))
    assert_answer("list_shipments", stores.get("/api/v1/shipments?target_place=north-yard"))


def test_count_sheet_is_blind_until_it_is_posted(
    stores: APIClient, client_of: ClientOf, office: Office
) -> None:
    sheet = assert_answer("make_count_sheet", send(stores, "count-sheets", requests.a_sheet()))
    address = f"count-sheets/{sheet['reference']}"

    def count(client: APIClient, amount: int) -> Any:
        body = {"id": str(uuid4()), "counted_at": AT, "position": 1, "amount": requests.pieces(amount)}
        return send(client, f"{address}/counts", body)

    found = assert_answer("enter_count", count(stores, 30))
    [line] = found["lines"]
    assert (line["found"], line["book"], line["is_to_be_counted"]) == (None, None, True)
    assert_refusal(count(stores, 30), 409, "another_must_count")
    posting = {"occurred_at": AT, "reasons": []}
    assert_refusal(send(stores, f"{address}/posting", posting), 409, "sheet_not_counted")
    assert_answer("enter_count", count(client_of("admin"), 30))
    assert_refusal(send(stores, f"{address}/posting", posting), 400, "bad_input", "/reasons/1")
    posting["reasons"] = [{"position": 1, "reason": "a box went out unseen"}]  # type: ignore[list-item]
    posted = assert_answer("post_count_sheet", send(stores, f"{address}/posting", posting))
    [line] = posted["lines"]
    assert (line["found"]["value"], line["book"]["value"]) == ("30.000000", "40.000000")
    entry = Entry.objects.get(uuid=line["entry"])
    assert (entry.kind, entry.reason) == ("count", "a box went out unseen")
    assert_answer("get_count_sheet", stores.get(f"/api/v1/{address}"))
    assert_answer("list_count_sheets", stores.get("/api/v1/count-sheets?state=posted"))


def test_count_sheet_is_dropped(stores: APIClient) -> None:
    sheet = assert_answer("make_count_sheet", send(stores, "count-sheets", requests.a_sheet()))
    dropped = send(stores, f"count-sheets/{sheet['reference']}/dropping", {"occurred_at": AT})
    assert assert_answer("drop_count_sheet", dropped)["state"] == "dropped"


def test_count_plan_is_set_changed_and_says_what_is_due(stores: APIClient) -> None:
    first = send(stores, "count-plans/main-yard", requests.a_count_plan(), "put")
    assert_answer("set_count_plan", first)
    again = send(stores, "count-plans/main-yard", requests.a_count_plan(), "put")
    assert_refusal(again, 428, "precondition_missing")
    changed = send(
        stores, "count-plans/main-yard", requests.a_count_plan(), "put", **{"If-Match": first["ETag"]}
    )
    assert assert_answer("set_count_plan", changed)["version"] == 2
    assert_answer("get_count_plan", stores.get("/api/v1/count-plans/main-yard"))
    assert_answer("list_count_plans", stores.get("/api/v1/count-plans"))
    due = assert_answer("list_due_counts", stores.get("/api/v1/count-plans/main-yard/due"))
    assert {row["material"]["code"] for row in due["results"]} == {"fluid", "projectile-12"}
    accuracy = stores.get("/api/v1/count-plans/main-yard/accuracy?since=2026-01-01&until=2026-12-31")
    assert assert_answer("list_record_accuracy", accuracy)["results"] == []
    assert_refusal(stores.get("/api/v1/count-plans/main-yard/accuracy?since=x"), 400, "bad_input", "since")


WRITES: dict[str, tuple[str, Callable[[], Any], Any, tuple[int, ...]]] = {
    "terms": ("supply-terms", requests.some_terms, None, (401, 201, 403, 403, 403, 403, 201)),
    "order": ("orders", requests.an_order, Order, (401, 201, 400, 403, 403, 403, 201)),
    "receipt": ("receipts", requests.a_delivery, Receipt, (401, 201, 400, 403, 403, 403, 201)),
    "shipment": ("shipments", requests.a_shipment, Shipment, (401, 201, 400, 403, 403, 403, 201)),
    "count sheet": ("count-sheets", requests.a_sheet, CountSheet, (401, 201, 400, 403, 403, 403, 201)),
}


@pytest.mark.parametrize("name", WRITES)
@pytest.mark.parametrize("role", ROLES)
def test_role_writes_what_it_may_and_else_stores_nothing(client_of: ClientOf, role: str, name: str) -> None:
    address, make, model, statuses = WRITES[name]
    response = send(client_of(role), address, make())
    assert response.status_code == statuses[ROLES.index(role)], response.content
    if model is not None:
        assert model.objects.count() == (response.status_code == 201)


@pytest.mark.parametrize("role", ROLES)
def test_role_may_not_go_on_with_what_others_began(client_of: ClientOf, stores: APIClient, role: str) -> None:
    order, sheet = write(stores), send(stores, "count-sheets", requests.a_sheet()).json()
    shipment = send(stores, "shipments", requests.a_shipment()).json()
    receipt = send(stores, "receipts", requests.a_delivery(3)).json()
    client, when = client_of(role), {"occurred_at": AT}
    column = ROLES.index(role)
    found = [
        send(client, f"orders/{order['reference']}/sending", when).status_code,
        send(client, f"shipments/{shipment['reference']}/arrivals", requests.made()).status_code,
        send(client, f"count-sheets/{sheet['reference']}/dropping", when).status_code,
        send(
            client, f"receipts/{receipt['id']}/lines/1/outcomes", requests.made(outcome="refused")
        ).status_code,
        send(client, "count-plans/main-yard", requests.a_count_plan(), "put").status_code,
    ]
    done = [200, 201, 200, 201, 200]
    denied = {"": [401] * 5, "crew": [404] * 5, "stores": done, "admin": done}
    assert found == denied.get(role, [403] * 5), column
    assert CountPlan.objects.exists() == (role in {"stores", "admin"})


@pytest.mark.parametrize("role", ["crew", "safety"])
def test_money_is_withheld_from_who_may_not_see_it(client_of: ClientOf, stores: APIClient, role: str) -> None:
    write(stores)
    client = client_of(role)
    terms = assert_answer("list_supply_terms", client.get("/api/v1/supply-terms"))["results"]
    assert [(row["unit_cost"], row["breaks"][0]["unit_cost"]) for row in terms] == [(None, None)]
    orders = assert_answer("list_orders", client.get("/api/v1/orders"))["results"]
    assert [(row["total"], row["lines"][0]["unit_cost"]) for row in orders] == (
        [] if role == "crew" else [(None, None)]
    )


QUESTION = """{ orders(first: 10) { results { reference state total { value } lines { material { code }
    awaited { value } } } nextCursor }
    receipts(first: 10) { results { deliveryNote lines { finding held { value } } } }
    heldGoods(first: 10) { results { finding quantity { value unit } } } }"""
# In two parts, since the guard of queries counts what each may ask for.
QUESTION_OF_GOODS = """{ shipments(first: 10) { results { reference lines { sent { value } } } }
    countSheets(first: 10) { results { reference lines { isToBeCounted book { value } } } }
    countPlans(first: 1) { results { rules { letter limitShare } } }
    supplyTerms(first: 1, supplier: "source") { results {
        learntLeadTime { meanDays } unitCost { value } } } }"""


def _grow(client: APIClient, count: int) -> None:
    for _time in range(count):
        order = write(client, 2)
        for address, body in (
            ("receipts", requests.a_delivery(3, order["reference"])),
            ("shipments", requests.a_shipment(1)),
            ("count-sheets", requests.a_sheet()),
        ):
            assert send(client, address, body).status_code == 201


def test_graphql_tells_the_same_in_as_many_queries_for_ten_as_for_one(stores: APIClient) -> None:
    counts = []
    for more in (1, 9):
        _grow(stores, more)
        with CaptureQueriesContext(connection) as captured:
            found = ask(stores, QUESTION) | ask(stores, QUESTION_OF_GOODS)
        counts.append(len(captured))
    assert counts[0] == counts[1]
    assert len(found["orders"]["results"]) == 10
    over_rest = stores.get("/api/v1/orders?limit=50").json()["results"]
    assert [row["reference"] for row in found["orders"]["results"]] == [row["reference"] for row in over_rest]
    lines = found["countSheets"]["results"][0]["lines"]
    assert lines
    assert all(line == {"isToBeCounted": True, "book": None} for line in lines)


@pytest.mark.parametrize("noun", ["orders", "receipts", "held-goods", "shipments", "count-sheets"])
def test_list_takes_as_many_queries_for_ten_as_for_one(stores: APIClient, noun: str) -> None:
    counts = []
    for more in (1, 9):
        _grow(stores, more)
        with CaptureQueriesContext(connection) as captured:
            assert stores.get(f"/api/v1/{noun}").status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1], [query["sql"][:120] for query in captured]


def test_count_sheet_takes_what_was_not_asked_for_and_prints_labels_for_it(
    stores: APIClient,
) -> None:
    sheet = assert_answer("make_count_sheet", send(stores, "count-sheets", requests.a_sheet()))
    address = f"count-sheets/{sheet['reference']}"
    come = {
        "id": str(uuid4()),
        "counted_at": AT,
        "place": "main-yard",
        "material": "fluid",
        "vessel": {"kind": "drum", "capacity": {"value": "55", "unit": "[gal_us]"}},
        "amount": {"value": "12", "unit": "[gal_us]"},
    }
    for _time in range(2):
        answer = assert_answer("add_found", send(stores, f"{address}/found", come))
    assert len(answer["lines"]) == len(sheet["lines"]) + 1
    line = answer["lines"][-1]
    # The same sent again made one drum, whose label is its short code; the sheet stays blind.
    assert (read_short_code(line["container"]) > 0, line["found"], line["book"]) == (True, None, None)
    for path in (f"{address}/file.pdf", f"container-labels/file.pdf?container={line['container']}&paper=a4"):
        printed = stores.get(f"/api/v1/{path}")
        assert (printed.status_code, printed["Content-Type"]) == (200, "application/pdf")
        assert printed.content.startswith(b"%PDF")
    for wrong in ("container-labels/file.pdf", f"{address}/file.pdf?paper=legal"):
        assert stores.get(f"/api/v1/{wrong}").status_code == 400
    assert stores.get("/api/v1/container-labels/file.pdf?container=nobody").status_code == 404
