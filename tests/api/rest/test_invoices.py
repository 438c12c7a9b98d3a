"""Bills of freight alone, and bills that are undone, through their doors."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import SupplierInvoice
from inventory.services.parties import save_party
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests

ClientOf = Callable[[str], APIClient]
ROOT = "/api/v1"
ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")


def post(client: APIClient, address: str, **body: Any) -> Any:
    return client.post(f"{ROOT}/{address}", body, format="json")


@pytest.fixture
def receipt(client_of: ClientOf) -> str:
    """The id of a receipt of 55 gallons from the mill for 612.505."""
    save_party(code="mill", name="Mill", is_supplier=True)
    save_party(code="carrier", name="Carrier", is_supplier=True)
    body = requests.a_receipt() | {"source": "supplier:mill"}
    assert post(client_of("stores"), "entries", **body).status_code == 201
    return str(body["id"])


def a_bill(**changed: Any) -> dict[str, Any]:
    head = {
        "id": str(uuid4()),
        "occurred_at": requests.AT,
        "number": "B-1",
        "invoice_date": "2026-03-02",
        "currency": "USD",
    }
    return {**head, **changed}


def goods(receipt: str, price: str = "612.505") -> dict[str, Any]:
    line = {
        "receipt": receipt,
        "material": "fluid",
        "amount": requests.gallons("55"),
        "price": requests.dollars(price),
    }
    return a_bill(supplier="mill", lines=[line])


def freight(receipt: str, **changed: Any) -> dict[str, Any]:
    charge = {
        "name": "freight",
        "amount": requests.dollars("40"),
        "share_by": "weight",
        "receipts": [receipt],
    }
    return a_bill(supplier="carrier", charges=[{**charge, **changed}])


def test_a_carriers_bill_is_taken_without_goods_of_its_own(client_of: ClientOf, receipt: str) -> None:
    accounts = client_of("accounts")
    taken = assert_answer("record_invoice", post(accounts, "invoices", **freight(receipt)))
    [line] = taken["lines"]
    assert (line["receipt"], line["is_for_goods"]) == (receipt, False)
    assert line["difference"] == requests.dollars("40.00")
    assert line["quantity_in_question"]["value"] == "0.000000"
    assert taken["charges"][0]["receipts"] == [receipt]
    unbilled = accounts.get(f"{ROOT}/unbilled-receipts?until=2026-03-02")
    rows = assert_answer("list_unbilled_receipts", unbilled)["results"]
    assert [row["accrued"]["value"] for row in rows if row["supplier"] == "mill"] == ["612.505"]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"receipts": []}, "/lines"),
        ({"receipts": [str(uuid4())]}, "/charges/0/receipts/0"),
        ({"amount": requests.dollars("0")}, "/charges/0/amount"),
        ({"amount": requests.dollars("1.1234567")}, "/charges/0/amount/value"),
        ({"share_by": "length"}, "/charges/0/share_by"),
    ],
)
def test_a_carriers_bill_that_cannot_be_taken_names_the_fault(
    client_of: ClientOf, receipt: str, changed: dict[str, Any], pointer: str
) -> None:
    refused = post(client_of("accounts"), "invoices", **freight(receipt, **changed))
    assert_refusal(refused, 400, "bad_input", pointer)
    assert not SupplierInvoice.objects.exists()


def test_a_bill_without_a_difference_is_undone_once(client_of: ClientOf, receipt: str) -> None:
    accounts = client_of("accounts")
    body = goods(receipt)
    taken = assert_answer("record_invoice", post(accounts, "invoices", **body))
    assert (taken["entry"], taken["undone"]) == (None, None)
    undoing = f"invoices/{body['id']}/undoing"
    undone = assert_answer("undo_invoice", post(accounts, undoing, reason="Another yard's."))
    assert undone["undone"]["reason"] == "Another yard's."
    assert assert_answer("undo_invoice", post(accounts, undoing, reason="Twice.")) == undone
    assert_answer("record_invoice", post(accounts, "invoices", **goods(receipt, "600")))
    assert_refusal(post(accounts, f"invoices/{uuid4()}/undoing", reason="x"), 404, "not_found")


@pytest.mark.parametrize("role", ROLES)
def test_who_undoes_a_bill(client_of: ClientOf, receipt: str, role: str) -> None:
    body = goods(receipt)
    assert post(client_of("accounts"), "invoices", **body).status_code == 201
    answered = post(client_of(role), f"invoices/{body['id']}/undoing", reason="wrong")
    may = role in ("accounts", "admin")
    assert answered.status_code == (200 if may else 401 if not role else 403)
    assert (SupplierInvoice.objects.get().undone_at is not None) is may
