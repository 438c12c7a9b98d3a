"""Versions of records that change: told as an ETag, asked back as If-Match."""

import re

from rest_framework.request import Request

from api.errors import PreconditionMissing
from inventory.services.documents import StaleVersion


def etag_of(version: int) -> str:
    return f'"{version}"'


def read_if_match(request: Request) -> int:
    """The version that a change was decided on.

    Raises
    ------
    PreconditionMissing
        If the request names none.
    StaleVersion
        If it names what was never a version.
    """
    given = request.headers.get("If-Match", "")
    if not given:
        raise PreconditionMissing("Send the ETag of what you read as If-Match: no other's change gets lost.")
    match = re.fullmatch(r'(?:W/)?"(\d{1,9})"', given)
    if match is None:
        raise StaleVersion(f"If-Match {given[:40]} is no ETag that was given out. Read the record again.")
    return int(match[1])
