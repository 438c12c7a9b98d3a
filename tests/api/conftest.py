"""A small world with accounts of each role, and clients that are signed in as them."""

from collections.abc import Callable, Iterator

import pytest
from django.core.cache import cache
from rest_framework.test import APIClient

from tests.factories.accounts import Office, make_office


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
        client = APIClient()
        if role:
            client.force_login(office.users[role])
        return client

    return make
