"""The form in which entries and events are hashed: every column of every row, in one fixed spelling.

The version is stored with each seal. A later form gets a number of its own, and seals made with an
earlier one are still checked with that.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from django.db.models import Model

from inventory.models import ContainerChange, CountReading, DomainEvent, Entry, Movement

FORM_VERSION = 1
FIRST_HASH = "0" * 64

_ENTRY_FIELDS = (
    "key", "uuid", "kind", "occurred_at", "recorded_at", "booked_date", "actor_id", "reason", "document",
    "reverses_id", "fingerprint",
)  # fmt: skip
_MOVEMENT_FIELDS = (
    "id", "line", "material_id", "owner_id", "source_place_id", "source_container_id", "target_place_id",
    "target_container_id", "lot_id", "quantity", "value", "purpose", "cause", "effective_at",
    "entered_value", "entered_unit",
)  # fmt: skip
_CHANGE_FIELDS = (
    "id", "container_id", "source_place_id", "target_place_id", "state_before", "state_after",
    "contents_state_before", "contents_state_after",
)  # fmt: skip
_READING_FIELDS = (
    "id", "place_id", "material_id", "owner_id", "container_id", "counted_at", "counted_quantity",
    "book_quantity", "entered_value", "entered_unit",
)  # fmt: skip
_EVENT_FIELDS = ("id", "uuid", "kind", "occurred_at", "body")


def chain_hash(previous: str, form: str, sealed_at: datetime) -> str:
    """Hash of one link: over the hash before it, the moment of sealing and the canonical form."""
    return hashlib.sha256(f"{previous}\n{_plain(sealed_at)}\n{form}".encode()).hexdigest()


def event_form(event: DomainEvent) -> str:
    """Canonical form of an event."""
    return _dump({"event": _columns(event, _EVENT_FIELDS)})


def entry_forms(entries: Sequence[Entry]) -> dict[int, str]:
    """Canonical forms of entries with all that was stated in them, by key; three reads for any number."""
    keys = [entry.key for entry in entries]
    movements = _group(Movement.objects.filter(entry__in=keys).order_by("id"), _MOVEMENT_FIELDS)
    changes = _group(ContainerChange.objects.filter(entry__in=keys).order_by("id"), _CHANGE_FIELDS)
    readings = _group(CountReading.objects.filter(entry__in=keys).order_by("id"), _READING_FIELDS)
    return {
        entry.key: _dump(
            {
                "entry": _columns(entry, _ENTRY_FIELDS),
                "movements": movements.get(entry.key, []),
                "changes": changes.get(entry.key, []),
                "readings": readings.get(entry.key, []),
            }
        )
        for entry in entries
    }


def _group(rows: Iterable[Model], fields: tuple[str, ...]) -> dict[int, list[list[object]]]:
    grouped: dict[int, list[list[object]]] = {}
    for row in rows:
        grouped.setdefault(row.entry_id, []).append(_columns(row, fields))  # type: ignore[attr-defined]
    return grouped


def _columns(row: Model, fields: tuple[str, ...]) -> list[object]:
    return [_plain(getattr(row, name)) for name in fields]


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if value is None or isinstance(value, str | int | dict | list):
        return value
    return str(value)


def _dump(form: dict[str, object]) -> str:
    return json.dumps(form, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
