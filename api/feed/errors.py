"""Refusals of the feed."""

from inventory.errors import SpanstockError


class CursorGone(SpanstockError):
    """The cursor is not on this book's chain: start again without one."""

    code = "cursor_gone"
