"""A small world with accounts of each role, and clients that are signed in as them."""

from collections.abc import Callable, Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.urls import resolve
from rest_framework.test import APIClient

from tests.factories.accounts import Office, make_office


class Client(APIClient):
    """Sends a key of its own where one is needed, as any client must; tests say only what they are about."""

    def post(self, path: str, data: Any = None, *args: Any, **extra: Any) -> Any:
        headers = dict(extra.pop("headers", None) or {})
        door = getattr(resolve(path.split("?")[0]).func, "cls", None) if path.startswith("/api/") else None
        if getattr(door, "needs_key", False):
            headers.setdefault("Idempotency-Key", f'"{uuid4()}"')
        return super().post(path, data, *args, headers=headers, **extra)


@pytest.fixture(autouse=True)
def _unthrottled() -> Iterator[None]:
    """Let no test pay for the requests of another."""
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def office(db: None) -> Office:
    return make_office()


@pytest.fixture
def client_of(office: Office) -> Callable[[str], APIClient]:
    """Make a client signed in as a role; an empty role is nobody."""

    def make(role: str) -> APIClient:
        client = Client()
        if role:
            client.force_login(office.users[role])
        return client

    return make
