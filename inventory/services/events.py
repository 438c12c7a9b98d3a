"""Facts that move no goods and that other systems want to hear of, sealed in one order with the entries."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from inventory.models import DomainEvent, Unsealed


@transaction.atomic
def record_event(*, uuid: UUID, kind: str, occurred_at: datetime, body: dict[str, Any]) -> DomainEvent:
    """Write the event and queue it for sealing. Sending the same id again gives the first one back."""
    event, is_new = DomainEvent.objects.get_or_create(
        uuid=uuid, defaults={"kind": kind, "occurred_at": occurred_at, "body": body}
    )
    if is_new:
        Unsealed.objects.create(event=event)
    return event
