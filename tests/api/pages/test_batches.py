"""Batches for the general ledger by a page: made once, taken away, answered, made anew."""

from collections.abc import Callable

import pytest
from django.test import Client

from inventory.models import JournalBatch, Place
from inventory.services.accounting.journal import AccountSetting, set_accounts

Browse = Callable[[str], Client]


@pytest.fixture
def accounts(office: object) -> None:
    set_accounts(settings=[AccountSetting(kind, f"1-{kind}") for kind in Place.Kind.values])


def _make(client: Client, after: int = 0) -> None:
    sent = {"after": str(after), "booked_until": "2027-12-31"}
    assert client.post("/batches", sent)["Location"] == f"/batches/{after + 1}"


@pytest.mark.usefixtures("accounts")
def test_batch_is_made_once_shown_and_taken_away(browse: Browse) -> None:
    client = browse("accounts")
    assert "No batch went out yet" in client.get("/batches").content.decode()
    _make(client)
    again = client.post("/batches", {"after": "0", "booked_until": "2027-12-31"})
    assert "another batch was made since" in again.content.decode()
    assert JournalBatch.objects.count() == 1
    text = client.get("/batches/1").content.decode()
    assert "1-warehouse" in text
    for ending, start in (("csv", b"batch,"), ("xlsx", b"PK")):
        address = f"/api/v1/journal-batches/1/file.{ending}"
        assert f'href="{address}"' in text
        assert (
            client.get(address, HTTP_ACCEPT="text/html,*/*;q=0.8")
            .content.lstrip(b"\xef\xbb\xbf")
            .startswith(start)
        )


@pytest.mark.usefixtures("accounts")
def test_rejected_batch_says_why_and_is_made_anew_under_its_number(browse: Browse) -> None:
    client = browse("accounts")
    _make(client)
    refused = client.post("/batches/1", {"is_accepted": "no", "answer": ""}).content.decode()
    assert 'id="answer-fault"' in refused
    assert client.post("/batches/1", {"is_accepted": "no", "answer": "account 7 is shut"}).status_code == 302
    assert "account 7 is shut" in client.get("/batches").content.decode()
    assert client.post("/batches/1", {"anew": "1"}).status_code == 302
    text = client.get("/batches/1").content.decode()
    assert "Came back before" in text
    assert client.post("/batches/1", {"is_accepted": "yes"}).status_code == 302
    assert JournalBatch.objects.get().state == JournalBatch.State.ACCEPTED
    other = client.post("/batches/1", {"is_accepted": "no", "answer": "no"}).content.decode()
    assert 'role="alert"' in other


@pytest.mark.usefixtures("accounts")
def test_day_that_is_none_is_named_at_its_field(browse: Browse) -> None:
    text = browse("accounts").post("/batches", {"after": "0", "booked_until": "soon"}).content.decode()
    assert 'id="booked_until-fault"' in text
    assert 'value="soon"' in text


def test_without_accounts_the_page_says_what_to_do(browse: Browse) -> None:
    assert "No accounts are set yet" in browse("accounts").get("/batches").content.decode()


@pytest.mark.usefixtures("accounts")
@pytest.mark.parametrize("role", ["stores", "crew", "planner", "safety"])
def test_only_the_accounts_make_and_answer(browse: Browse, role: str) -> None:
    client = browse(role)
    assert client.post("/batches", {"after": "0", "booked_until": "2027-12-31"}).status_code == 403
    _make(browse("accounts"))
    assert client.post("/batches/1", {"is_accepted": "yes"}).status_code == 403
    assert JournalBatch.objects.get().state == JournalBatch.State.OUT
