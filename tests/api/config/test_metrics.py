"""Numbers and warnings about how late background work is."""

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from api.config import lateness
from api.config.lateness import measure_lateness
from api.feed.webhooks import add_target, write_deliveries
from inventory.models import Seal, Unsealed
from inventory.services.sealing import seal_all
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
METRICS = "/health/metrics"


def _read(client: APIClient) -> dict[str, float]:
    lines = client.get(METRICS).content.decode().splitlines()
    return {
        line.rsplit(" ", 1)[0]: float(line.rsplit(" ", 1)[1]) for line in lines if not line.startswith("#")
    }


def test_answers_are_counted_by_route_and_never_by_address(client_of: ClientOf, office: Office) -> None:
    client = client_of("planner")
    before = _read(client)
    for label in ("D-1", "D-north", "unheard-of"):
        client.get(f"/api/v1/containers/{label}")
    client.generic("BREW", "/api/v1/containers")
    after = _read(client)
    route = 'method="GET",route="api/v1/containers/<str:label>"'
    for status, count in (("200", 2), ("404", 1)):
        name = f'spanstock_answers_total{{{route},status="{status}"}}'
        assert after[name] - before.get(name, 0) == count
    assert not any("D-north" in name or "BREW" in name for name in after)
    name = f"spanstock_answer_seconds_count{{{route}}}"
    assert after[name] - before.get(name, 0) == 3


def test_backlog_is_told(client_of: ClientOf, office: Office) -> None:
    found = _read(client_of("admin"))
    assert found["spanstock_unsealed"] == Unsealed.objects.count() > 0
    assert found["spanstock_broker_up"] == 1
    seal_all()
    found = _read(client_of("admin"))
    assert (found["spanstock_unsealed"], found["spanstock_seal_age_seconds"]) == (0, 0)
    assert found["spanstock_sealed_until"] == Seal.objects.count()


@pytest.mark.parametrize(
    ("role", "status"),
    [
        ("", 401),
        ("stores", 200),
        ("crew", 403),
        ("planner", 200),
        ("accounts", 200),
        ("safety", 200),
        ("admin", 200),
    ],
)
def test_who_reads_the_numbers(client_of: ClientOf, role: str, status: int) -> None:
    assert client_of(role).get(METRICS).status_code == status


def test_readiness_warns_of_what_is_late_and_stays_ready(
    client: Client, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert client.get("/health/ready").json() == {"status": "ready", "warnings": []}
    later = timezone.now() + timedelta(minutes=2)
    monkeypatch.setattr(lateness.timezone, "now", lambda: later)
    monkeypatch.setattr("api.config.health.is_broker_reached", lambda: False)
    answer = client.get("/health/ready")
    assert answer.status_code == 200
    assert answer.json()["warnings"] == ["broker_unreachable", "sealing_late"]


def test_lateness_of_feed_and_deliveries_is_measured_from_the_tables(office: Office) -> None:
    actor = office.users["admin"].actor
    assert actor is not None
    now = timezone.now()
    add_target(id=uuid4(), by=actor, url="https://hooks.example/x", kinds=[], made_at=now)
    seal_all()
    later = timezone.now() + timedelta(minutes=2)
    found = measure_lateness(now=later)
    assert found.feed_lag == Seal.objects.count()
    assert found.warnings() == ["feed_late"]
    write_deliveries(now=now)
    found = measure_lateness(now=later)
    assert (found.feed_lag, found.waiting) == (0, Seal.objects.count())
    assert found.warnings() == ["webhooks_late"]


def test_broker_that_is_away_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_args: object, **_rest: object) -> None:
        raise ConnectionRefusedError

    assert lateness.is_broker_reached()
    monkeypatch.setattr("kombu.Connection.connect", refuse)
    assert not lateness.is_broker_reached()
