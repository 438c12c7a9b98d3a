"""Health addresses, asked as a supervisor asks them."""

import pytest
from django.db import OperationalError, connection
from django.test import Client

from inventory.models.triggers import make_triggers


def test_show_live_needs_no_database(client: Client) -> None:
    answer = client.get("/health/live")
    assert answer.status_code == 200
    assert answer.json() == {"status": "live"}
    assert "no-cache" in answer["Cache-Control"]


@pytest.mark.django_db
def test_show_ready_says_ready(client: Client) -> None:
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()) == (200, {"status": "ready", "warnings": []})


@pytest.mark.django_db
def test_show_ready_misses_a_trigger(client: Client) -> None:
    on = " ON inventory_seal" if connection.vendor == "postgresql" else ""
    name = (
        "inventory_seal_is_immutable"
        if connection.vendor == "postgresql"
        else "inventory_seal_refuses_update"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["faults"]) == (503, ["triggers_missing"])
    make_triggers(connection)
    assert client.get("/health/ready").status_code == 200


@pytest.mark.django_db
def test_show_ready_says_when_the_database_is_away(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_args: object) -> None:
        raise OperationalError("could not connect to db.internal.example")

    monkeypatch.setattr(connection, "cursor", refuse)
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["faults"]) == (503, ["database_unreachable"])
    assert b"internal" not in answer.content


def test_show_ready_refuses_a_write(client: Client) -> None:
    assert client.post("/health/ready").status_code == 405
