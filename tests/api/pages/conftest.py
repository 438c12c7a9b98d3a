"""An office whose people open pages."""

from collections.abc import Callable

import pytest
from django.test import Client

from tests.factories.accounts import Office, make_office


@pytest.fixture
def office(db: None) -> Office:
    return make_office()


@pytest.fixture
def browse(office: Office) -> Callable[[str], Client]:
    """A browser in which a person of this role has signed in."""

    def open_for(role: str) -> Client:
        client = Client()
        client.force_login(office.users[role])
        return client

    return open_for
