"""Who asks, known to every resolver of one request."""

from dataclasses import dataclass
from typing import Any

from api.wire.answers import Writer, make_writer
from jobs.queries.access import WorkViewer


@dataclass(frozen=True)
class Asking:
    """The reader of one request and how its answers are written."""

    viewer: WorkViewer
    writer: Writer

    def money(self, millionths: int | None) -> dict[str, str] | None:
        return self.writer.money(millionths)


def make_asking(viewer: WorkViewer) -> Asking:
    return Asking(viewer, make_writer(viewer))


def asking(info: Any) -> Asking:
    """Who asks, for all fields of one request."""
    found: Asking = info.context
    return found
