"""What may be done, declared once for every door: what is sent, the one call it becomes, what is answered.

REST puts an act at an address, GraphQL makes a mutation of it; both read it with the same record.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from api.wire.calculations.fields import Record, Schema
from api.wire.entry_requests import refuse_ahead
from api.wire.references import resolve
from api.wire.truck_requests import read_record
from inventory.models import Actor
from inventory.queries.recorded import is_recorded_by
from jobs.queries.access import WorkViewer

Json = dict[str, Any]


@dataclass(frozen=True)
class Asker:
    """Who sent an act, and when it came."""

    viewer: WorkViewer
    by: Actor
    now: datetime


@dataclass(frozen=True, kw_only=True)
class Act:
    """One act. `names` are the parts of its address, which come to `do` beside the fields of the record.

    `request` and `answer` name components of the published schema; an act of which nothing is sent has no
    request. `current` gives the record as it stands,
    for an act that changes one: its sender says which version it saw. `current_of` gives the one that the
    names tell, or None while there is none.
    """

    name: str
    summary: str
    record: Record
    request: str
    answer: str
    do: Callable[[Json, Asker], Json]
    status: int = 201
    names: tuple[str, ...] = ()
    current: Callable[[], Json] | None = None
    current_of: Callable[[Json, WorkViewer], Json | None] | None = None

    def find_current(self, names: Json, viewer: WorkViewer) -> Json | None:
        """The record that the act changes, as it stands now."""
        if self.current is not None:
            return self.current()
        return self.current_of(names, viewer) if self.current_of is not None else None

    def run(self, data: Any, names: Json, asker: Asker) -> Json:
        """Read the request, look up what it names and do it."""
        values = read_record(self.record, data)
        refuse_ahead(values, asker.now)
        sender = _as_sender(asker, values)
        return self.do({**resolve(values, viewer=sender.viewer), **names}, sender)


def _as_sender(asker: Asker, values: Json) -> Asker:
    """The sender with what it did before under this id: a drum may have left its sight since."""
    id = values.get("id")
    is_repeat = id is not None and is_recorded_by(asker.by, id)
    tells_past = is_repeat or bool(values.get("as_report"))
    return replace(asker, viewer=replace(asker.viewer, is_repeat=is_repeat, tells_past=tells_past))


def request_schemas(acts: Iterable[Act]) -> dict[str, Schema]:
    """What is sent, for the published schema."""
    return {act.request: act.record.schema() for act in acts if act.request}
