"""Every role against every operation of REST: what is answered, and that a refusal writes nothing.

An address or a method without a row fails, so nothing can be added without saying who may do it.
"""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import resolve
from rest_framework.test import APIClient

from api.imports import asking
from api.rest.urls import ADDRESSES
from inventory.services.restocking import runs
from tests.api.acts.every_act import ACTS
from tests.api.rest.every_operation import OPERATIONS, ROLES
from tests.api.rest.furnished import Furnished, furnish
from tests.api.rest.operations.rows import Operation
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
METHODS = ("get", "post", "put", "patch", "delete")
DENIED = {401, 403, 404}
# A session is renewed and a key is claimed and given back, whatever is answered.
WRITING = re.compile(
    r"\s*(INSERT|UPDATE|DELETE)\b(?!.*(django_session|api_keyedanswer))", re.IGNORECASE | re.DOTALL
)


@pytest.fixture(autouse=True)
def _quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    """No broker to hint to, no throttle to wait for."""
    monkeypatch.setattr(runs, "_hint", lambda: None)
    monkeypatch.setattr(asking, "_hint", lambda: None)
    for throttle in ("ScopedRateThrottle", "AnonRateThrottle", "UserRateThrottle"):
        monkeypatch.setattr(f"rest_framework.throttling.{throttle}.allow_request", lambda *_: True)


def _offered() -> set[tuple[str, str]]:
    found = {("get", "reference")}
    for _address, view, name in ADDRESSES:
        kind = getattr(view, "cls", None)
        found |= {(method, name) for method in METHODS if kind is not None and hasattr(kind, method)}
    return found


def test_every_operation_has_its_row() -> None:
    """OWASP API5, broken function level authorization: none is forgotten."""
    named = {
        (row.method, resolve(f"/api/v1/{re.sub('{.*?}', 'x', row.address).split('?')[0]}").url_name)
        for row in OPERATIONS
    }
    acts = {
        (case.method, resolve(f"/api/v1/{re.sub('{.*?}', 'x', case.address)}").url_name)
        for case in ACTS.values()
    }
    assert named | acts == _offered()


def _try(client: APIClient, row: Operation, furnished: Furnished, version: str) -> tuple[int, list[str]]:
    """The status, and what was written on the way; all of it is undone again."""
    body = row.body(furnished) if callable(row.body) else row.body or {}
    address = _fill(row.address, furnished)
    with transaction.atomic():
        with CaptureQueriesContext(connection) as captured:
            response = _send(client, row, f"/api/v1/{address}", body, version)
        transaction.set_rollback(True)
    return response.status_code, [query["sql"] for query in captured if WRITING.match(query["sql"])]


def _send(client: APIClient, row: Operation, address: str, body: Any, version: str) -> Any:
    send = getattr(client, row.method)
    if row.method == "get":
        return send(address)
    if isinstance(body, bytes):
        return send(address, body, content_type="application/octet-stream")
    headers = {"If-Match": version} if version else {}
    return send(address, body, format="json", headers=headers)


def _fill(address: str, furnished: Furnished) -> str:
    return re.sub("{(.*?)}", lambda found: furnished.names[found[1]], address)


def _find_version(admin: APIClient, row: Operation, furnished: Furnished) -> str:
    """The version that stands: who may change a thing is another matter than who changed it last."""
    if row.method != "put" or isinstance(row.body, bytes):
        return ""
    return str(admin.get(f"/api/v1/{_fill(row.version_at, furnished)}").headers.get("ETag", ""))


@pytest.mark.parametrize("role", ROLES)
def test_role_is_answered_as_the_table_says_and_a_refusal_writes_nothing(
    client_of: ClientOf, office: Office, role: str
) -> None:
    """OWASP API1, API5: own and foreign objects, every function, every role."""
    furnished, column = furnish(office, client_of), ROLES.index(role)
    admin = client_of("admin")
    usual, found, expected, wrote = client_of(role), {}, {}, {}
    for row in OPERATIONS:
        # What ends or renews a session spoils its client for the rows after it.
        client = client_of(role) if row.address.startswith("session") else usual
        name = f"{row.method} {row.address} {len(found)}"
        status, written = _try(client, row, furnished, _find_version(admin, row, furnished))
        found[name], expected[name] = status, row.statuses[column]
        if status in DENIED and written:
            wrote[name] = written[0]
    assert {name: got for name, got in found.items() if got != expected[name]} == {}
    assert wrote == {}
