"""Accounts are made with a role, a name in the ledger and a password that is not on the command line."""

import json
from io import StringIO

import pytest
from django.core.management import call_command

from api.models import User
from inventory.models import Actor
from tests.factories.accounts import PASSWORD, Office, make_office


@pytest.fixture
def office(db: None) -> Office:
    return make_office()


def _add(monkeypatch: pytest.MonkeyPatch, *words: str, password: str = PASSWORD) -> str:
    monkeypatch.setattr("sys.stdin", StringIO(f"{password}\n"))
    written = StringIO()
    call_command("add_user", *words, stdout=written, stderr=written)
    return written.getvalue()


def _refused(monkeypatch: pytest.MonkeyPatch, *words: str, password: str = PASSWORD) -> str:
    monkeypatch.setattr("sys.stdin", StringIO(f"{password}\n"))
    written = StringIO()
    before = User.objects.count(), Actor.objects.count()
    with pytest.raises(SystemExit) as ended:
        call_command("add_user", *words, stdout=written, stderr=written)
    assert ended.value.code == 1
    assert (User.objects.count(), Actor.objects.count()) == before
    return written.getvalue()


def test_account_may_sign_in_and_has_a_name_in_the_ledger(
    office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = _add(
        monkeypatch, "yard-two", "--role", "stores", "--warehouse", "main-yard", "--format", "json"
    )
    assert json.loads(written) == {"name": "yard-two", "role": "stores"}
    user = User.objects.get(username="yard-two")
    assert user.check_password(PASSWORD)
    assert user.actor == Actor.objects.get(code="yard-two")
    assert list(user.warehouses.all()) == [office.world.warehouse]


def test_crew_account_belongs_to_a_crew(office: Office, monkeypatch: pytest.MonkeyPatch) -> None:
    _add(monkeypatch, "north-phone", "--role", "crew", "--crew", "north")
    assert User.objects.get(username="north-phone").crew == office.crew
    assert "--crew" in _refused(monkeypatch, "other", "--role", "crew")
    assert "--crew" in _refused(monkeypatch, "other", "--role", "crew", "--crew", "unheard-of")
    assert "--crew" in _refused(monkeypatch, "other", "--role", "safety", "--crew", "north")


def test_weak_password_taken_name_and_unknown_warehouse_are_refused(
    office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "password" in _refused(monkeypatch, "other", "--role", "safety", password="short")
    assert "taken" in _refused(monkeypatch, "admin", "--role", "admin")
    assert "ledger" in _refused(monkeypatch, "user-admin", "--role", "admin")
    assert "name" in _refused(monkeypatch, "no spaces", "--role", "admin")
    assert "--warehouse" in _refused(monkeypatch, "other", "--role", "stores", "--warehouse", "truck-north")
    assert "--warehouse" in _refused(monkeypatch, "other", "--role", "safety", "--warehouse", "main-yard")
