"""`Idempotency-Key`: a request sent again under its key is answered as the first time, and does nothing.

After the draft of the IETF's HTTP API group (draft-ietf-httpapi-idempotency-key-header). The answer is
written in the transaction of what it tells of, so either both are there or neither.
"""

import hashlib
import json
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import OperationalError, transaction
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import KeyInUse, KeyMalformed, KeyMissing, KeyReused
from api.models import KeyedAnswer, User
from inventory.errors import Fault
from inventory.services.posting.errors import BookBusy
from inventory.services.posting.retries import may_retry, pause

HEADER = "Idempotency-Key"
MOST_TURNS = 20
# A client that was away over a long weekend may still ask what became of its request.
KEPT_FOR = timedelta(days=7)
# No request runs as long; a claim of that age was left behind by a process that died.
CLAIMED_FOR = timedelta(minutes=5)
KEPT_HEADERS = ("Location", "ETag")
# A string of RFC 9651 in double quotes, as the draft has it, or the same without them where it needs none.
_QUOTED = re.compile(r'"((?:[ !#-\[\]-~]|\\["\\]){1,255})"')
_BARE = re.compile(r"[A-Za-z0-9._:~+/=-]{1,255}")


def read_key(request: Request, *, is_required: bool) -> str | None:
    """The key of a request, without the quotes; None where it has none and needs none."""
    given = request.headers.get(HEADER)
    if given is None:
        if is_required:
            message = 'send a key of your own making, such as "8e03978e-40d5-43dd-bc93-6894a57f9324"'
            raise KeyMissing.of([Fault(HEADER, "", message)])
        return None
    quoted = _QUOTED.fullmatch(given.strip())
    if quoted:
        key = re.sub(r'\\(["\\])', r"\1", quoted[1])
    elif _BARE.fullmatch(given.strip()):
        key = given.strip()
    else:
        message = "must be 1 to 255 printable ASCII characters in double quotes"
        raise KeyMalformed.of([Fault(HEADER, given[:60], message)])
    if len(key) > 255:
        raise KeyMalformed.of([Fault(HEADER, given[:60], "must be 255 characters at most")])
    return key


def answer_once(
    make: Callable[[], Response], *, key: str, user: User, request: Request, rights: str
) -> Response:
    """Do what is asked and keep the answer, or repeat the one that was kept.

    A refusal is not kept: it changed nothing, and the same key may be sent again.

    Raises
    ------
    KeyInUse
        If the first request of this key is still running.
    KeyReused
        If the key stands for another request.
    """
    fingerprint = _fingerprint(request, rights)
    claim = uuid4()
    known = _claim(user, key, fingerprint, claim)
    if known.claim != claim:
        return _repeat(known, fingerprint)
    try:
        response = _make_and_keep(make, known.pk, claim)
    except BaseException:
        _release(known.pk, claim)
        raise
    if response.status_code >= 300:
        _release(known.pk, claim)
    return response


def forget_old_answers() -> int:
    """Remove answers and claims that are over; how many."""
    return KeyedAnswer.objects.filter(valid_until__lte=timezone.now()).delete()[0]


def _fingerprint(request: Request, rights: str) -> str:
    data = request.data
    sent = hashlib.sha256(data).hexdigest() if isinstance(data, bytes) else data
    told = [request.method, request.path.rstrip("/"), request.query_params.urlencode(), sent, rights]
    text = json.dumps(told, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _claim(user: User, key: str, fingerprint: str, claim: UUID) -> KeyedAnswer:
    """The row of the key: ours, if nobody's stood; committed, so that others see that it runs."""
    now = timezone.now()
    with transaction.atomic():
        KeyedAnswer.objects.filter(user=user, key=key, valid_until__lte=now).delete()
        row = KeyedAnswer(
            user=user, key=key, fingerprint=fingerprint, claim=claim, valid_until=now + CLAIMED_FOR
        )
        KeyedAnswer.objects.bulk_create([row], ignore_conflicts=True)
    found = KeyedAnswer.objects.filter(user=user, key=key).first()
    if found is None:
        # Whoever held it has just given it back.
        raise _in_use()
    return found


def _repeat(known: KeyedAnswer, fingerprint: str) -> Response:
    if known.fingerprint != fingerprint:
        raise KeyReused(
            "This Idempotency-Key stands for another request: another address, another body or other rights. "
            "Send a new key for a new request."
        )
    if known.status is None:
        raise _in_use()
    return Response(json.loads(known.body), status=known.status, headers=known.headers)


def _make_and_keep(make: Callable[[], Response], pk: int, claim: UUID) -> Response:
    for turn in range(MOST_TURNS):
        try:
            with transaction.atomic():
                response = make()
                if response.status_code >= 300:
                    transaction.set_rollback(True)
                else:
                    _keep(response, pk, claim)
                return response
        except OperationalError as error:
            # What makes entries tries again by itself, but not within a transaction that is not its own.
            if not may_retry(error):
                raise
            pause(turn)
    raise BookBusy("The book is too busy to take this now. Nothing was changed: send it again.")


def _keep(response: Response, pk: int, claim: UUID) -> None:
    headers: dict[str, Any] = {name: response[name] for name in KEPT_HEADERS if response.has_header(name)}
    kept = KeyedAnswer.objects.filter(pk=pk, claim=claim).update(
        status=response.status_code,
        body=JSONRenderer().render(response.data).decode(),
        headers=headers,
        valid_until=timezone.now() + KEPT_FOR,
    )
    if not kept:
        # It took so long that another took the key over; that one does it.
        raise _in_use()


def _release(pk: int, claim: UUID) -> None:
    KeyedAnswer.objects.filter(pk=pk, claim=claim, status=None).delete()


def _in_use() -> KeyInUse:
    return KeyInUse("The first request of this Idempotency-Key is still running. Send it again in a moment.")
