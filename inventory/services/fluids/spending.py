"""Fluid that is spent: never injected again, gathered as waste, handed over under a manifest."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from inventory.models import Actor, Container, Entry
from inventory.services.fluids.contents import change_contents, get_recovered_contents, was_taken
from inventory.services.waste import start_waste_drum

State = Container.ContentsState


@transaction.atomic
def spend(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    container: Container,
    reason: str,
    day_limit: int | None = None,
) -> Entry:
    """Declare what is in a container spent; from that day it gathers waste, with so many days to go."""
    if not was_taken(by, id):
        get_recovered_contents(container)
    entry = change_contents(
        id=id,
        by=by,
        occurred_at=occurred_at,
        containers=[container],
        contents_state=State.SPENT,
        reason=reason or "spent",
    )
    start_waste_drum(container=container, by=by, occurred_at=occurred_at, day_limit=day_limit)
    return entry
