"""Which entries the book has already."""

from collections.abc import Collection
from uuid import UUID

from inventory.models import Actor, Entry

IDS_AT_ONCE = 1_000


def find_recorded(ids: Collection[UUID]) -> set[UUID]:
    """Of these ids those under which an entry is recorded."""
    listed = list(ids)
    found: set[UUID] = set()
    for start in range(0, len(listed), IDS_AT_ONCE):
        rows = Entry.objects.filter(uuid__in=listed[start : start + IDS_AT_ONCE])
        found.update(rows.values_list("uuid", flat=True))
    return found


def is_recorded_by(actor: Actor, id: UUID) -> bool:
    """Whether this actor made an entry under the id; what others made is not told."""
    return Entry.objects.filter(uuid=id, actor=actor).exists()
