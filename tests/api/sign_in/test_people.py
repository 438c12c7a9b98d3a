"""People sign in by name and password: locked after repeated failure, logged, ended when it should be."""

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from api.models import SignInAttempt
from api.sign_in import people
from api.tasks import forget_ended_sign_ins
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import PASSWORD, Office

ClientOf = Callable[[str], APIClient]
SESSION = "/api/v1/session"
WRONG = "not the one"


@pytest.fixture(autouse=True)
def _many_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the throttle wait, so that what is seen is the lock."""
    monkeypatch.setattr("rest_framework.throttling.ScopedRateThrottle.allow_request", lambda *_: True)


def _try(name: str, password: str, *, address: str = "10.0.0.1") -> Any:
    body = {"name": name, "password": password}
    return APIClient().post(SESSION, body, format="json", REMOTE_ADDR=address)


def test_person_signs_in_is_told_who_they_are_and_writes_with_the_token(office: Office) -> None:
    client = Client(enforce_csrf_checks=True)
    body = {"name": "crew", "password": PASSWORD}
    response = client.post(SESSION, body, content_type="application/json")
    found = assert_answer("sign_in", response)  # type: ignore[arg-type]
    assert (found["name"], found["role"], found["crew"], found["scopes"]) == ("crew", "crew", "north", None)
    assert assert_answer("get_session", client.get(SESSION))["name"] == "crew"  # type: ignore[arg-type]
    assert client.delete(SESSION).status_code == 403
    token = client.get(SESSION).json()["csrf_token"]
    assert client.delete(SESSION, headers={"X-CSRFToken": token}).status_code == 204
    assert client.get(SESSION).status_code == 401
    assert not Session.objects.exists()


def test_session_ends_after_a_working_day(office: Office) -> None:
    client = APIClient()
    client.post(SESSION, {"name": "crew", "password": PASSWORD}, format="json")
    (kept,) = Session.objects.all()
    assert timedelta(hours=13) < kept.expire_date - timezone.now() <= timedelta(hours=14)
    kept.expire_date = timezone.now() - timedelta(seconds=1)
    kept.save()
    assert client.get("/api/v1/entries").status_code == 401
    forget_ended_sign_ins()
    assert not Session.objects.exists()


def test_owasp_api2_broken_authentication_name_is_locked_after_five_failures(office: Office) -> None:
    answers = [_try("crew", WRONG).status_code for _ in range(5)]
    assert answers == [401, 401, 401, 401, 429]
    refused = _try("crew", PASSWORD)
    assert_refusal(refused, 429, "sign_in_locked")
    assert 800 < int(refused["Retry-After"]) <= 900
    assert _try("CREW", PASSWORD).status_code == 429
    assert _try("crew", PASSWORD, address="10.0.0.2").status_code == 200


def test_lock_ends_by_itself_and_tries_under_it_do_not_lengthen_it(office: Office) -> None:
    for _ in range(9):
        _try("crew", WRONG)
    assert SignInAttempt.objects.count() == 5
    SignInAttempt.objects.update(tried_at=timezone.now() - people.LOCKED_FOR - timedelta(seconds=1))
    assert _try("crew", PASSWORD).status_code == 200
    assert not SignInAttempt.objects.filter(name="crew", address="10.0.0.1").exists()


def test_unknown_name_is_refused_and_locked_like_a_known_one(office: Office) -> None:
    known, unknown = _try("crew", WRONG), _try("nobody", WRONG)
    assert known.json() == unknown.json()
    for name in ("crew", "nobody"):
        assert [_try(name, WRONG).status_code for _ in range(4)] == [401, 401, 401, 429]


def test_guesses_from_many_addresses_and_of_many_names_are_stopped(office: Office) -> None:
    for number in range(people.MOST_TRIES_OF_NAME):
        _try("crew", WRONG, address=f"10.0.1.{number}")
    assert _try("crew", PASSWORD, address="10.0.2.1").status_code == 429
    for number in range(people.MOST_TRIES_FROM_ADDRESS):
        _try(f"name-{number}", WRONG, address="10.0.3.1")
    assert _try("stores", PASSWORD, address="10.0.3.1").status_code == 429


def test_forwarded_address_is_believed_of_known_proxies_only(office: Office) -> None:
    for number in range(5):
        body = {"name": "crew", "password": WRONG}
        APIClient().post(SESSION, body, format="json", HTTP_X_FORWARDED_FOR=f"10.9.9.{number}")
    assert _try("crew", PASSWORD, address="127.0.0.1").status_code == 429


def test_lock_holds_for_every_door_that_signs_in(office: Office) -> None:
    for _ in range(5):
        authenticate(None, username="crew", password=WRONG)
    assert authenticate(None, username="crew", password=PASSWORD) is None


def test_closed_account_does_not_sign_in_and_its_session_ends(office: Office) -> None:
    client = APIClient()
    assert client.post(SESSION, {"name": "crew", "password": PASSWORD}, format="json").status_code == 200
    office.users["crew"].is_active = False
    office.users["crew"].save()
    assert client.get(SESSION).status_code == 401
    assert_refusal(_try("crew", PASSWORD), 401, "authentication_failed")


def test_password_change_ends_other_sessions_and_wants_a_strong_one(office: Office) -> None:
    here, there = APIClient(), APIClient()
    for client in (here, there):
        client.post(SESSION, {"name": "crew", "password": PASSWORD}, format="json")
    address = f"{SESSION}/password"
    for weak in ("short", "123456789012", "password1234"):
        response = here.put(address, {"current": PASSWORD, "new": weak}, format="json")
        assert_refusal(response, 400, "bad_input", "/new")
    wrong = here.put(address, {"current": WRONG, "new": "quite another one 7"}, format="json")
    assert_refusal(wrong, 401, "authentication_failed")
    body = {"current": PASSWORD, "new": "quite another one 7"}
    assert here.put(address, body, format="json").status_code == 204
    assert here.get(SESSION).status_code == 200
    assert there.get(SESSION).status_code == 401
    assert _try("crew", "quite another one 7").status_code == 200


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({"name": "crew"}, ["/password"]),
        ({"name": 7, "password": "x"}, ["/name"]),
        ({"name": "a\x00", "password": "x"}, ["/name"]),
        ({"name": "crew", "password": "x", "remember": True}, ["/remember"]),
        ([], [""]),
    ],
)
def test_sign_in_that_is_no_request_is_named(office: Office, body: Any, pointers: list[str]) -> None:
    assert_refusal(APIClient().post(SESSION, body, format="json"), 400, "bad_input", *pointers)
    assert not SignInAttempt.objects.exists()


def test_every_sign_in_and_every_refusal_is_logged_and_no_password(
    client_of: ClientOf, office: Office, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    _try("crew", WRONG)
    _try("crew", PASSWORD)
    client_of("crew").get("/api/v1/restock")
    client_of("").get("/api/v1/entries")
    seen = [(vars(record).get("event"), vars(record).get("account")) for record in caplog.records]
    seen = [row for row in seen if row[0]]
    assert seen == [
        ("sign_in_failed", "crew"),
        ("refused", ""),
        ("sign_in", "crew"),
        # The test's own way in.
        ("sign_in", "crew"),
        ("refused", "crew"),
        ("refused", ""),
    ]
    assert all(WRONG not in str(vars(record)) for record in caplog.records)


def test_cookie_of_a_secure_connection_is_marked_so(office: Office) -> None:
    body = {"name": "crew", "password": PASSWORD}
    plain = Client().post(SESSION, body, content_type="application/json")
    assert not plain.cookies["sessionid"]["secure"]
    secure = Client().post(SESSION, body, content_type="application/json", secure=True)
    for name in ("sessionid", "csrftoken"):
        assert secure.cookies[name]["secure"]
    assert secure.cookies["sessionid"]["httponly"]
    assert secure.cookies["sessionid"]["samesite"] == "Lax"


def test_refusal_by_a_page_is_logged_too(
    client_of: ClientOf, office: Office, caplog: pytest.LogCaptureFixture
) -> None:
    assert client_of("crew").get("/restock").status_code == 403
    (line,) = [record for record in caplog.records if vars(record).get("event") == "refused"]
    assert (vars(line)["account"], vars(line)["path"], vars(line)["status"]) == ("crew", "/restock", 403)
