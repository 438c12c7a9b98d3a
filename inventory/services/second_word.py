"""What one person asks for and another grants. Granting it does it, so nobody is asked twice."""

import hashlib
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor, SecondWord
from inventory.services.sealing import record_event


class OwnRequest(SpanstockError):
    """Nobody decides about what they asked for themselves."""

    code = "own_request"


class DecidedOtherwise(SpanstockError):
    """The request was decided before, the other way."""

    code = "decided_otherwise"


class RequestExpired(SpanstockError):
    """The request waited so long that what it was asked for may have changed; it is asked anew."""

    code = "request_expired"


class RequestConflict(SpanstockError):
    """The id was used before, for another request or by someone else."""

    code = "request_conflict"


# For how long a request may be granted. A refusal, and a look at what is done already, have no such end.
GRANTED_WITHIN = timedelta(days=30)
# What is done when the word is given: the request, who granted it, when.
Deed = Callable[[SecondWord, Actor, datetime], None]


@transaction.atomic
def ask_for_second_word(
    *, id: UUID, kind: SecondWord.Kind, by: Actor, asked_at: datetime, reason: str, body: dict[str, Any]
) -> SecondWord:
    """Write a request down; sent again under its id it is the same request.

    Raises
    ------
    BadInput
        If no reason is given.
    RequestConflict
        If the id stands for another request.
    """
    if not reason.strip():
        raise BadInput.of([Fault("/reason", "", "must say why, for whoever decides")])
    form = json.dumps([kind.value, by.pk, reason, body], sort_keys=True)
    fingerprint = hashlib.sha256(form.encode()).hexdigest()
    asked, is_new = SecondWord.objects.get_or_create(
        uuid=id,
        defaults={
            "kind": kind,
            "asked_by": by,
            "asked_at": asked_at,
            "reason": reason,
            "body": body,
            "fingerprint": fingerprint,
        },
    )
    if asked.fingerprint != fingerprint:
        raise RequestConflict(f"The id {id} was used for another request. Use a new one.")
    if is_new:
        _tell("second_word_asked", asked, by, asked_at)
    return asked


@transaction.atomic
def decide(
    *,
    id: UUID,
    by: Actor,
    decided_at: datetime,
    is_granted: bool,
    deeds: dict[str, Deed],
    note: str = "",
) -> SecondWord:
    """Grant a request, which does what it asks for, or refuse it. The same decision again is harmless.

    What was done already and not agreed to stays open until it is undone, or agreed to after all.

    Raises
    ------
    NotFound
        If there is no such request.
    OwnRequest
        If the asker decides.
    DecidedOtherwise
        If it was decided the other way.
    RequestExpired
        If it is to be granted and waited too long.
    """
    asked = SecondWord.objects.select_for_update(of=("self",)).filter(uuid=id).first()
    if asked is None:
        raise NotFound(f"There is no request {id}.")
    is_settled_late = asked.kind == SecondWord.Kind.SEEN and asked.is_granted is False and is_granted
    if asked.decided_at is not None and not is_settled_late:
        if asked.is_granted != is_granted:
            said = "granted" if asked.is_granted else "refused"
            raise DecidedOtherwise(f"The request {id} was {said} already. Make a new one.")
        return asked
    if asked.asked_by_id == by.pk:
        raise OwnRequest("Who asks does not decide. Let somebody else look at it.")
    if is_granted and asked.kind != SecondWord.Kind.SEEN and decided_at > asked.asked_at + GRANTED_WITHIN:
        raise RequestExpired(
            f"This was asked on {asked.asked_at:%Y-%m-%d} and could be granted until "
            f"{asked.asked_at + GRANTED_WITHIN:%Y-%m-%d}. Refuse it, and let it be asked anew."
        )
    asked.decided_by, asked.decided_at, asked.is_granted, asked.note = by, decided_at, is_granted, note
    asked.save()
    if is_granted:
        deeds[asked.kind](asked, by, decided_at)
    _tell("second_word_granted" if is_granted else "second_word_refused", asked, by, decided_at)
    return asked


def _tell(kind: str, asked: SecondWord, by: Actor, occurred_at: datetime) -> None:
    record_event(
        id=uuid5(asked.uuid, kind),
        kind=kind,
        occurred_at=occurred_at,
        body={"request": str(asked.uuid), "of": asked.kind, "by": by.code, "reason": asked.reason},
    )
