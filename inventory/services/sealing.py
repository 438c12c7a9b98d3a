"""Sealing: what was posted is chained, in the order in which it will be read for good."""

import json
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from inventory.models import ChainHead, DomainEvent, Seal, Unsealed
from inventory.queries.canonical import FORM_VERSION, chain_hash, entry_forms, event_form
from inventory.services.posting.rows import Statement

BATCH = 500


def seal_all() -> int:
    """Seal everything that waits, batch by batch; return how many links were made."""
    total = 0
    while made := seal_batch():
        total += made
    return total


@transaction.atomic
def seal_batch(size: int = BATCH) -> int:
    """Seal up to `size` entries and events in the order they were posted.

    The chain's head is the lock: two sealers take turns, and each continues where the other ended.
    """
    ChainHead.objects.get_or_create(pk=1)
    head = ChainHead.objects.select_for_update().get(pk=1)
    waiting = list(Unsealed.objects.select_related("entry", "event").order_by("pk")[:size])
    forms = entry_forms([row.entry for row in waiting if row.entry is not None])
    sealed_at = timezone.now()
    seals = []
    for row in waiting:
        form = forms[row.entry_id] if row.entry_id is not None else event_form(_event(row))
        head.sequence += 1
        head.hash = chain_hash(head.hash, form, sealed_at)
        seals.append(
            Seal(
                sequence=head.sequence,
                entry_id=row.entry_id,
                event_id=row.event_id,
                form_version=FORM_VERSION,
                hash=head.hash,
                sealed_at=sealed_at,
            )
        )
    if seals:
        Seal.objects.bulk_create(seals)
        Unsealed.objects.filter(pk__in=[row.pk for row in waiting]).delete()
        head.save()
    return len(seals)


@transaction.atomic
def record_event(*, id: UUID, kind: str, occurred_at: datetime, body: dict[str, object]) -> DomainEvent:
    """Note something that other systems want to hear of; the same id again notes nothing."""
    event, is_new = DomainEvent.objects.get_or_create(
        uuid=id, defaults={"kind": kind, "occurred_at": occurred_at, "body": body}
    )
    if is_new:
        Unsealed.objects.create(event=event)
    return event


def event_statements(
    *, id: UUID, kind: str, occurred_at: datetime, body: dict[str, object]
) -> list[Statement]:
    """The same for an id that is new, as statements for whoever writes more in one message."""
    return [
        Statement(
            "INSERT INTO inventory_domainevent (uuid, kind, occurred_at, body) VALUES (%s, %s, %s, %s)",
            [id, kind, occurred_at, json.dumps(body)],
        ),
        Statement(
            "INSERT INTO inventory_unsealed (event_id) SELECT id FROM inventory_domainevent WHERE uuid = %s",
            [id],
        ),
    ]


def _event(row: Unsealed) -> DomainEvent:
    assert row.event is not None
    return row.event
