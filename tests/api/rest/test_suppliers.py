"""Suppliers, what an order to them lacks, and what they owe for goods sent back."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import Party, SupplierTerms
from inventory.queries.open_points import list_open_points
from tests.api.acts.supply import sent_back
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import supply_requests as requests
from tests.api.rest.requests import AT, dollars
from tests.factories.accounts import Office
from tests.factories.supply import make_supplier, make_terms

ClientOf = Callable[[str], APIClient]


@pytest.fixture(autouse=True)
def _terms(office: Office) -> None:
    make_terms(make_supplier(), office.world.projectile, unit_cost=2, breaks=((100, 1),))


@pytest.fixture
def stores(client_of: ClientOf) -> APIClient:
    return client_of("stores")


def send(client: APIClient, address: str, body: Any) -> Any:
    return client.post(f"/api/v1/{address}", body, format="json")


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"code": "a:b"}, "/code"),
        ({"code": ""}, "/code"),
        ({"name": " "}, "/name"),
        ({"order_cost": {"value": "-1", "currency": "USD"}}, "/order_cost/value"),
        ({"least_order_value": {"value": "much", "currency": "USD"}}, "/least_order_value/value"),
        ({"least_order_value": {"value": "1", "currency": "EUR"}}, "/least_order_value/currency"),
    ],
)
def test_supplier_is_refused_with_what_is_wrong_and_nothing_is_stored(
    stores: APIClient, wrong: dict[str, Any], pointer: str
) -> None:
    answer = send(stores, "suppliers", {"code": "pipes", "name": "Pipe Supply", **wrong})
    assert answer.status_code == 400
    assert pointer in {fault["pointer"] for fault in answer.json()["errors"]}
    assert not Party.objects.filter(is_supplier=True).exclude(code="source").exists()
    assert not SupplierTerms.objects.exists()


def test_supplier_is_made_changed_and_says_what_an_order_lacks(stores: APIClient) -> None:
    asked = {"code": "source", "name": "Source", "order_cost": dollars("30.00")}
    made = assert_answer("set_supplier", send(stores, "suppliers", asked))
    assert made["least_order_value"] == dollars("0.00")
    order = assert_answer("write_order", send(stores, "orders", requests.an_order(40)))
    assert order["missing_value"] == dollars("0.00")
    send(stores, "suppliers", {**asked, "least_order_value": dollars("100.00")})
    [row] = assert_answer("list_suppliers", stores.get("/api/v1/suppliers"))["results"]
    assert (row["order_cost"], row["least_order_value"]) == (dollars("30.00"), dollars("100.00"))
    order = stores.get(f"/api/v1/orders/{order['reference']}").json()
    # Forty at 2.00.
    assert order["missing_value"] == dollars("20.00")


def test_credit_for_goods_sent_back_is_a_claim_until_it_is_noted(
    client_of: ClientOf, office: Office, stores: APIClient
) -> None:
    name = sent_back(office)["outcome"]
    accounts, address = client_of("accounts"), f"expected-credits/{name}/credit"
    [claim] = assert_answer("list_expected_credits", accounts.get("/api/v1/expected-credits?is_open=true"))[
        "results"
    ]
    assert (claim["expected"], claim["credited"], claim["is_open"]) == (dollars("80.00"), None, True)
    sentences = [point.sentence for point in list_open_points(date(2026, 12, 31)) if point.kind == "credit"]
    assert sentences == ["Source still owes 80.00 USD for 10 each Projectile 12 mm sent back 2026-03-02."]
    credit = {"id": str(uuid4()), "occurred_at": AT, "amount": dollars("70.00"), "document": "CN-1"}
    noted = assert_answer("note_supplier_credit", send(accounts, address, credit))
    assert (noted["credited"], noted["is_open"], noted["document"]) == (dollars("70.00"), False, "CN-1")
    assert send(accounts, address, credit).json() == noted
    assert send(accounts, address, {**credit, "amount": dollars("71.00")}).status_code == 409
    assert_refusal(send(accounts, address, {**credit, "id": str(uuid4())}), 409, "no_credit_expected")
    assert send(accounts, f"expected-credits/{uuid4()}/credit", credit).status_code == 404
    assert accounts.get("/api/v1/expected-credits?is_open=true").json()["results"] == []
    assert [point for point in list_open_points(date(2026, 12, 31)) if point.kind == "credit"] == []
