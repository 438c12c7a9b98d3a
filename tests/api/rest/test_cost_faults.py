"""Costs that cannot be taken: each is refused by the name of its field, and nothing is posted."""

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from rest_framework.test import APIClient

from inventory.models import CostPool, Entry
from inventory.services.accounting.periods import lock_period
from tests.api.published import assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ENTRIES = "/api/v1/entries"


@pytest.mark.parametrize(
    ("cost", "pointer"),
    [
        ({"value": "600", "currency": "ZZZ"}, "/lines/0/cost/currency"),
        ({"value": "600", "currency": "EUR"}, "/lines/0/cost/currency"),
        ({"value": "600.1234567", "currency": "USD"}, "/lines/0/cost/value"),
        ({"value": "-1", "currency": "USD"}, "/lines/0/cost/value"),
        ({"value": "1e30", "currency": "USD"}, "/lines/0/cost/value"),
    ],
)
def test_a_receipt_whose_cost_cannot_be_taken_books_nothing(
    client_of: ClientOf, cost: dict[str, str], pointer: str
) -> None:
    receipt = requests.a_receipt()
    receipt["lines"][0]["cost"] = cost
    before = (Entry.objects.count(), sorted(CostPool.objects.values_list("key", "quantity", "value")))
    refused = client_of("stores").post(ENTRIES, receipt, format="json")
    assert_refusal(refused, 400, "bad_input", pointer)
    assert (
        Entry.objects.count(),
        sorted(CostPool.objects.values_list("key", "quantity", "value")),
    ) == before


def test_late_events_of_a_closed_period_are_booked_after_it_on_their_true_date(
    client_of: ClientOf, office: Office
) -> None:
    _close(office, date(2026, 3, 2))
    draw = requests.a_draw(office)
    made = client_of("admin").post(ENTRIES, draw, format="json")
    assert made.status_code == 201, made.content
    entry = Entry.objects.get(uuid=draw["id"])
    assert entry.booked_date == date(2026, 3, 3)
    assert entry.occurred_at == datetime.fromisoformat(requests.AT)


def test_an_account_for_no_kind_of_place_is_refused_and_the_mapping_stays(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    stands = {"accounts": [{"place_kind": "job", "account": "5100"}]}
    assert accounts.put("/api/v1/accounts", stands, format="json").status_code == 200
    before = accounts.get("/api/v1/accounts").json()
    for row, pointer in (
        ({"place_kind": "moon", "account": "1"}, "/accounts/0/place_kind"),
        ({"place_kind": "job", "material_kind": "cheese", "account": "1"}, "/accounts/0/material_kind"),
        ({"place_kind": "job", "account": " "}, "/accounts/0/account"),
    ):
        assert_refusal(
            accounts.put("/api/v1/accounts", {"accounts": [row]}, format="json"), 400, "bad_input", pointer
        )
    assert accounts.get("/api/v1/accounts").json() == before


def _close(office: Office, last_date: date) -> None:
    lock_period(
        last_date=last_date,
        by=office.world.actor,
        occurred_at=datetime(2026, 3, 4, tzinfo=UTC),
        remark="As it is.",
    )
