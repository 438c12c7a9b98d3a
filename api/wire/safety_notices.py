"""What waits for somebody of safety, as it is answered."""

from typing import get_args

from api.wire.acts import Json
from api.wire.calculations.fields import Schema
from api.wire.moments import moment_json
from api.wire.schemas import DAY, MOMENT, TEXT, nullable, shape
from inventory.queries.company import get_today
from jobs.queries.access import WorkViewer, require_sees_all_work
from jobs.queries.safety_notices import Kind, Notice, list_safety_notices

COMPONENTS: dict[str, Schema] = {
    "SafetyNotice": shape(
        kind={"type": "string", "enum": list(get_args(Kind))},
        id=TEXT,
        sentence=TEXT,
        happened_at=nullable(MOMENT),
        due_date=nullable(DAY),
    )
}


def safety_notices_json(viewer: WorkViewer) -> list[Json]:
    """All of them, for who sees the work of all crews."""
    require_sees_all_work(viewer)
    return [_notice_json(row) for row in list_safety_notices(on_date=get_today())]


def _notice_json(row: Notice) -> Json:
    return {
        "kind": row.kind,
        "id": row.id,
        "sentence": row.sentence,
        "happened_at": moment_json(row.happened_at),
        "due_date": row.due_date.isoformat() if row.due_date is not None else None,
    }
