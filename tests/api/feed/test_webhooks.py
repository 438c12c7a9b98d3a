"""Deliveries: signed CloudEvents, waits that grow, parking, replay, over a connection to this machine."""

import base64
import contextlib
import hashlib
import hmac
import json
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from api.config import environment
from api.feed.sending import MOST_READ_BYTES
from api.feed.webhooks import WAITS, deliver_due, write_deliveries
from api.models import WebhookDelivery, WebhookTarget
from inventory.services.sealing import seal_all
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
TARGETS = "/api/v1/webhook-targets"
NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)


class Receiver:
    """The other side: keeps what it is sent and answers as it is told."""

    def __init__(self) -> None:
        self.got: list[tuple[str, dict[str, str], bytes]] = []
        self.status, self.headers, self.answer = 204, dict[str, str](), b""
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                receiver.got.append((self.path, {k.lower(): v for k, v in self.headers.items()}, body))
                self.send_response(receiver.status)
                for name, value in receiver.headers.items():
                    self.send_header(name, value)
                self.end_headers()
                with contextlib.suppress(OSError):
                    self.wfile.write(receiver.answer)

            def log_message(self, *_args: Any) -> None:
                return

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/hook"
        self.thread = threading.Thread(target=self.server.serve_forever)
        self.thread.start()

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def receiver(monkeypatch: pytest.MonkeyPatch) -> Iterator[Receiver]:
    monkeypatch.setattr(environment, "MAY_WEBHOOKS_BE_PRIVATE", True)
    found = Receiver()
    yield found
    found.stop()


@pytest.fixture
def target(client_of: ClientOf, office: Office, receiver: Receiver) -> dict[str, Any]:
    """A target made after the office was sealed, and one draw after it."""
    seal_all()
    admin = client_of("admin")
    body = {"id": str(uuid4()), "url": receiver.url}
    made = assert_answer("add_webhook_target", admin.post(TARGETS, body, format="json"))
    admin.post("/api/v1/entries", requests.a_draw(office), format="json")
    seal_all()
    return dict(made)


def test_change_is_sent_once_as_a_signed_cloud_event(target: dict[str, Any], receiver: Receiver) -> None:
    """CloudEvents 1.0 (required: specversion, id, source, type); Standard Webhooks 1.0, signature v1."""
    assert (write_deliveries(now=NOW), deliver_due(now=NOW)) == (1, 1)
    assert (write_deliveries(now=NOW), deliver_due(now=NOW)) == (0, 0)
    ((path, headers, body),) = receiver.got
    event = json.loads(body)
    assert path == "/hook"
    assert headers["content-type"].startswith("application/cloudevents+json")
    assert (event["specversion"], event["type"]) == ("1.0", "spanstock.entry.draw")
    assert event["id"] == headers["webhook-id"]
    assert event["data"]["entry"]["kind"] == "draw"
    assert event["subject"] == event["data"]["entry"]["id"]
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    key = base64.b64decode(target["secret"].removeprefix("whsec_"))
    expected = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert headers["webhook-signature"] == f"v1,{expected}"
    assert headers["webhook-timestamp"] == str(int(NOW.timestamp()))


def test_waits_grow_and_after_the_last_try_it_is_parked_and_sent_again(
    client_of: ClientOf, target: dict[str, Any], receiver: Receiver
) -> None:
    receiver.status, now = 500, NOW
    write_deliveries(now=now)
    for wait in WAITS:
        deliver_due(now=now)
        row = WebhookDelivery.objects.get()
        assert (row.state, row.next_attempt_at - now, row.last_status) == ("waiting", wait, 500)
        assert deliver_due(now=now) == 0
        now = row.next_attempt_at
    assert sorted(WAITS) == list(WAITS)
    deliver_due(now=now)
    row = WebhookDelivery.objects.get()
    assert (row.state, row.attempts) == ("parked", len(WAITS) + 1)
    assert len({headers["webhook-id"] for _path, headers, _body in receiver.got}) == 1
    assert deliver_due(now=now + timedelta(days=9)) == 0
    admin, address = client_of("admin"), f"{TARGETS}/{target['id']}/replay"
    listed = assert_answer(
        "list_webhook_deliveries", admin.get(f"/api/v1/webhook-deliveries?state=parked&target={target['id']}")
    )
    (parked,) = listed["results"]
    one = {"delivery": str(parked["number"])}
    answer = admin.post(address, one, format="json")
    assert assert_answer("replay_webhook_deliveries", answer) == {"sent_again": 1}
    assert_refusal(admin.post(address, one, format="json"), 409, "not_parked")
    assert_refusal(admin.post(address, {"delivery": "77777"}, format="json"), 404, "not_found")
    assert admin.post(address, {}, format="json").json() == {"sent_again": 0}
    receiver.status = 200
    assert deliver_due(now=datetime.now(UTC) + timedelta(days=9)) == 1


def test_owasp_api7_server_side_request_forgery_redirect_is_not_followed(
    target: dict[str, Any], receiver: Receiver
) -> None:
    receiver.status, receiver.headers = 307, {"Location": receiver.url}
    write_deliveries(now=NOW)
    assert deliver_due(now=NOW) == 0
    assert len(receiver.got) == 1
    assert WebhookDelivery.objects.get().last_status == 307


def test_owasp_api10_unsafe_consumption_of_apis_long_answer_is_not_read(
    target: dict[str, Any], receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[int] = []
    monkeypatch.setattr(
        "http.client.HTTPResponse.read", lambda _response, size=None: read.append(size) or b""
    )
    receiver.status, receiver.answer = 200, b"x" * 1_000_000
    write_deliveries(now=NOW)
    assert deliver_due(now=NOW) == 1
    assert read == [MOST_READ_BYTES]
    assert "x" * 100 not in str(WebhookDelivery.objects.values())


def test_private_target_is_refused_unless_the_operator_allows_it(
    client_of: ClientOf, target: dict[str, Any], receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(environment, "MAY_WEBHOOKS_BE_PRIVATE", False)
    write_deliveries(now=NOW)
    assert deliver_due(now=NOW) == 0
    assert receiver.got == []
    assert WebhookDelivery.objects.get().last_fault == "address refused"
    body = {"id": str(uuid4()), "url": receiver.url}
    assert_refusal(client_of("admin").post(TARGETS, body, format="json"), 400, "bad_input", "/url")
    assert WebhookTarget.objects.count() == 1


def test_other_side_that_wants_no_more_closes_the_target(
    client_of: ClientOf, target: dict[str, Any], receiver: Receiver
) -> None:
    receiver.status = 410
    write_deliveries(now=NOW)
    deliver_due(now=NOW)
    admin = client_of("admin")
    assert not assert_answer("get_webhook_target", admin.get(f"{TARGETS}/{target['id']}"))["is_open"]
    assert WebhookDelivery.objects.get().state == "parked"
    assert_refusal(admin.post(f"{TARGETS}/{target['id']}/replay", {}, format="json"), 409, "target_closed")


def test_worker_that_dies_leaves_the_delivery_to_another(target: dict[str, Any], receiver: Receiver) -> None:
    write_deliveries(now=NOW)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "api.feed.webhooks.send", lambda *_args, **_rest: (_ for _ in ()).throw(KeyboardInterrupt)
        )
        with pytest.raises(KeyboardInterrupt):
            deliver_due(now=NOW)
    assert deliver_due(now=NOW) == 0
    assert deliver_due(now=NOW + timedelta(minutes=3)) == 1


def test_target_is_told_of_the_kinds_it_chose_only(
    client_of: ClientOf, office: Office, receiver: Receiver
) -> None:
    admin = client_of("admin")
    body = {"id": str(uuid4()), "url": receiver.url, "kinds": ["entry.report"]}
    assert admin.post(TARGETS, body, format="json").status_code == 201
    for made in (requests.a_draw(office), requests.a_report(office)):
        admin.post("/api/v1/entries", made, format="json")
    seal_all()
    # Also what was posted before and sealed after it: the feed knows seals only.
    assert write_deliveries(now=NOW) == 1
    assert deliver_due(now=NOW) == 1
    assert json.loads(receiver.got[0][2])["type"] == "spanstock.entry.report"


def test_target_is_made_once_and_wrong_kinds_are_named(client_of: ClientOf, receiver: Receiver) -> None:
    admin, body = client_of("admin"), {"id": str(uuid4()), "url": receiver.url, "kinds": ["event.kit_ready"]}
    first = admin.post(TARGETS, body, format="json")
    assert admin.post(TARGETS, body, format="json").json() == first.json()
    assert_refusal(admin.post(TARGETS, {**body, "kinds": []}, format="json"), 409, "document_conflict")
    wrong = {"id": str(uuid4()), "url": receiver.url, "kinds": ["entry.loan", "x"]}
    assert_refusal(admin.post(TARGETS, wrong, format="json"), 400, "bad_input", "/kinds/0", "/kinds/1")
    assert len(assert_answer("list_webhook_targets", admin.get(TARGETS))["results"]) == 1
    closed = admin.delete(f"{TARGETS}/{body['id']}")
    assert assert_answer("close_webhook_target", closed)["is_open"] is False
    assert write_deliveries(now=NOW) == 0
