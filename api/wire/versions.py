"""Versions of records that change: told as an ETag, asked back as If-Match."""

import hashlib
import json
import re
from typing import Any

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


def etag_of_content(body: dict[str, Any]) -> str:
    """The version of a record that counts none: other content, another tag."""
    text = json.dumps(body, sort_keys=True, ensure_ascii=False)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'


def require_match(request: Request, body: dict[str, Any]) -> None:
    """Refuse a change of a record that the sender did not see as it is now; `*` stands for any version.

    Raises
    ------
    PreconditionMissing
        If the request names none.
    StaleVersion
        If it names another.
    """
    check_match(request.headers.get("If-Match", ""), body)


def check_match(text: str, body: dict[str, Any]) -> None:
    """The same for versions that did not come in a header."""
    given = text.strip()
    if not given:
        raise PreconditionMissing("Send the ETag of what you read as If-Match: no other's change gets lost.")
    if given != "*" and etag_of_content(body) not in [tag.strip() for tag in given.split(",")]:
        raise StaleVersion("The record was changed since you read it. Read it again and decide anew.")
