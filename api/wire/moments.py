"""Moments on the wire: RFC 3339; with any offset when sent, in UTC when written."""

from datetime import UTC, datetime


def moment_json(moment: datetime | None) -> str | None:
    """A moment in UTC."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z") if moment else None
