"""Acts on what is held back."""

from typing import Any
from uuid import uuid4

from inventory.models import Container
from inventory.services.quarantining import open_quarantine
from tests.api.acts.case import ActCase, Json, head
from tests.factories.accounts import Office
from tests.factories.inventory import at


def a_quarantine(office: Office, **fields: Any) -> Json:
    return {**head(), "container": "D-north", "reason": "smells of diesel", **fields}


def a_foreign_quarantine(office: Office) -> Json:
    return a_quarantine(office, container="D-south")


def a_lift(office: Office, **fields: Any) -> Json:
    return {**head(), "reason": "sample is fine", **fields}


def opened_quarantine(office: Office, label: str = "D-north", **fields: Any) -> Json:
    """The name of a quarantine that stands."""
    made = open_quarantine(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(1),
        container=Container.objects.get(label=label),
        reason="rust in it",
        **fields,
    )
    return {"quarantine": str(made.uuid)}


QUARANTINE_ACTS: dict[str, ActCase] = {
    "hold": ActCase(
        "openQuarantine",
        "quarantines",
        a_quarantine,
        (401, 201, 201, 403, 403, 201, 201),
        result="quarantine { id }",
    ),
    "hold another's": ActCase(
        "openQuarantine", "quarantines", a_foreign_quarantine, (401, 201, 400, 403, 403, 201, 201)
    ),
    "lift": ActCase(
        "liftQuarantine",
        "quarantines/{quarantine}/lift",
        a_lift,
        (401, 403, 403, 403, 403, 200, 403),
        names=opened_quarantine,
    ),
    "lift another's": ActCase(
        "liftQuarantine",
        "quarantines/{quarantine}/lift",
        a_lift,
        (401, 403, 404, 403, 403, 200, 403),
        names=lambda office: opened_quarantine(office, "D-south"),
    ),
}
