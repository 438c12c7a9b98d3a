"""Creations sent again under their Idempotency-Key."""

import json
import re
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection, connections
from django.urls import resolve
from django.utils import timezone
from rest_framework.test import APIClient

from api.models import KeyedAnswer
from api.rest.reference import make_schema
from api.rest.urls import ADDRESSES
from api.tasks import forget_old_answers
from api.wire import keyed_answers
from inventory.models import Deposit, Entry, InstrumentCheck
from tests.api.acts.case import undone
from tests.api.acts.day import INSTRUMENT_ACTS
from tests.api.acts.waste import a_charge
from tests.api.rest import requests
from tests.factories.accounts import Office, make_office

ClientOf = Callable[[str], APIClient]
DEPOSITS, ENTRIES = "/api/v1/deposits", "/api/v1/entries"
KEY = '"a key"'


def send(client: APIClient, address: str, body: Any, key: str | None = KEY) -> Any:
    headers = {} if key is None else {"Idempotency-Key": key}
    return client.post(address, body, format="json", headers=headers)


@pytest.fixture
def plain(office: Office) -> APIClient:
    """A client that adds no key of its own."""
    client = APIClient()
    client.force_login(office.users["stores"])
    return client


def test_same_key_and_body_give_the_stored_answer_and_do_nothing(plain: APIClient, office: Office) -> None:
    body = a_charge(office)
    first = send(plain, DEPOSITS, body)
    again = send(plain, f"{DEPOSITS}/", dict(reversed(body.items())))
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert Deposit.objects.count() == 2


def test_key_repeats_the_answer_and_another_key_asks_anew(plain: APIClient, office: Office) -> None:
    """A check that is written down again is answered with 200, so the 201 must be the stored one."""
    case = INSTRUMENT_ACTS["check an instrument"]
    body, address = case.make(office), f"/api/v1/instruments/{case.names(office)['tag']}/checks"
    statuses = [send(plain, address, body, key).status_code for key in (KEY, KEY, '"another key"', KEY)]
    assert statuses == [201, 201, 200, 201]
    assert InstrumentCheck.objects.count() == 1


def test_missing_key_is_400_where_the_body_has_no_id(plain: APIClient, office: Office) -> None:
    response = send(plain, DEPOSITS, a_charge(office), None)
    assert (response.status_code, response.json()["code"]) == (400, "idempotency_key_missing")
    assert response.json()["errors"][0]["pointer"] == "Idempotency-Key"
    assert not Deposit.objects.exists()


@pytest.mark.parametrize("key", ["", " ", '""', '"a', 'a"', '"a"b', "a b", '"\\a"', '"é"', f'"{"x" * 256}"'])
def test_malformed_key_is_400(plain: APIClient, office: Office, key: str) -> None:
    response = send(plain, DEPOSITS, a_charge(office), key)
    assert (response.status_code, response.json()["code"]) == (400, "idempotency_key_malformed")
    assert not Deposit.objects.exists()
    assert not KeyedAnswer.objects.exists()


def test_key_may_come_with_and_without_quotes(plain: APIClient, office: Office) -> None:
    body = a_charge(office)
    first = send(plain, DEPOSITS, body, '"8e03978e-40d5"')
    assert send(plain, DEPOSITS, body, "8e03978e-40d5").json() == first.json()
    assert send(plain, DEPOSITS, body, f'"{"x" * 255}"').status_code == 201
    assert Deposit.objects.count() == 2


def test_other_body_or_address_under_the_key_is_422(plain: APIClient, office: Office) -> None:
    send(plain, DEPOSITS, a_charge(office))
    for address, body in (
        (DEPOSITS, a_charge(office, document="slip 9")),
        (ENTRIES, requests.a_draw(office)),
    ):
        response = send(plain, address, body)
        assert (response.status_code, response.json()["code"]) == (422, "idempotency_key_reused")
    assert Deposit.objects.count() == 2


def test_key_is_the_senders_own(client_of: ClientOf, plain: APIClient, office: Office) -> None:
    send(plain, DEPOSITS, a_charge(office))
    other = send(client_of("admin"), DEPOSITS, a_charge(office, document="slip 9"))
    assert other.status_code == 201
    assert KeyedAnswer.objects.filter(key="a key").count() == 2


def test_answer_is_not_repeated_under_other_rights(plain: APIClient, office: Office) -> None:
    """What stores were told of money is not told again to one who has become a crew."""
    body = a_charge(office)
    send(plain, DEPOSITS, body)
    user = office.users["stores"]
    user.role = "crew"
    user.save()
    assert send(plain, DEPOSITS, body).status_code == 422


def test_refusal_leaves_the_key_free(plain: APIClient, office: Office) -> None:
    refused = send(plain, DEPOSITS, a_charge(office, containers=["no such"]))
    assert refused.status_code == 400
    assert not KeyedAnswer.objects.exists()
    assert send(plain, DEPOSITS, a_charge(office)).status_code == 201


def test_key_and_id_agree(plain: APIClient, office: Office) -> None:
    """An entry under its id is the same with the key, without it and under another key."""
    body = requests.a_draw(office)
    first = send(plain, ENTRIES, body)
    assert first.status_code == 201
    for key in (KEY, None, '"another"'):
        again = send(plain, ENTRIES, body, key)
        assert (again.status_code, again.json()) == (201, first.json())
        assert again["Location"] == first["Location"]
    assert send(plain, ENTRIES, body | {"reason": "x"}).json()["code"] == "idempotency_key_reused"
    assert send(plain, ENTRIES, body | {"reason": "x"}, None).json()["code"] == "entry_conflict"
    assert Entry.objects.filter(uuid=body["id"]).count() == 1


def test_running_request_is_409_until_its_claim_is_over(plain: APIClient, office: Office) -> None:
    """Left behind by a process that died: nobody answers, and after a while another may do it."""
    row = KeyedAnswer.objects.create(
        user=office.users["stores"],
        key="a key",
        fingerprint="",
        claim=uuid4(),
        valid_until=timezone.now() + timedelta(minutes=1),
    )
    with_fingerprint(row, plain, a_charge(office))
    response = send(plain, DEPOSITS, a_charge(office))
    assert (response.status_code, response.json()["code"]) == (409, "idempotency_key_in_use")
    KeyedAnswer.objects.update(valid_until=timezone.now())
    assert send(plain, DEPOSITS, a_charge(office)).status_code == 201
    assert Deposit.objects.count() == 2


def with_fingerprint(row: KeyedAnswer, client: APIClient, body: Any) -> None:
    """Give a claim the fingerprint of a request, as the request itself would have."""
    with undone():
        send(client, DEPOSITS, body, '"for its fingerprint"')
        found = KeyedAnswer.objects.get(key="for its fingerprint").fingerprint
    KeyedAnswer.objects.filter(pk=row.pk).update(fingerprint=found)


def test_who_lost_the_claim_undoes_what_it_did(
    plain: APIClient, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So slow that another took the key over: nothing of it stays."""
    keep = keyed_answers._keep

    def take_over_first(response: Any, pk: int, claim: Any) -> None:
        KeyedAnswer.objects.update(claim=uuid4())
        keep(response, pk, claim)

    monkeypatch.setattr(keyed_answers, "_keep", take_over_first)
    assert send(plain, DEPOSITS, a_charge(office)).status_code == 409
    assert not Deposit.objects.exists()


def test_answer_goes_with_what_it_tells_of(
    plain: APIClient, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the answer cannot be kept nothing is done."""

    def break_down(*_given: Any) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(keyed_answers, "_keep", break_down)
    plain.raise_request_exception = False
    assert send(plain, DEPOSITS, a_charge(office)).status_code == 500
    assert not Deposit.objects.exists()
    assert not KeyedAnswer.objects.exists()


def test_answers_are_kept_as_long_as_is_said(plain: APIClient, office: Office) -> None:
    body = a_charge(office)
    first = send(plain, DEPOSITS, body)
    (row,) = KeyedAnswer.objects.all()
    assert timedelta(days=6.9) < row.valid_until - timezone.now() < timedelta(days=7.1)
    assert json.loads(row.body) == first.json()
    assert forget_old_answers() == 0
    KeyedAnswer.objects.update(valid_until=timezone.now())
    assert forget_old_answers() == 1


def test_secret_answers_are_not_kept(client_of: ClientOf) -> None:
    body = {"id": str(uuid4()), "url": "https://hooks.example/x"}
    assert send(client_of("admin"), "/api/v1/webhook-targets", body).status_code == 201
    assert not KeyedAnswer.objects.exists()


def test_every_creation_has_an_id_or_needs_a_key() -> None:
    """And the description says which."""
    schema, found, expected = make_schema(), {}, {}
    kinds = {name: view.cls for _address, view, name in ADDRESSES if hasattr(view, "cls")}
    for path, operations in schema["paths"].items():
        if "post" not in operations or "oauth" in path:
            continue
        operation, door = operations["post"], kinds[resolve(re.sub("{.*?}", "1", path)).url_name]
        parameters = operation.get("parameters", ())
        keys = [row.get("required", False) for row in parameters if row["name"] == "Idempotency-Key"]
        found[path] = (keys, door.needs_key)
        if not door.takes_key("POST"):
            expected[path] = ([], False)
            continue
        needs = not {"201", "202"}.isdisjoint(operation["responses"]) and not _has_id(operation, schema)
        expected[path] = ([needs], needs)
    assert found == expected
    assert sum(needs for _keys, needs in found.values()) > 10


def _has_id(operation: dict[str, Any], schema: dict[str, Any]) -> bool:
    shapes = schema["components"]["schemas"]

    def find(shape: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = shapes[shape["$ref"].rsplit("/", 1)[-1]] if "$ref" in shape else shape
        return found

    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    whole = find(content.get("schema", {}))
    return all("id" in find(part).get("properties", {}) for part in whole.get("oneOf", [whole]))


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_at_once_do_it_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second comes while the first runs, and is told so; sent again it hears the first one's answer."""
    office = make_office()
    body, running, go_on = a_charge(office), threading.Event(), threading.Event()
    keep, answers = keyed_answers._keep, []

    def wait(response: Any, pk: int, claim: Any) -> None:
        running.set()
        assert go_on.wait(20)
        keep(response, pk, claim)

    monkeypatch.setattr(keyed_answers, "_keep", wait)

    def send_first() -> None:
        try:
            answers.append(send(_signed_in(office), DEPOSITS, body))
        finally:
            connections.close_all()

    thread = threading.Thread(target=send_first)
    thread.start()
    assert running.wait(20)
    during = send(_signed_in(office), DEPOSITS, body)
    go_on.set()
    thread.join(20)
    after = send(_signed_in(office), DEPOSITS, body)
    assert (during.status_code, during.json()["code"]) == (409, "idempotency_key_in_use")
    assert (answers[0].status_code, after.status_code) == (201, 201)
    assert after.json() == answers[0].json()
    assert Deposit.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_many_at_once_do_it_once() -> None:
    """Each is answered as the first or told to wait, on both databases."""
    office = make_office()
    body, answers = a_charge(office), []

    def send_one() -> None:
        try:
            answers.append(send(_signed_in(office), DEPOSITS, body))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=send_one) for _ in range(1 if connection.vendor == "sqlite" else 4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert {answer.status_code for answer in answers} <= {201, 409}
    assert send(_signed_in(office), DEPOSITS, body).status_code == 201
    assert Deposit.objects.count() == 2


def _signed_in(office: Office) -> APIClient:
    client = APIClient()
    client.force_login(office.users["stores"])
    return client
