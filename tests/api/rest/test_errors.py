"""What is sent wrongly: a clear refusal with its pointer, and nothing stored."""

import json
from base64 import b64encode
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client, RequestFactory
from rest_framework.test import APIClient

from api.errors import STATUSES, list_problems, show_fault
from api.wire.json_bodies import LARGEST_BODY_BYTES
from inventory.models import Entry
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import PASSWORD, Office

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/entries"


def _changed(office: Office, path: str, value: Any) -> dict[str, Any]:
    """A good draw with one thing put wrong."""
    body = requests.a_draw(office)
    *steps, last = path.split("/")
    part: Any = body
    for step in steps:
        part = part[int(step) if isinstance(part, list) else step]
    part[last] = value
    return body


WRONG = [
    ("id", "7", "bad_input", "/id"),
    ("kind", "loan", "bad_input", "/kind"),
    ("kind", ["draw"], "bad_input", "/kind"),
    ("occurred_at", "2026-03-02T12:00:00", "bad_input", "/occurred_at"),
    ("occurred_at", "2026-13-02T12:00:00Z", "bad_input", "/occurred_at"),
    ("occurred_at", "0001-01-01T00:00:00+23:00", "bad_input", "/occurred_at"),
    ("occurred_at", 7, "bad_input", "/occurred_at"),
    ("colour", "red", "bad_input", "/colour"),
    ("reason", "x" * 501, "bad_input", "/reason"),
    ("reason", "\x00", "bad_input", "/reason"),
    ("lines", {}, "bad_input", "/lines"),
    ("lines", [], "bad_line", None),
    ("lines/0/amount", None, "bad_input", "/lines/0/amount"),
    ("lines/0/amount/unit", "gallon", "bad_input", "/lines/0/amount/unit"),
    ("lines/0/amount/unit", "[psi]", "wrong_dimension", "/lines/0/amount"),
    ("lines/0/amount/unit", ["[gal_us]"], "bad_input", "/lines/0/amount/unit"),
    ("lines/0/amount/value", "1e30", "bad_input", "/lines/0/amount/value"),
    ("lines/0/amount/value", "0.0000001", "bad_input", "/lines/0/amount/value"),
    ("lines/0/amount/value", "NaN", "bad_input", "/lines/0/amount/value"),
    ("lines/0/amount/value", True, "bad_input", "/lines/0/amount/value"),
    ("lines/0/amount/value", "9" * 5000, "bad_input", "/lines/0/amount/value"),
    ("lines/0/amount/value", "-5", "bad_line", "/lines/0/amount"),
    ("lines/0/amount/value", "0", "bad_line", "/lines/0/amount"),
    ("lines/0/material", "unheard-of", "bad_input", "/lines/0/material"),
    ("lines/0/source/place", "unheard-of", "bad_input", "/lines/0/source/place"),
    ("lines/0/source/container", "unheard-of", "bad_input", "/lines/0/source/container"),
    ("lines/0/source/place", "waste", "wrong_place", "/lines/0/source"),
    ("lines/0/target/place", "main-yard", "wrong_place", "/lines/0/target"),
    ("lines/0/cause", "mood", "bad_input", "/lines/0/cause"),
    ("lines/0/purpose", "received", "bad_input", "/lines/0/purpose"),
]


@pytest.mark.parametrize(("path", "value", "code", "pointer"), WRONG)
def test_wrong_field_is_named_and_nothing_is_stored(
    client_of: ClientOf, office: Office, path: str, value: Any, code: str, pointer: str | None
) -> None:
    before = Entry.objects.count()
    body = json.dumps(_changed(office, path, value))
    response = client_of("admin").post(ADDRESS, body, content_type="application/json")
    assert_refusal(response, 400, code, *([pointer] if pointer else []))
    assert Entry.objects.count() == before


def test_every_fault_is_named_at_once(client_of: ClientOf, office: Office) -> None:
    body = requests.a_draw(office)
    body["occurred_at"], body["lines"][0]["amount"]["unit"] = "noon", "stone"
    response = client_of("admin").post(ADDRESS, body, format="json")
    assert_refusal(response, 400, "bad_input", "/occurred_at", "/lines/0/amount/unit")


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        (b"{", 400, "malformed"),
        (b'{"reason": "\\ud800"}', 400, "malformed"),
        (b'{"id": NaN}', 400, "malformed"),
        (b'{"id": ' + b"9" * 5000 + b"}", 400, "malformed"),
        (b"\xff\xfe", 400, "malformed"),
        (b"[" * 100_000, 400, "malformed"),
        (b'"draw"', 400, "bad_input"),
        (b"[]", 400, "bad_input"),
        (b'{"a": "' + b"x" * 10_000_000 + b'"}', 413, "too_large"),
    ],
)
def test_body_that_is_no_request_is_refused(client_of: ClientOf, body: bytes, status: int, code: str) -> None:
    response = client_of("admin").post(ADDRESS, body, content_type="application/json")
    found = assert_refusal(response, status, code, *([""] if code == "bad_input" else []))
    assert len(found["detail"]) < 300


def test_largest_body_is_read(client_of: ClientOf) -> None:
    body = b'{"id": "%s"}' % (b"x" * (LARGEST_BODY_BYTES - 10))
    response = client_of("admin").post(ADDRESS, body, content_type="application/json")
    assert_refusal(response, 400, "bad_input", "/kind")


def test_money_in_another_currency_is_refused(client_of: ClientOf) -> None:
    body = requests.a_receipt()
    body["lines"][0]["cost"] = {"value": "1", "currency": "EUR"}
    response = client_of("admin").post(ADDRESS, body, format="json")
    assert_refusal(response, 400, "bad_input", "/lines/0/cost/currency")


def test_sum_that_no_column_holds_is_refused(client_of: ClientOf, office: Office) -> None:
    body = requests.a_receipt()
    body["lines"][0]["amount"]["value"] = "1000000000000"
    body["lines"] *= 12
    assert_refusal(client_of("admin").post(ADDRESS, body, format="json"), 400, "amount_out_of_range")


def test_new_container_that_cannot_be_is_named(client_of: ClientOf) -> None:
    body = requests.a_receipt()
    body["containers"] = [
        {"label": "L-1", "kind": "lot", "place": "main-yard"},
        {"label": "L-1", "kind": "drum", "capacity": requests.gallons("-1")},
    ]
    pointers = ["/containers/0/place", "/containers/0/material", "/containers/1/label", "/containers/1/place"]
    response = client_of("admin").post(ADDRESS, body, format="json")
    assert_refusal(response, 400, "bad_input", *pointers, "/containers/1/capacity/value")


def test_whole_lot_is_not_moved_as_a_vessel(client_of: ClientOf) -> None:
    lot = {"label": "L-1", "kind": "lot", "material": "projectile-12"}
    body = {**requests.a_receipt(), "containers": [lot], "lines": []}
    client = client_of("admin")
    assert client.post(ADDRESS, body, format="json").status_code == 201
    move = requests.request("transfer", containers=[{"container": "L-1", "place": "site-1"}])
    response = client.post(ADDRESS, move, format="json")
    assert_refusal(response, 400, "bad_line", "/containers/0/container")


@pytest.mark.parametrize(
    ("address", "pointer"),
    [
        ("entries?colour=red", "colour"),
        ("entries?limit=0", "limit"),
        ("entries?limit=201", "limit"),
        ("entries?limit=%C2%B2", "limit"),
        ("entries?sort=booked_date", "sort"),
        ("entries?kind=loan", "kind"),
        ("entries?booked_on=yesterday", "booked_on"),
        ("entries?place=", "place"),
        ("entries?place=%00", "place"),
        ("holdings?is_unsettled=perhaps", "is_unsettled"),
        ("pull-sheets?crew=north&date=soon", "date"),
        ("pull-sheets?date=2026-03-02", "crew"),
    ],
)
def test_wrong_parameter_is_named(client_of: ClientOf, address: str, pointer: str) -> None:
    assert_refusal(client_of("admin").get(f"/api/v1/{address}"), 400, "bad_input", pointer)


@pytest.mark.parametrize("cursor", ["x", "é", "W10", "WyJrZXkiLC0xXQ", "WyJrZXkiLCJhIl0", "A" * 500])
def test_cursor_of_something_else_is_refused(client_of: ClientOf, cursor: str) -> None:
    response = client_of("admin").get(ADDRESS, {"cursor": cursor})
    assert_refusal(response, 400, "bad_cursor", "cursor")


@pytest.mark.parametrize(
    ("method", "address", "status", "code"),
    [
        ("get", "entries/7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01", 404, "not_found"),
        ("get", "places/%00", 404, "not_found"),
        ("get", "materials/unheard-of", 404, "not_found"),
        ("get", "containers/unheard-of", 404, "not_found"),
        ("get", "jobs/unheard-of", 404, "not_found"),
        ("get", "pull-sheets/north/2026-03-03", 404, "not_found"),
        ("get", "pull-sheets/north/soon", 404, "not_found"),
        ("get", "calculations/unheard-of", 404, "unknown_calculation"),
        ("get", "problems/unheard-of", 404, "not_found"),
        ("get", "unheard-of", 404, "not_found"),
        ("delete", "entries", 405, "method_not_allowed"),
        ("put", "holdings", 405, "method_not_allowed"),
    ],
)
def test_address_that_leads_nowhere_is_refused(
    client_of: ClientOf, method: str, address: str, status: int, code: str
) -> None:
    response = getattr(client_of("admin"), method)(f"/api/v1/{address}")
    assert_refusal(response, status, code)


def test_form_and_other_media_types_are_refused(client_of: ClientOf, office: Office) -> None:
    client = client_of("admin")
    response = client.post(ADDRESS, "kind=draw", content_type="application/x-www-form-urlencoded")
    assert_refusal(response, 415, "unsupported_media_type")
    assert_refusal(client.get(ADDRESS, HTTP_ACCEPT="text/csv"), 406, "not_acceptable")


def test_nobody_is_asked_to_sign_in(client_of: ClientOf) -> None:
    response = client_of("").get(ADDRESS)
    assert_refusal(response, 401, "not_authenticated")
    assert response["WWW-Authenticate"].startswith("Bearer")


def test_name_and_password_in_a_header_sign_nobody_in(client_of: ClientOf, office: Office) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION="Basic " + b64encode(f"admin:{PASSWORD}".encode()).decode())
    assert_refusal(client.get(ADDRESS), 401, "not_authenticated")


def test_session_without_csrf_token_writes_nothing(office: Office) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(office.users["admin"])
    assert client.get(ADDRESS).status_code == 200
    body = json.dumps(requests.a_draw(office))
    response = client.post(ADDRESS, body, content_type="application/json")
    assert_refusal(response, 403, "not_allowed")  # type: ignore[arg-type]


def test_too_many_requests_are_told_when_to_come_again(
    client_of: ClientOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rest_framework.throttling.UserRateThrottle.rate", "2/min", raising=False)
    client = client_of("admin")
    assert [client.get(ADDRESS).status_code for _ in range(2)] == [200, 200]
    response = client.get(ADDRESS)
    assert_refusal(response, 429, "throttled")
    assert 1 <= int(response["Retry-After"]) <= 60


def test_show_fault_tells_nothing_of_the_fault() -> None:
    response = show_fault(RequestFactory().get("/api/v1/entries"))
    assert_refusal(response, 500, "internal_error")  # type: ignore[arg-type]


def test_every_code_is_listed_once_with_a_sentence_and_leads_to_its_page(client_of: ClientOf) -> None:
    problems = assert_answer("list_problems", client_of("").get("/api/v1/problems"))["results"]
    codes = [problem["code"] for problem in problems]
    assert codes == sorted(set(codes))
    assert {"entry_conflict", "not_enough_held", "wrong_dimension", "too_large", "throttled"} <= set(codes)
    assert all(problem["title"].endswith(".") and problem["status"] >= 400 for problem in problems)
    assert set(STATUSES.values()) <= {problem["status"] for problem in list_problems()}
    found = assert_answer("get_problem", client_of("").get("/api/v1/problems/entry_conflict"))
    assert found["status"] == 409
