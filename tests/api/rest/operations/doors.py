"""The doors themselves: signing in, feed, documents, calculations, what explains."""

from uuid import uuid4

from tests.api.rest.furnished import (
    A_PAPER,
)
from tests.api.rest.operations.rows import (
    ADMIN_ONLY,
    CREWS_CHANGE_TOO,
    EVERYBODY,
    NOT_FOR_CREWS,
    PERSONS_OWN,
    SEES_MONEY,
    SIGNED_IN,
    STORES_CHANGE_UNSEEN,
    Operation,
    Statuses,
    post,
    put,
    read,
)
from tests.factories.accounts import PASSWORD

BORE = {"bore": {"value": "20", "unit": "mm"}, "length": {"value": "100", "unit": "m"}, "volume_unit": "L"}

# Answered by the protocol, which knows systems only: see the tests of signing in.
PROTOCOL = (415, 415, 415, 415, 415, 415, 415)


def _attach(thing: str, statuses: Statuses) -> Operation:
    return Operation("put", f"documents/{NEW}?of={thing}&name=a", statuses, A_PAPER)


ADMIN_SEES = (401, 404, 404, 404, 404, 404, 200)
PLANNERS_SEND = (401, 403, 403, 202, 403, 403, 202)


def _send(kind: str, file: bytes, statuses: Statuses) -> Operation:
    return Operation("put", f"imports/{NEW}?kind={kind}&name=a", statuses, file)


A_TARGET = {"id": str(uuid4()), "url": "https://hooks.example/x"}
NEW = "00000000-0000-4000-8000-00000000d0c5"


OPERATIONS: list[Operation] = [
    read("session"),
    read("imports"),
    read("imports/{import}", ADMIN_SEES),
    read("imports/{import}/rows", ADMIN_SEES),
    read("documents"),
    read("documents/{document}"),
    read("documents/{foreign document}", NOT_FOR_CREWS),
    read("documents/{receipt document}", (401, 200, 404, 200, 200, 404, 200)),
    read("documents/{document}/content"),
    read("documents/{foreign document}/content", NOT_FOR_CREWS),
    read("documents/{receipt document}/content", (401, 200, 404, 200, 200, 404, 200)),
    read("changes", SEES_MONEY),
    read("webhook-targets", ADMIN_ONLY),
    read("webhook-targets/{target}", ADMIN_ONLY),
    read("webhook-deliveries", ADMIN_ONLY),
    read("calculations"),
    read("calculations/bore-volume"),
    read("problems", EVERYBODY),
    read("problems/not_found", EVERYBODY),
    read("schema", EVERYBODY),
    read("reference", EVERYBODY),
    post("webhook-targets", (401, 403, 403, 403, 403, 403, 201), A_TARGET),
    post("webhook-targets/{target}/replay", ADMIN_ONLY, {}),
    Operation("delete", "webhook-targets/{target}", ADMIN_ONLY),
    _attach("field-report&on={report}", CREWS_CHANGE_TOO),
    _attach("field-report&on={foreign report}", STORES_CHANGE_UNSEEN),
    _attach("incident&on={incident}", SIGNED_IN),
    _attach("incident&on={foreign incident}", NOT_FOR_CREWS),
    _attach("receipt&on={receipt}", (401, 200, 404, 403, 403, 404, 200)),
    _attach("material&on=fluid", (401, 403, 403, 403, 403, 200, 200)),
    _attach("waste-manifest&on={manifest}", STORES_CHANGE_UNSEEN),
    _send("spans&job=J-north", b"x", PLANNERS_SEND),
    _send("crew-days", b"x", PLANNERS_SEND),
    _send("stock", b"x", (401, 202, 403, 403, 403, 403, 202)),
    _send("field-reports", b"{}", (401, 202, 202, 403, 403, 403, 202)),
    post("session", EVERYBODY, {"name": "safety", "password": PASSWORD}),
    Operation("delete", "session", PERSONS_OWN),
    put("session/password", PERSONS_OWN, {"current": PASSWORD, "new": "quite another one 7"}),
    post("oauth/token", PROTOCOL),
    post("oauth/revocation", PROTOCOL),
    post("calculations/bore-volume", SIGNED_IN, BORE),
]
