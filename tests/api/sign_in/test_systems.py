"""Systems sign in by client credentials: hashed, expiring, revocable, narrowed by scopes."""

import logging
from base64 import b64encode
from collections.abc import Callable
from datetime import timedelta
from io import StringIO
from typing import Any
from urllib.parse import urlencode

import pytest
from django.core.management import call_command
from django.utils import timezone
from rest_framework.test import APIClient

from api.models import SystemClient, SystemToken
from api.sign_in.systems import add_system, close_system, renew_secret
from api.tasks import forget_ended_sign_ins
from inventory.errors import BadInput
from inventory.models import Entry
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office

TOKEN, REVOCATION = "/api/v1/oauth/token", "/api/v1/oauth/revocation"
FORM = "application/x-www-form-urlencoded"
ALL = ["read", "money", "goods", "reports", "accounts", "decide"]
AskToken = Callable[..., Any]


def _ask(address: str, fields: dict[str, str], *, name: str = "feed", secret: str = "") -> Any:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION="Basic " + b64encode(f"{name}:{secret}".encode()).decode())
    return client.post(address, urlencode(fields), content_type=FORM)


def _grant(secret: str, scope: str = "", **rest: str) -> Any:
    fields = {"grant_type": "client_credentials", **rest} | ({"scope": scope} if scope else {})
    return _ask(TOKEN, fields, secret=secret)


def _client(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def _system(role: str, scopes: list[str]) -> str:
    return add_system(name="feed", role=role, scopes=scopes)[1]


def _token(role: str, scopes: list[str], scope: str = "") -> str:
    answer = _grant(_system(role, scopes), scope)
    assert answer.status_code == 200, answer.content
    return str(answer.json()["access_token"])


def test_system_gets_a_token_and_works_with_it(office: Office) -> None:
    secret = _system("stores", ["read", "goods"])
    answer = _grant(secret)
    assert answer["Cache-Control"] == "no-store"
    found = answer.json()
    assert (found["token_type"], found["expires_in"], found["scope"]) == ("Bearer", 3600, "read goods")
    client = _client(found["access_token"])
    session = assert_answer("get_session", client.get("/api/v1/session"))
    assert (session["name"], session["role"], session["scopes"]) == ("feed", "stores", ["read", "goods"])
    made = client.post("/api/v1/entries", requests.a_draw(office), format="json")
    assert assert_answer("make_entry", made)["actor"]["code"] == "feed"
    assert Entry.objects.filter(actor__kind="system", actor__code="feed").count() == 1


def test_secret_and_token_are_stored_as_hashes_only(office: Office) -> None:
    secret = _system("stores", ["read"])
    token = _grant(secret).json()["access_token"]
    rows = [*SystemClient.objects.values_list(), *SystemToken.objects.values_list()]
    assert secret not in repr(rows)
    assert token not in repr(rows)
    assert len(secret) >= 43
    assert len(token) >= 43


@pytest.mark.parametrize(
    ("fields", "status", "error"),
    [
        ({"grant_type": "client_credentials", "scope": "read money"}, 400, "invalid_scope"),
        ({"grant_type": "client_credentials", "scope": "everything"}, 400, "invalid_scope"),
        ({"grant_type": "password", "username": "admin", "password": "x"}, 400, "unsupported_grant_type"),
        ({"grant_type": "refresh_token", "refresh_token": "x"}, 400, "unsupported_grant_type"),
        ({}, 400, "invalid_request"),
    ],
)
def test_request_for_more_than_is_given_is_refused(
    office: Office, fields: dict[str, str], status: int, error: str
) -> None:
    answer = _ask(TOKEN, fields, secret=_system("stores", ["read"]))
    assert (answer.status_code, answer.json()["error"]) == (status, error)
    assert not SystemToken.objects.exists()


def test_wrong_secret_and_unknown_system_are_refused_alike_and_logged(
    office: Office, caplog: pytest.LogCaptureFixture
) -> None:
    wanted = {"grant_type": "client_credentials"}
    caplog.set_level(logging.INFO)
    secret = _system("stores", ["read"])
    wrong = _ask(TOKEN, wanted, secret=secret[:-1])
    unknown = _ask(TOKEN, wanted, name="nobody", secret=secret)
    assert (
        (wrong.status_code, wrong.json())
        == (unknown.status_code, unknown.json())
        == (401, {"error": "invalid_client"})
    )
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION="Basic ***")
    assert client.post(TOKEN, urlencode(wanted), content_type=FORM).status_code == 401
    events = [vars(record)["event"] for record in caplog.records if "event" in vars(record)]
    assert events == ["system_added", *["sign_in_failed"] * 3]


def test_credentials_in_the_form_are_taken_too(office: Office) -> None:
    fields = {
        "grant_type": "client_credentials",
        "client_id": "feed",
        "client_secret": _system("stores", ["read"]),
    }
    assert APIClient().post(TOKEN, urlencode(fields), content_type=FORM).status_code == 200
    assert APIClient().post(TOKEN, fields, format="json").status_code == 415
    assert APIClient().post(TOKEN, "x" * 20_000, content_type=FORM).status_code == 413


def test_owasp_api2_broken_authentication_token_expires_and_is_revoked(office: Office) -> None:
    secret = _system("stores", ["read"])
    first, second = (_grant(secret).json()["access_token"] for _ in range(2))
    assert _client(first).get("/api/v1/entries").status_code == 200
    assert _ask(REVOCATION, {"token": first}, secret=secret).status_code == 200
    assert_refusal(_client(first).get("/api/v1/entries"), 401, "authentication_failed")
    assert _client(second).get("/api/v1/entries").status_code == 200
    past = timezone.now() - timedelta(days=2)
    SystemToken.objects.update(issued_at=past - timedelta(hours=1), expires_at=past)
    assert_refusal(_client(second).get("/api/v1/entries"), 401, "authentication_failed")
    forget_ended_sign_ins()
    assert not SystemToken.objects.exists()


def test_token_is_revoked_by_its_own_system_only(office: Office) -> None:
    token = _token("stores", ["read"])
    other = add_system(name="other", role="stores", scopes=["read"])[1]
    assert _ask(REVOCATION, {"token": token}, name="other", secret=other).status_code == 200
    assert _ask(REVOCATION, {"token": token}, secret="guess").status_code == 401
    assert _client(token).get("/api/v1/entries").status_code == 200


def test_new_secret_and_closing_end_every_token(office: Office) -> None:
    first = _token("stores", ["read"])
    _, secret = renew_secret(name="feed")
    assert _client(first).get("/api/v1/entries").status_code == 401
    second = _grant(secret).json()["access_token"]
    close_system(name="feed")
    assert _client(second).get("/api/v1/entries").status_code == 401
    assert _grant(secret).status_code == 401


@pytest.mark.parametrize("text", ["", "x", "é", "x y", "A" * 5000])
def test_header_that_holds_no_token_of_ours_is_refused(office: Office, text: str) -> None:
    assert_refusal(_client(text).get("/api/v1/entries"), 401, "authentication_failed")


def test_token_in_address_is_not_read(office: Office) -> None:
    token = _token("stores", ["read"])
    assert APIClient().get(f"/api/v1/session?access_token={token}").status_code == 401


def test_system_has_no_session_and_no_password(office: Office) -> None:
    client = _client(_token("stores", ALL))
    assert_refusal(client.delete("/api/v1/session"), 403, "not_allowed")
    body = {"current": "", "new": "quite another one 7"}
    assert_refusal(client.put("/api/v1/session/password", body, format="json"), 403, "not_allowed")
    signed = APIClient().post("/api/v1/session", {"name": "feed", "password": ""}, format="json")
    assert_refusal(signed, 401, "authentication_failed")


# What an admin's token is answered with one scope alone: reading, seeing money, and four sorts of writes.
SCOPED = {
    "read": (200, False, 403, 403, 403, 403),
    "money": (403, False, 403, 403, 403, 403),
    "goods": (403, False, 201, 201, 403, 403),
    "reports": (403, False, 403, 201, 403, 403),
    "accounts": (403, False, 403, 403, 201, 403),
    "decide": (403, False, 403, 403, 403, 200),
    "read money": (200, True, 403, 403, 403, 403),
    " ".join(ALL): (200, True, 201, 201, 201, 200),
}


@pytest.mark.parametrize("scope", SCOPED)
def test_scope_opens_its_part_of_the_role_and_no_more(office: Office, scope: str) -> None:
    client = _client(_token("admin", ALL, scope))
    reads = client.get("/api/v1/entries")
    writes = [requests.a_draw(office), requests.a_report(office), requests.a_revaluation()]
    found = [client.post("/api/v1/entries", body, format="json").status_code for body in writes]
    agreed = client.post("/api/v1/pull-sheets/north/2026-03-02/state", {"state": "agreed"}, format="json")
    shows = "currency" in reads.content.decode()
    assert (reads.status_code, shows, *found, agreed.status_code) == SCOPED[scope]


@pytest.mark.parametrize(("scope", "status"), [("read", 200), ("goods", 403)])
def test_questions_and_calculations_need_read_only(office: Office, scope: str, status: int) -> None:
    client = _client(_token("planner", ["read", "goods"], scope))
    assert client.post("/graphql", {"query": "{ __typename }"}, format="json").status_code == status
    example = client.get("/api/v1/calculations/bore-volume")
    assert example.status_code == status
    body = {
        "bore": {"value": "20", "unit": "mm"},
        "length": {"value": "100", "unit": "m"},
        "volume_unit": "L",
    }
    assert client.post("/api/v1/calculations/bore-volume", body, format="json").status_code == status


def test_scopes_give_nothing_that_the_role_has_not(office: Office) -> None:
    client = _client(_token("safety", ALL))
    assert "currency" not in client.get("/api/v1/entries").content.decode()
    draw = client.post("/api/v1/entries", requests.a_draw(office), format="json")
    assert_refusal(draw, 403, "not_allowed")


def test_crew_system_sees_its_own_crew_only(office: Office) -> None:
    secret = add_system(name="feed", role="crew", scopes=["read"], crew=office.crew)[1]
    client = _client(_grant(secret).json()["access_token"])
    assert client.get("/api/v1/jobs/J-north").status_code == 200
    assert client.get("/api/v1/jobs/J-south").status_code == 404


@pytest.mark.parametrize(
    ("name", "role", "scopes", "pointers"),
    [
        ("feed", "stores", [], ["--scope"]),
        ("feed", "stores", ["all"], ["--scope"]),
        ("a:b", "stores", ["read"], ["name"]),
        ("admin", "stores", ["read"], ["name"]),
        ("feed", "crew", ["read"], ["--crew"]),
    ],
)
def test_system_that_cannot_be_is_named_and_not_made(
    office: Office, name: str, role: str, scopes: list[str], pointers: list[str]
) -> None:
    with pytest.raises(BadInput) as refusal:
        add_system(name=name, role=role, scopes=scopes)
    assert [fault.pointer for fault in refusal.value.faults] == pointers
    assert not SystemClient.objects.exists()


def test_command_adds_lists_renews_and_closes(office: Office) -> None:
    def run(*words: str) -> str:
        out = StringIO()
        call_command("systems", *words, stdout=out)
        return out.getvalue()

    assert "No system signs in" in run("list")
    assert "client_secret" in run("add", "feed", "--role", "stores", "--scope", "read", "--scope", "goods")
    assert "read goods" in run("list")
    assert '"client_secret"' in run("new-secret", "feed", "--format", "json")
    assert "is closed" in run("close", "feed")
    assert "client_secret" not in run("list", "--format", "json")


def test_sign_in_of_system_is_logged_without_secret(office: Office, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    secret = _system("stores", ["read"])
    token = _grant(secret).json()["access_token"]
    events = [vars(record).get("event") for record in caplog.records]
    assert events == ["system_added", "sign_in"]
    assert all(secret not in str(vars(row)) and token not in str(vars(row)) for row in caplog.records)
