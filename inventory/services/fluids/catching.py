"""Fluid that comes back from spans and runs, caught and swept kept apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from inventory.models import Actor, Container, Entry, FluidCatch
from inventory.services.conversions import Caught, recover


@dataclass(frozen=True)
class Returned:
    """Fluid that came back, and how: caught while the core moved, or swept out of a run."""

    caught: Caught
    kind: FluidCatch.Kind


@transaction.atomic
def take_back(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    returned: Sequence[Returned],
    reason: str = "",
    document: str = "",
) -> Entry:
    """Post fluid as recovered, as `recover` does, and keep how it came back.

    Nothing is refused for mixing: it has happened. What was swept into a catch of bypass makes it swept.
    """
    entry = recover(
        id=id,
        by=by,
        occurred_at=occurred_at,
        caught=[line.caught for line in returned],
        reason=reason,
        document=document,
    )
    note_catches(entry=entry, kinds=[(line.caught.target.container, line.kind) for line in returned])
    return entry


def note_catches(*, entry: Entry, kinds: Sequence[tuple[Container | None, FluidCatch.Kind]]) -> None:
    """Keep, for an entry that recovered fluid, how it came into each container; again, it changes nothing."""
    by_container: dict[int, FluidCatch.Kind] = {}
    for container, kind in kinds:
        if container is not None:
            swept = FluidCatch.Kind.SWEPT
            known = by_container.get(container.pk)
            by_container[container.pk] = swept if swept in {known, kind} else kind
    FluidCatch.objects.bulk_create(
        [FluidCatch(entry=entry, container_id=key, kind=kind) for key, kind in by_container.items()],
        ignore_conflicts=True,
    )
