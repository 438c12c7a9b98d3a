"""Who asks, known to every resolver of one request."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from api.wire.answers import Writer, make_writer
from inventory.models import Actor
from jobs.queries.access import WorkViewer


@dataclass(frozen=True)
class Asking:
    """The reader of one request and how its answers are written.

    `find_actor` gives whom the ledger names for what the reader does, and refuses who has no name there.
    """

    viewer: WorkViewer
    writer: Writer
    find_actor: Callable[[], Actor]

    def money(self, millionths: int | None) -> dict[str, str] | None:
        return self.writer.money(millionths)


def make_asking(viewer: WorkViewer, find_actor: Callable[[], Actor]) -> Asking:
    return Asking(viewer, make_writer(viewer), find_actor)


def asking(info: Any) -> Asking:
    """Who asks, for all fields of one request."""
    found: Asking = info.context
    return found
