"""Targets and deliveries: written from the seals, sent with growing waits, parked, sent again.

Bodies are CloudEvents 1.0, signed as Standard Webhooks 1.0 say: HMAC-SHA256 over id, moment and body.
"""

import base64
import hashlib
import hmac
import json
import re
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.conf import settings
from django.db import transaction

from api.config import environment
from api.feed.changes import changes_json
from api.feed.sending import Answer, check_url, send
from api.models import WebhookDelivery, WebhookTarget
from api.wire.moments import moment_json
from api.wire.viewer import see_all
from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor, ChainHead, Entry, Seal
from inventory.services.documents import fingerprint_of, take_once

State = WebhookDelivery.State
# As the specification proposes: at once, after seconds, minutes, hours; given up after about three days.
WAITS = tuple(
    timedelta(seconds=seconds) for seconds in (5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400)
)
# Longer than one sending can take, so that no two workers have the same delivery in hand.
IN_HAND = timedelta(minutes=2)
AT_ONCE, WRITTEN_AT_ONCE = 20, 500
GONE = 410
_EVENT = re.compile(r"event\.[a-z_]{1,40}", re.ASCII)


class TargetClosed(SpanstockError):
    """The target was closed; make another."""

    code = "target_closed"


class NotParked(SpanstockError):
    """The delivery is not parked, so there is nothing to send again."""

    code = "not_parked"


def add_target(*, id: UUID, by: Actor, url: str, kinds: list[str], made_at: datetime) -> WebhookTarget:
    """Name an address that is told of what is sealed from now on. Sent again under its id it is the same.

    Raises
    ------
    BadInput
        If nothing would ever be sent to the address.
    DocumentConflict
        If the id stands for another target.
    """
    check_url(url, may_be_private=environment.MAY_WEBHOOKS_BE_PRIVATE)
    _check_kinds(kinds)
    words = " ".join(sorted(set(kinds)))
    fingerprint = fingerprint_of(url=url, kinds=words)

    def make() -> WebhookTarget:
        head = ChainHead.objects.filter(pk=1).values_list("sequence", flat=True).first()
        return WebhookTarget.objects.create(
            uuid=id,
            url=url,
            kinds=words,
            told_until=head or 0,
            made_by=by,
            made_at=made_at,
            fingerprint=fingerprint,
        )

    return take_once(WebhookTarget, id=id, by=by, author="made_by", fingerprint=fingerprint, make=make)


def _check_kinds(kinds: list[str]) -> None:
    """A kind that is misspelt would be waited for in vain."""
    entries = {f"entry.{kind}" for kind in Entry.Kind.values}
    faults = [
        Fault(f"/kinds/{number}", kind[:60], "must be entry.KIND or event.KIND, such as entry.receipt")
        for number, kind in enumerate(kinds)
        if kind not in entries and not _EVENT.fullmatch(kind)
    ]
    if faults:
        raise BadInput.of(faults)


@transaction.atomic
def close_target(*, id: UUID) -> WebhookTarget:
    """Tell the target nothing more; what was on its way is parked. Closing it again changes nothing."""
    target = WebhookTarget.objects.select_for_update().get(uuid=id)
    target.is_open = False
    target.save(update_fields=["is_open"])
    target.deliveries.filter(state=State.WAITING).update(state=State.PARKED)
    return target


def make_secret(target: WebhookTarget) -> str:
    """The secret with which the target checks signatures, in the form that the specification gives it."""
    return f"whsec_{base64.b64encode(_key(target)).decode()}"


@transaction.atomic
def send_again(*, target: WebhookTarget, delivery: int | None, now: datetime) -> int:
    """Send parked deliveries again from the first try on: one, or all of the target; return how many.

    Raises
    ------
    TargetClosed
        If the target is told nothing more.
    NotFound
        If the target has no such delivery.
    NotParked
        If the delivery named is not parked.
    """
    if not target.is_open:
        raise TargetClosed("The target was closed. Make another one and name the address there.")
    rows = target.deliveries.all() if delivery is None else target.deliveries.filter(pk=delivery)
    if delivery is not None and not rows.exists():
        raise NotFound("The target has no delivery of that number.")
    count = rows.filter(state=State.PARKED).update(state=State.WAITING, attempts=0, next_attempt_at=now)
    if delivery is not None and not count:
        raise NotParked("The delivery is on its way or was taken already.")
    return count


def write_deliveries(*, now: datetime) -> int:
    """Write down what is to be told of what was sealed since, target by target; return how many."""
    total = 0
    for pk in WebhookTarget.objects.filter(is_open=True).values_list("pk", flat=True):
        while (count := _write_some(pk, now)) is not None:
            total += count
    return total


@transaction.atomic
def _write_some(pk: int, now: datetime) -> int | None:
    target = WebhookTarget.objects.select_for_update().get(pk=pk)
    rows = Seal.objects.filter(sequence__gt=target.told_until).select_related("entry", "event")
    seals = list(rows.order_by("sequence")[:WRITTEN_AT_ONCE])
    if not seals or not target.is_open:
        return None
    wanted = set(target.kinds.split())
    chosen = [seal for seal in seals if not wanted or _kind(seal) in wanted]
    WebhookDelivery.objects.bulk_create(
        WebhookDelivery(target=target, seal=seal, next_attempt_at=now) for seal in chosen
    )
    target.told_until = seals[-1].sequence
    target.save(update_fields=["told_until"])
    return len(chosen)


def _kind(seal: Seal) -> str:
    return f"entry.{seal.entry.kind}" if seal.entry is not None else f"event.{seal.event.kind}"  # type: ignore[union-attr]


def deliver_due(*, now: datetime) -> int:
    """Send what is due, oldest first; return how many were taken by the other side."""
    taken = 0
    for delivery in _take_in_hand(now):
        taken += _deliver(delivery, now)
    return taken


@transaction.atomic
def _take_in_hand(now: datetime) -> list[WebhookDelivery]:
    rows = WebhookDelivery.objects.select_for_update(skip_locked=True, of=("self",))
    due = list(
        rows.filter(state=State.WAITING, next_attempt_at__lte=now)
        .select_related("target", "seal")
        .order_by("next_attempt_at", "pk")[:AT_ONCE]
    )
    WebhookDelivery.objects.filter(pk__in=[row.pk for row in due]).update(next_attempt_at=now + IN_HAND)
    return due


def _deliver(delivery: WebhookDelivery, now: datetime) -> bool:
    message_id, body = make_message(delivery)
    answer = send(
        delivery.target.url,
        body,
        make_headers(delivery.target, message_id, body, now),
        may_be_private=environment.MAY_WEBHOOKS_BE_PRIVATE,
    )
    _note(delivery, answer, now)
    if answer.status == GONE:
        # So the other side says that it wants nothing more.
        close_target(id=delivery.target.uuid)
    return answer.is_taken


def _note(delivery: WebhookDelivery, answer: Answer, now: datetime) -> None:
    delivery.attempts += 1
    delivery.last_status, delivery.last_fault = answer.status, answer.fault
    if answer.is_taken:
        delivery.state, delivery.delivered_at = State.DELIVERED, now
    elif delivery.attempts > len(WAITS):
        delivery.state = State.PARKED
    else:
        delivery.next_attempt_at = now + WAITS[delivery.attempts - 1]
    fields = ["attempts", "last_status", "last_fault", "state", "delivered_at", "next_attempt_at"]
    delivery.save(update_fields=fields)


def make_message(delivery: WebhookDelivery) -> tuple[str, bytes]:
    """Id and body of what is sent; the same at every try, so that the receiver knows it again."""
    (change,) = changes_json([delivery.seal], see_all())
    message_id = str(uuid5(delivery.target.uuid, str(delivery.seal_id)))
    body = {
        "specversion": "1.0",
        "id": message_id,
        "source": "/api/v1/changes",
        "type": f"spanstock.{change['kind']}",
        "subject": (change["entry"] or change["event"] or {}).get("id", ""),
        "time": change["sealed_at"],
        "datacontenttype": "application/json",
        "data": change,
    }
    return message_id, json.dumps(body, ensure_ascii=False).encode()


def make_headers(target: WebhookTarget, message_id: str, body: bytes, now: datetime) -> dict[str, str]:
    """Who sends what and when, signed."""
    moment = str(int(now.timestamp()))
    signed = f"{message_id}.{moment}.".encode() + body
    signature = base64.b64encode(hmac.new(_key(target), signed, hashlib.sha256).digest()).decode()
    return {
        "Content-Type": "application/cloudevents+json; charset=utf-8",
        "User-Agent": "Spanstock",
        "webhook-id": message_id,
        "webhook-timestamp": moment,
        "webhook-signature": f"v1,{signature}",
    }


def _key(target: WebhookTarget) -> bytes:
    about = f"webhook:{target.uuid}:{target.secret_number}".encode()
    return hmac.new(settings.SECRET_KEY.encode(), about, hashlib.sha256).digest()


def target_json(target: WebhookTarget) -> dict[str, Any]:
    return {
        "id": str(target.uuid),
        "url": target.url,
        "kinds": target.kinds.split(),
        "is_open": target.is_open,
        "told_until": target.told_until,
        "secret": make_secret(target),
    }


def delivery_json(row: WebhookDelivery) -> dict[str, Any]:
    return {
        "number": row.pk,
        "target": str(row.target.uuid),
        "sequence": row.seal_id,
        "state": row.state,
        "attempts": row.attempts,
        "next_attempt_at": moment_json(row.next_attempt_at) if row.state == State.WAITING else None,
        "last_status": row.last_status,
        "last_fault": row.last_fault,
        "delivered_at": moment_json(row.delivered_at),
    }
