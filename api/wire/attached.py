"""Documents on the wire."""

from typing import Any

from django.db.models import Q

from api.wire.answers import named_json
from api.wire.filters import Filter, by_word
from api.wire.input_fields import read_uuid
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import MOMENT, TEXT, UUID, WHOLE, Schema, nullable, of, shape
from jobs.models import AttachedDocument, StoredFile
from jobs.queries.attached import THINGS

BY_ARRIVAL = Order("pk", is_number=True)
WORDS = list(THINGS)
DOCUMENT_FILTERS: dict[str, Filter] = {
    "of": Filter(
        "what sort of thing they hang on",
        lambda word, _viewer: Q(**{f"{THINGS[word][0]}__isnull": False}),
        lambda text: text if text in THINGS else None,
        {"type": "string", "enum": WORDS},
        f"must be one of {', '.join(WORDS)}",
    ),
    "on": Filter(
        "id, code or number of the thing",
        lambda name, _viewer: _is_on(name),
        schema={"type": "string", "minLength": 1},
    ),
    "media_type": by_word("file__media_type", list(StoredFile.Type.values), "photo, picture or paper"),
}
COMPONENTS: dict[str, Schema] = {
    "Document": {
        **shape(
            id=UUID,
            of={"type": "string", "enum": WORDS},
            on=TEXT,
            name=TEXT,
            media_type=TEXT,
            size=WHOLE,
            width=nullable(WHOLE),
            height=nullable(WHOLE),
            sha256=TEXT,
            sent_sha256=TEXT,
            by=of("Named"),
            recorded_at=MOMENT,
        ),
        "description": "A file on something. `sha256` is of what is kept, `sent_sha256` of what was sent.",
    }
}


def document_json(row: AttachedDocument) -> dict[str, Any]:
    word, name = _thing_of(row)
    return {
        "id": str(row.uuid),
        "of": word,
        "on": name,
        "name": row.name,
        "media_type": row.file.media_type,
        "size": row.file.size,
        "width": row.file.width,
        "height": row.file.height,
        "sha256": row.file.sha256,
        "sent_sha256": row.sent_sha256,
        "by": named_json(row.by),
        "recorded_at": moment_json(row.recorded_at),
    }


def _thing_of(row: AttachedDocument) -> tuple[str, str]:
    for word, (column, _things, key) in THINGS.items():
        thing = getattr(row, column)
        if thing is not None:
            return word, str(getattr(thing, key))
    raise AssertionError("a document hangs on one thing")


def _is_on(name: str) -> Q:
    found, uuid = Q(material__code=name) | Q(manifest__number=name), read_uuid(name)
    if uuid is not None:
        for column in ("report", "incident", "receipt"):
            found |= Q(**{f"{column}__uuid": uuid})
    return found
