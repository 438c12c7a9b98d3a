"""Signing in, as it is sent and as it is answered."""

from api.models import User
from api.wire.calculations.fields import Record, Schema
from api.wire.input_fields import NoteField
from api.wire.schemas import MOMENT, TEXT, listing, nullable, shape, words

PASSWORD = NoteField(longest=200)
SIGN_IN = Record(fields={"name": NoteField(longest=150), "password": PASSWORD})
PASSWORD_CHANGE = Record(fields={"current": PASSWORD, "new": PASSWORD})
COMPONENTS: dict[str, Schema] = {
    "Session": {
        **shape(
            name=TEXT,
            role=words(User.Role),
            crew=nullable(TEXT),
            warehouses=listing(TEXT),
            scopes=nullable(listing(TEXT)),
            ends_at=MOMENT,
            csrf_token=nullable(TEXT),
        ),
        "description": "Who is signed in. A person's writes carry `csrf_token` in the header X-CSRFToken.",
    },
}


def request_schemas() -> dict[str, Schema]:
    return {"SignIn": SIGN_IN.schema(), "PasswordChange": PASSWORD_CHANGE.schema()}
