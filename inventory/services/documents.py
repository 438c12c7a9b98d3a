"""Documents that a client makes under an id of its own: taken once, whoever sends them again.

Entries have this from posting. Orders, receipts, shipments and count sheets are rows of their own beside the
book and keep a fingerprint of what was asked in the same way.
"""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.db import IntegrityError, OperationalError, connection, transaction
from django.db.models import Model

from inventory.errors import SpanstockError
from inventory.models import Actor
from inventory.services.posting.errors import BookBusy
from inventory.services.posting.retries import may_retry, pause
from inventory.units import Amount

MOST_TURNS = 20
Document = TypeVar("Document", bound=Model)


class DocumentConflict(SpanstockError):
    """The id was used before, for something else or by someone else."""

    code = "document_conflict"


class StaleVersion(SpanstockError):
    """The record was changed since it was read: read it again and decide anew."""

    code = "stale_version"


def fingerprint_of(**fields: Any) -> str:
    """Hash of what the client decides. Records stand by their keys, so that a renamed one stays itself."""
    return hashlib.sha256(json.dumps(_plain(fields), sort_keys=True).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, Model):
        # A container that comes with a receipt has a label before it has a key.
        return getattr(value, "label", None) or [value._meta.label_lower, value.pk]
    if isinstance(value, Amount):
        return [str(value.value), value.unit]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def step_id(document: UUID, step: str) -> UUID:
    """The id of an entry that a document makes: the same for the same step, however often it is taken."""
    return uuid5(document, step)


def take_once(
    model: type[Document],
    *,
    id: UUID,
    by: Actor,
    author: str,
    fingerprint: str,
    make: Callable[[], Document],
) -> Document:
    """Return the document of this id, made now or the first time; `author` is the column of who made it.

    Raises
    ------
    DocumentConflict
        If the id stands for something else, or for another's document.
    """
    for turn in range(MOST_TURNS):
        known = _find_known(model, id, by, author, fingerprint)
        if known is not None:
            return known
        try:
            with transaction.atomic():
                return make()
        except IntegrityError:
            # Another request took the same id between our look and our write: look again, once.
            if turn:
                raise
        except OperationalError as error:
            # Posting tries again by itself, but not within a transaction that is not its own.
            if connection.in_atomic_block or not may_retry(error):
                raise
            pause(turn)
    raise BookBusy("The book is too busy to take this now. Nothing was changed: send it again.")


def _find_known(model: type[Document], id: UUID, by: Actor, author: str, fingerprint: str) -> Document | None:
    known: Any = model._default_manager.filter(uuid=id).first()
    if known is None:
        return None
    if getattr(known, f"{author}_id") != by.pk:
        # Nothing about someone else's document is told, not even what it was.
        raise DocumentConflict(f"The id {id} is taken. Use a new one.")
    if known.fingerprint != fingerprint:
        noun = model._meta.verbose_name
        raise DocumentConflict(f"The id {id} was used for another {noun}. Use a new id for this one.")
    found: Document = known
    return found
