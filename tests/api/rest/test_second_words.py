"""What one person asks for and another grants, through the doors."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

from rest_framework.test import APIClient

from inventory.models import Container, Entry
from inventory.services.accounting.periods import close_period
from inventory.services.counts import Found, count
from inventory.services.posting import End
from inventory.services.write_off_limit import set_write_off_limit
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal

ClientOf = Callable[[str], APIClient]
ROOT = "/api/v1"


def post(client: APIClient, address: str, **body: Any) -> Any:
    return client.post(f"{ROOT}/{address}", body, format="json")


def test_a_period_is_opened_again_by_somebody_else(client_of: ClientOf, office: Office) -> None:
    accounts, admin = client_of("accounts"), client_of("admin")
    close_period(last_date=date(2026, 3, 2), by=office.world.actor, occurred_at=at(48))
    asked = assert_answer(
        "ask_for_second_word",
        post(
            accounts,
            "second-words",
            id=str(uuid4()),
            kind="reopen",
            occurred_at=requests.AT,
            last_date="2026-03-02",
            reason="wrong bill",
        ),
    )
    address = f"second-words/{asked['id']}/decision"
    assert_refusal(post(accounts, address, is_granted=True), 409, "own_request")
    decided = assert_answer("decide_second_word", post(admin, address, is_granted=True, note="Seen."))
    assert (decided["is_granted"], decided["decided_by"]["name"]) == (True, "admin")
    listed = assert_answer("list_second_words", accounts.get(f"{ROOT}/second-words"))
    assert listed["results"] == [decided]


def test_a_large_write_off_is_refused_and_done_as_a_request(client_of: ClientOf, office: Office) -> None:
    set_write_off_limit(limit=20_000_000, by=office.world.actor, occurred_at=at(0))
    stores, accounts = client_of("stores"), client_of("accounts")
    refused = post(stores, "entries", **requests.a_disposal())
    assert_refusal(refused, 409, "second_word_needed")
    body = requests.a_disposal()
    asked = post(
        stores,
        "second-words",
        id=body["id"],
        kind="write_off",
        occurred_at=body["occurred_at"],
        reason="soaked",
        lines=[{**line, "source": line["source"], "target": line["target"]} for line in body["lines"]],
    )
    word = assert_answer("ask_for_second_word", asked)
    assert not Entry.objects.filter(kind="disposal").exists()
    assert_answer(
        "decide_second_word", post(accounts, f"second-words/{word['id']}/decision", is_granted=True)
    )
    assert Entry.objects.get(kind="disposal").actor == office.users["stores"].actor


def test_the_write_off_limit_is_lifted_by_somebody_else(client_of: ClientOf, office: Office) -> None:
    set_write_off_limit(limit=20_000_000, by=office.world.actor, occurred_at=at(0))
    accounts, admin = client_of("accounts"), client_of("admin")
    body = {"id": str(uuid4()), "kind": "limit", "occurred_at": requests.AT, "reason": "one person only"}
    assert_refusal(post(accounts, "second-words", **body), 400, "bad_input", "/limit")
    assert post(client_of("stores"), "second-words", **body, limit=None).status_code == 403
    asked = assert_answer("ask_for_second_word", post(accounts, "second-words", **body, limit=None))
    assert asked["asks_for"] == {"limit": None}
    address = f"second-words/{asked['id']}/decision"
    assert_refusal(post(accounts, address, is_granted=True), 409, "own_request")
    assert_answer("decide_second_word", post(admin, address, is_granted=True))
    limit = assert_answer("get_write_off_limit", accounts.get(f"{ROOT}/write-off-limit"))
    assert limit == {"limit": None}


def test_goods_are_worth_more_without_a_bill_by_two_persons(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    change = {"material": "fluid", "place": "main-yard", "change": requests.dollars("5000")}
    body = {"id": str(uuid4()), "occurred_at": requests.AT, "against": "price-variance"}
    body |= {"changes": [change], "reason": "worth more"}
    refused = post(accounts, "entries", kind="revaluation", **body)
    assert_refusal(refused, 409, "second_word_needed")
    elsewhere = post(accounts, "second-words", kind="revalue", **(body | {"against": "main-yard"}))
    assert elsewhere.json()["errors"][0]["pointer"] == "/against"
    asked = assert_answer("ask_for_second_word", post(accounts, "second-words", kind="revalue", **body))
    assert not Entry.objects.filter(kind="revaluation").exists()
    decided = post(client_of("admin"), f"second-words/{asked['id']}/decision", is_granted=True)
    assert_answer("decide_second_word", decided)
    assert Entry.objects.get(kind="revaluation").movements.get().value == 5_000_000_000


def test_a_crew_is_not_told_what_the_goods_it_missed_were_worth(client_of: ClientOf, office: Office) -> None:
    set_write_off_limit(limit=0, by=office.world.actor, occurred_at=at(0))
    drum = Container.objects.get(label="D-north")
    found = Found(office.world.fluid, gal(1), End(drum.place, drum))
    entry = count(id=uuid4(), by=office.users["crew"].actor, occurred_at=at(1), found=[found])
    listed = assert_answer("list_second_words", client_of("crew").get(f"{ROOT}/second-words"))
    assert [word["asks_for"] for word in listed["results"]] == [{"entry": str(entry.uuid)}]
    listed = assert_answer("list_second_words", client_of("accounts").get(f"{ROOT}/second-words"))
    assert [word["asks_for"]["value"] > 0 for word in listed["results"]] == [True]
