"""The whole description, fuzzed as each role: no fault of ours, no answer that it does not describe."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from rest_framework.test import APIClient

from api.imports import asking
from inventory.services.restocking import runs
from tests.api.rest.every_operation import ROLES
from tests.api.rest.furnished import furnish
from tests.api.rest.fuzzing import fuzz, known_names, list_operations, make_token
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
# Of each operation as each role; in parts, so that two cores share the work.
EXAMPLES, PARTS = 16, 4


@contextmanager
def _one_connection() -> Iterator[None]:
    """Keep the test's connection, which a request's end would close; the usual client connects this anew."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture(autouse=True)
def _quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    """No broker to hint to, no throttle to wait for."""
    monkeypatch.setattr(runs, "_hint", lambda: None)
    monkeypatch.setattr(asking, "_hint", lambda: None)
    for throttle in ("ScopedRateThrottle", "AnonRateThrottle", "UserRateThrottle"):
        monkeypatch.setattr(f"rest_framework.throttling.{throttle}.allow_request", lambda *_: True)


@pytest.mark.long
@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("role", ROLES[1:])
def test_description_holds(client_of: ClientOf, office: Office, role: str, part: int) -> None:
    """Whatever a role sends, the answer is one that the description names, and none is a fault of ours."""
    furnished = furnish(office, client_of)
    token = make_token(role, office.crew if role == "crew" else None)
    operations = list_operations()[part::PARTS]
    with _one_connection():
        found = fuzz(operations, token=token, known=known_names(furnished), examples=EXAMPLES)
    assert not found.faults, "\n\n".join(f"{name}: {fault}" for name, fault in found.faults.items())
    # So that 20,000 requests and more go out in all.
    assert found.requests > 20_000 / PARTS / len(ROLES[1:])
