"""Waste and deposits through the door: due lists, manifests, empties; faults by field, nothing posted."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Deposit, Entry, WasteDrum, WasteManifest
from inventory.queries.company import get_today
from inventory.services.waste import start_waste_drum
from jobs.services.reports.content import ReportContent, WasteContent
from jobs.services.reports.reporting import post_report
from tests.api.acts.case import dollars, head
from tests.api.acts.fluids import caught
from tests.api.acts.waste import (
    WASTE_ACTS,
    a_charge,
    a_handover,
    a_waste_drum,
    an_empties_return,
    deposit_terms,
)
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.fluids import make_vessel
from tests.factories.inventory import at
from tests.factories.jobs import DAY

ClientOf = Callable[[str], APIClient]


def send(client: APIClient, name: str, body: dict[str, Any]) -> Any:
    return WASTE_ACTS[name].send(client, body, {})


def test_due_list_leads_with_what_has_no_limit(client_of: ClientOf, office: Office) -> None:
    first = assert_answer("start_waste_drum", send(client_of("stores"), "gather waste", a_waste_drum(office)))
    assert (first["started_date"], first["day_limit"], first["due_date"]) == ("2026-03-02", None, None)
    assert first["remark"].startswith("No limit approved")
    for label, days in (("W-late", 10), ("W-today", 30), ("W-soon", 35)):
        box = make_vessel(office.world, label)
        drum = start_waste_drum(container=box, by=office.world.actor, occurred_at=at(0), day_limit=days)
        WasteDrum.objects.filter(pk=drum.pk).update(started_date=get_today() - timedelta(days=30))
    rows = assert_answer("list_waste_drums", client_of("safety").get("/api/v1/waste-drums"))["results"]
    assert [(row["container"], row["days_left"]) for row in rows] == [
        ("C-north", None),
        ("W-late", -20),
        ("W-today", 0),
        ("W-soon", 5),
    ]
    assert [row["remark"] for row in rows[1:]] == [
        "20 days past its limit: it must go today.",
        "It must go today.",
        "",
    ]
    assert rows[0]["contents"][0]["quantity"]["value"] == "10.000000"
    assert any("local codes say; they come first" in caution for caution in rows[0]["cautions"])
    crew = client_of("crew").get("/api/v1/waste-drums").json()["results"]
    assert [row["container"] for row in crew] == ["C-north"]
    found = ask(client_of("safety"), "{ wasteDrums { container daysLeft remark } }")["wasteDrums"]
    assert [row["daysLeft"] for row in found] == [None, -20, 0, 5]


def test_limit_of_days_is_set_by_safety_and_kept_by_others(client_of: ClientOf, office: Office) -> None:
    body = a_waste_drum(office)
    send(client_of("stores"), "gather waste", body)
    limited = send(client_of("safety"), "gather waste", {**body, "day_limit": 90})
    assert limited.json()["due_date"] == "2026-05-31"
    assert send(client_of("stores"), "gather waste", body).json()["day_limit"] == 90
    assert WasteDrum.objects.count() == 1


def test_waste_goes_under_a_manifest_whose_number_is_used_once(client_of: ClientOf, office: Office) -> None:
    stores, body = client_of("stores"), a_handover(office)
    send(stores, "gather waste", {"occurred_at": body["occurred_at"], "container": "C-north"})
    made = assert_answer("hand_over_waste", send(stores, "hand over", body))
    assert (made["number"], made["receiver"]) == ("M-100", "Waste works (invented)")
    (goods,) = made["goods"]
    assert (goods["container"], goods["quantity"]["value"]) == ("C-north", "10.000000")
    assert any("leaves under a manifest only" in caution for caution in made["cautions"])
    assert send(stores, "hand over", body).json() == made
    assert_refusal(send(stores, "hand over", {**body, "receiver": "Other"}), 409, "entry_conflict")
    caught(office, "C-2")
    other = {**head(), "containers": ["C-2"], "number": "M-100", "receiver": "Waste works (invented)"}
    assert_refusal(send(stores, "hand over", other), 409, "manifest_taken")
    rows = assert_answer("list_waste_manifests", stores.get("/api/v1/waste-manifests?number=M-100"))
    assert rows["results"] == [made]
    assert assert_answer("list_waste_drums", stores.get("/api/v1/waste-drums"))["results"] == []
    assert WasteManifest.objects.count() == 1


def test_manifest_of_a_field_report_is_listed_with_its_goods(client_of: ClientOf, office: Office) -> None:
    caught(office)
    post_report(
        id=uuid4(),
        by=office.world.other_actor,
        occurred_at=at(10),
        crew_code="north",
        date=DAY,
        content=ReportContent(waste=(WasteContent("M-7", "C-north", receiver="Works"),)),
    )
    rows = {}
    for role in ("crew", "safety"):
        response = client_of(role).get("/api/v1/waste-manifests")
        (rows[role],) = assert_answer("list_waste_manifests", response)["results"]
    assert rows["crew"] == rows["safety"]
    assert (rows["crew"]["id"], rows["crew"]["number"]) == (None, "M-7")
    (goods,) = rows["crew"]["goods"]
    assert (goods["container"], goods["quantity"]["value"]) == ("C-north", "10.000000")


def test_deposit_comes_back_with_the_empty_vessel(client_of: ClientOf, office: Office) -> None:
    accounts, stores = client_of("accounts"), client_of("stores")
    terms = assert_answer("set_deposit_terms", send(accounts, "deposit terms", deposit_terms(office)))
    assert terms["amount"] == dollars("45.00")
    charged = send(accounts, "charge", a_charge(office, amount=None))
    assert [row["amount"]["value"] for row in assert_answer("charge_deposits", charged)["deposits"]] == [
        "45.00",
        "45.00",
    ]
    body = an_empties_return(office)
    rows = assert_answer("list_empties", stores.get("/api/v1/empties"))["results"]
    assert [row["container"] for row in rows] == ["E-north"]
    body["refunds"] = [{"container": "E-north", "refunded": dollars("30.00")}]
    made = assert_answer("return_empties", send(stores, "send empties back", body))
    assert (made["containers"], made["refunded"]) == (["E-north"], dollars("30.00"))
    assert send(stores, "send empties back", body).json() == made
    (balance,) = assert_answer("list_deposit_balances", accounts.get("/api/v1/deposit-balances"))["results"]
    assert (balance["vessels"], balance["amount"], balance["lost"]) == (2, dollars("90.00"), dollars("10.00"))
    listed = assert_answer("list_deposits", accounts.get("/api/v1/deposits?container=E-north"))["results"]
    assert [row["returned_under"] for row in listed] == [body["id"]]
    assert_answer("list_deposit_terms", accounts.get("/api/v1/deposit-terms"))
    query = """{ deposits { results { container refunded { value } } } empties { results { container } }
        depositTerms { results { containerKind } } depositBalances { vessels lost { value } }
        wasteManifests { results { number } } }"""
    found = ask(stores, query)
    assert (len(found["deposits"]["results"]), found["empties"]["results"]) == (3, [])
    assert found["depositBalances"] == [{"vessels": 2, "lost": {"value": "10.00"}}]


WRONG: list[tuple[str, Callable[..., dict[str, Any]], dict[str, Any], int, str, tuple[str, ...]]] = [
    ("gather waste", a_waste_drum, {"container": "D-9"}, 400, "bad_input", ("/container",)),
    ("limit days", a_waste_drum, {"day_limit": 0}, 400, "bad_input", ("/day_limit",)),
    ("hand over", a_handover, {"containers": []}, 400, "bad_input", ("/containers",)),
    ("hand over", a_handover, {"number": " ", "receiver": ""}, 400, "bad_input", ("/number", "/receiver")),
    ("hand over", a_handover, {"target": "main-yard"}, 400, "bad_input", ("/target",)),
    ("deposit terms", deposit_terms, {"container_kind": "lot"}, 400, "bad_input", ("/container_kind",)),
    ("deposit terms", deposit_terms, {"amount": dollars("0")}, 400, "bad_input", ("/amount",)),
    (
        "deposit terms",
        deposit_terms,
        {"amount": {"value": "9", "currency": "EUR"}},
        400,
        "bad_input",
        ("/amount/currency",),
    ),
    ("charge", a_charge, {"amount": None}, 400, "bad_input", ("/containers/0", "/containers/1")),
    ("charge", a_charge, {"supplier": "nobody"}, 400, "bad_input", ("/supplier",)),
    ("send empties back", an_empties_return, {"containers": []}, 400, "bad_input", ("/containers",)),
    ("send empties back", an_empties_return, {"containers": ["D-1"]}, 409, "not_empty", ()),
    (
        "send empties back",
        an_empties_return,
        {"refunds": [{"container": "D-1", "refunded": dollars("1")}]},
        400,
        "bad_input",
        ("/refunds",),
    ),
    (
        "send empties back",
        an_empties_return,
        {"refunds": [{"container": "E-north", "refunded": dollars("41")}]},
        400,
        "bad_input",
        ("/refunds",),
    ),
]


@pytest.mark.parametrize(("name", "make", "fields", "status", "code", "pointers"), WRONG)
def test_what_is_wrong_is_named_and_nothing_is_posted(
    client_of: ClientOf,
    office: Office,
    name: str,
    make: Callable[..., dict[str, Any]],
    fields: dict[str, Any],
    status: int,
    code: str,
    pointers: tuple[str, ...],
) -> None:
    body = make(office, **fields)
    before = Entry.objects.count(), WasteDrum.objects.count(), Deposit.objects.count()
    client = client_of("safety" if name == "limit days" else "admin")
    assert_refusal(send(client, name, body), status, code, *pointers)
    assert before == (Entry.objects.count(), WasteDrum.objects.count(), Deposit.objects.count())
    assert not Deposit.objects.filter(refunded__isnull=False).exists()


def test_queries_do_not_grow_with_the_rows(client_of: ClientOf, office: Office) -> None:
    counts, client = [], client_of("admin")
    caught(office, "C-0")
    for many in (2, 6):
        for number in range(many):
            label = f"W-{many}-{number}"
            box = make_vessel(office.world, label)
            start_waste_drum(container=box, by=office.world.actor, occurred_at=at(0))
            made = {**head(), "containers": [label], "number": label, "receiver": "Works"}
            if number % 2:
                assert send(client, "hand over", made).status_code == 201
        for noun in ("waste-drums", "waste-manifests", "deposits", "empties"):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(f"/api/v1/{noun}").status_code == 200
            counts.append(len(queries))
    assert counts[:4] == counts[4:]
