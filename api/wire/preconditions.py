"""Changing a record only as it was seen: an ETag with each answer, `If-Match` with each change of it."""

import hashlib
import json
from typing import Any

from rest_framework.request import Request

from api.errors import Outdated, PreconditionMissing


def etag_of(body: dict[str, Any]) -> str:
    """The version of a record as it is written out: other content, another tag."""
    text = json.dumps(body, sort_keys=True, ensure_ascii=False)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'


def require_match(request: Request, body: dict[str, Any]) -> None:
    """Refuse a change of a record that the sender did not see as it is now.

    Raises
    ------
    PreconditionMissing
        If `If-Match` was not sent.
    Outdated
        If it names another version; `*` stands for any.
    """
    sent = request.headers.get("If-Match", "").strip()
    if not sent:
        raise PreconditionMissing("Send If-Match with the ETag of the record as you saw it.")
    if sent != "*" and etag_of(body) not in [tag.strip() for tag in sent.split(",")]:
        raise Outdated("The record was changed since you saw it. Get it again and decide anew.")
