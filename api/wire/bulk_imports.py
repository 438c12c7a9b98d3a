"""Imports and their rows on the wire."""

from datetime import datetime
from typing import Any

from api.models import BulkImport, ImportedRow
from api.wire.filters import Filter, by_word
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import MOMENT, TEXT, UUID, WHOLE, Schema, listing, nullable, shape, words

BY_ARRIVAL = Order("pk", is_number=True)
BY_LINE = Order("line", is_number=True)
STATES = ("waiting", "running", "done", "refused", "given_up")
IMPORT_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(BulkImport.Kind.values), "what is imported"),
}
ROW_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(ImportedRow.State.values), "what became of the row"),
}
COMPONENTS: dict[str, Schema] = {
    "Import": {
        **shape(
            id=UUID,
            kind=words(BulkImport.Kind),
            name=TEXT,
            asked_by=TEXT,
            asked_at=MOMENT,
            state={"type": "string", "enum": list(STATES)},
            doing=TEXT,
            rows_done=WHOLE,
            rows=nullable(WHOLE),
            refused_rows=WHOLE,
            finished_at=nullable(MOMENT),
            refusal=nullable(shape(code=TEXT, message=TEXT)),
            answer=nullable({"type": "object"}),
        ),
        "description": (
            "A file that is taken in the background. Spans, crew-days and stock are taken whole or not "
            "at all, field reports one by one. `rows` is known once the file was read, `answer` says what "
            "was done."
        ),
    },
    "ImportRow": {
        **shape(
            line=WHOLE,
            state=words(ImportedRow.State),
            refusal=nullable(shape(code=TEXT, message=TEXT)),
            faults=listing(shape(field=TEXT, value=TEXT, remedy=TEXT)),
        ),
        "description": "A row by its line, or 0 for the file as a whole. Each fault says how to mend it.",
    },
}


def import_json(row: Any, *, most_attempts: int, now: datetime) -> dict[str, Any]:
    """An import with how far it is; annotated with its refused rows."""
    return {
        "id": str(row.uuid),
        "kind": row.kind,
        "name": row.name,
        "asked_by": row.asked_by.code,
        "asked_at": row.asked_at.isoformat(),
        "state": _state(row, most_attempts, now),
        "doing": row.doing,
        "rows_done": row.rows_done,
        "rows": row.row_count,
        "refused_rows": row.refused_count,
        "finished_at": moment_json(row.finished_at),
        "refusal": _refusal_json(row),
        "answer": row.answer,
    }


def import_row_json(row: ImportedRow) -> dict[str, Any]:
    return {"line": row.line, "state": row.state, "refusal": _refusal_json(row), "faults": row.faults}


def _refusal_json(row: BulkImport | ImportedRow) -> dict[str, str] | None:
    return {"code": row.refusal_code, "message": row.refusal} if row.refusal_code else None


def _state(row: BulkImport, most_attempts: int, now: datetime) -> str:
    if row.finished_at is not None:
        return "refused" if row.refusal_code else "done"
    if row.taken_until is not None and row.taken_until > now:
        return "running"
    return "given_up" if row.attempts >= most_attempts else "waiting"
