"""The change feed and webhooks on the wire."""

from typing import Any

from django.db.models import Q

from api.models import WebhookDelivery
from api.wire.calculations.fields import Listing, Record, Schema
from api.wire.filters import Filter, by_word
from api.wire.input_fields import NoteField, UuidField, read_uuid
from api.wire.pages import Order
from api.wire.schemas import FLAG, MOMENT, TEXT, UUID, WHOLE, listing, nullable, of, shape, words

BY_NUMBER = Order("pk", is_number=True)
TARGET = Record(
    fields={
        "id": UuidField(),
        "url": NoteField(longest=500, about="https; where the events are posted"),
        "kinds": Listing(
            item=NoteField(longest=60), most=40, default=(), about="such as entry.receipt; none for all"
        ),
    }
)
REPLAY = Record(
    fields={
        "delivery": NoteField(
            longest=20, default=None, may_be_null=True, about="number of one; all that are parked if left out"
        )
    }
)
DELIVERY_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(WebhookDelivery.State.values), "waiting, delivered or parked"),
    "target": Filter(
        "id of a target", lambda uuid, _viewer: Q(target__uuid=uuid), read_uuid, UUID, "must be a UUID"
    ),
}
_EVENT = shape(id=UUID, kind=TEXT, occurred_at=MOMENT, body={"type": "object"})
COMPONENTS: dict[str, Schema] = {
    "Change": shape(
        sequence=WHOLE,
        cursor=TEXT,
        sealed_at=MOMENT,
        kind=TEXT,
        entry=nullable(of("Entry")),
        event=nullable(_EVENT),
    ),
    "Changes": {
        **shape(results=listing(of("Change")), next_cursor=TEXT, has_more=FLAG),
        "description": "Changes in sealed order. `next_cursor` is always there: ask with it later again.",
    },
    "WebhookTarget": {
        **shape(id=UUID, url=TEXT, kinds=listing(TEXT), is_open=FLAG, told_until=WHOLE, secret=TEXT),
        "description": "`secret` checks the signatures, as the Standard Webhooks specification says.",
    },
    "WebhookDelivery": shape(
        number=WHOLE,
        target=UUID,
        sequence=WHOLE,
        state=words(WebhookDelivery.State),
        attempts=WHOLE,
        next_attempt_at=nullable(MOMENT),
        last_status=nullable(WHOLE),
        last_fault=TEXT,
        delivered_at=nullable(MOMENT),
    ),
}


def request_schemas() -> dict[str, Schema]:
    return {"WebhookTargetRequest": TARGET.schema(), "WebhookReplay": REPLAY.schema()}


def read_number(text: Any) -> int | None:
    """The number of a delivery; -1 for what can be none."""
    if text is None:
        return None
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else -1
