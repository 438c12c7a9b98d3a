"""A row for one operation, and who may what.

Statuses stand for nobody, stores, crew, planner, accounts, safety, admin.
"""

from dataclasses import dataclass
from typing import Any

from tests.api.rest.furnished import (
    AT,
)

Statuses = tuple[int, ...]


EVERYBODY = (200, 200, 200, 200, 200, 200, 200)
SIGNED_IN = (401, 200, 200, 200, 200, 200, 200)
NOT_FOR_CREWS = (401, 200, 404, 200, 200, 200, 200)
SUMS_ALL_WORK = (401, 200, 403, 200, 200, 200, 200)
ADMIN_ONLY = (401, 403, 403, 403, 403, 403, 200)
SEES_MONEY = (401, 200, 403, 200, 200, 403, 200)


@dataclass(frozen=True)
class Operation:
    """One request and what it is answered; `{name}` in the address stands for something in the office."""

    method: str
    address: str
    statuses: Statuses
    # What is sent, or a function that makes it for what is in the office.
    body: Any = None
    # Where the version that is changed is read, if not at the address itself.
    version_at: str = ""


def post(address: str, statuses: Statuses, body: Any = None) -> Operation:
    return Operation("post", address, statuses, body)


def put(address: str, statuses: Statuses, body: Any, version_at: str = "") -> Operation:
    return Operation("put", address, statuses, body, version_at or address)


def read(address: str, statuses: Statuses = SIGNED_IN) -> Operation:
    return Operation("get", address, statuses)


WHEN = {"occurred_at": AT}


# Who may, by what is answered: made (201) or changed (200); what a crew may not do it may not see (404)
# or may not name (400).
STORES_MAKE = (401, 201, 403, 403, 403, 403, 201)
STORES_MAKE_UNSEEN = (401, 201, 404, 403, 403, 403, 201)
STORES_MAKE_UNNAMED = (401, 201, 400, 403, 403, 403, 201)
STORES_CHANGE = (401, 200, 403, 403, 403, 403, 200)
STORES_CHANGE_UNSEEN = (401, 200, 404, 403, 403, 403, 200)
CREWS_MAKE_TOO = (401, 201, 201, 403, 403, 403, 201)
CREWS_CHANGE_TOO = (401, 200, 200, 403, 403, 403, 200)
ACCOUNTS_MAKE = (401, 403, 403, 403, 201, 403, 201)
ACCOUNTS_CHANGE = (401, 403, 403, 403, 200, 403, 200)
SAFETY_CHANGES = (401, 403, 403, 403, 403, 200, 403)
KEEPERS_MAKE = (401, 201, 403, 403, 403, 201, 201)
PLANNERS_CHANGE = (401, 403, 403, 200, 403, 403, 200)
PERSONS_OWN = (401, 204, 204, 204, 204, 204, 204)
