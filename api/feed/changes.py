"""The change feed: seals in their order. What is read once is never joined by an earlier one later.

A cursor is a place on the chain, sequence and hash. One that is not on the chain any more belongs to a book
that was restored from a copy or changed, and is refused, so that the reader knows that it must start anew.
"""

from dataclasses import dataclass
from typing import Any

from api.feed.errors import CursorGone
from api.wire.answers import entry_json, make_writer
from api.wire.moments import moment_json
from inventory.errors import BadInput
from inventory.models import Entry, Seal
from inventory.queries.access import NotAllowed, Viewer, visible_entries, with_lines
from inventory.queries.chain_heads import START, KeptHead, is_on_chain, read_head


@dataclass(frozen=True)
class Changes:
    """Some changes in order, and where to read on."""

    seals: list[Seal]
    next_cursor: str
    has_more: bool


def require_may_follow(viewer: Viewer) -> None:
    """Refuse who sees less than the whole book: gaps could not be told from what was never there."""
    if viewer.places is not None or not viewer.may_see_money:
        raise NotAllowed("The feed tells of the whole book, money included; your role sees a part of it.")


def read_changes(*, after: str | None, limit: int) -> Changes:
    """The next changes after a cursor, oldest first.

    Raises
    ------
    CursorGone
        If the cursor is not on the chain.
    """
    cursor = after or str(START)
    rows = Seal.objects.filter(sequence__gt=_find_place(cursor)).select_related("event")
    found = list(rows.order_by("sequence")[: limit + 1])
    seals = found[:limit]
    return Changes(seals, make_cursor(seals[-1]) if seals else cursor, len(found) > limit)


def make_cursor(seal: Seal) -> str:
    return str(KeptHead(seal.sequence, seal.hash))


def changes_json(seals: list[Seal], viewer: Viewer) -> list[dict[str, Any]]:
    """Changes as they are written; a number of queries that does not grow with them."""
    keys = [seal.entry_id for seal in seals if seal.entry_id is not None]
    entries = {row.pk: row for row in with_lines(visible_entries(viewer).filter(pk__in=keys), viewer)}
    writer = make_writer(viewer)
    found = []
    for seal in seals:
        entry, event = entries.get(seal.entry_id or 0), seal.event
        found.append(
            {
                "sequence": seal.sequence,
                "cursor": make_cursor(seal),
                "sealed_at": moment_json(seal.sealed_at),
                "kind": kind_of(entry, event),
                "entry": entry_json(entry, writer) if entry is not None else None,
                "event": None
                if event is None
                else {
                    "id": str(event.uuid),
                    "kind": event.kind,
                    "occurred_at": moment_json(event.occurred_at),
                    "body": event.body,
                },
            }
        )
    return found


def kind_of(entry: Entry | None, event: Any) -> str:
    """What a receiver chooses by: the kind of an entry, or of an event."""
    if entry is not None:
        return f"entry.{entry.kind}"
    return f"event.{event.kind}"


def _find_place(cursor: str) -> int:
    try:
        head = read_head(cursor)
    except BadInput:
        raise CursorGone("The cursor was not given out by this feed. Start again without one.") from None
    if not is_on_chain(head):
        raise CursorGone("The book's chain does not hold this cursor any more. Start again without one.")
    return head.sequence
