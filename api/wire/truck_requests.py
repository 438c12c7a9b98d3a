"""What a client sends about a whole truck: moved to another vehicle, handed over, bought at a counter."""

from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Field, Flag, Record, Schema
from api.wire.entry_requests import AMOUNT, AMOUNT_OR_REST, CONTAINER, MATERIAL, PLACE, listing
from api.wire.input_fields import MomentField, NoteField, PriceField, ReferenceField, UuidField
from inventory.errors import BadInput, Fault
from inventory.models import Place
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine

Values = dict[str, Any]
HEAD: dict[str, Field] = {"id": UuidField(), "occurred_at": MomentField(), "note": NoteField(default="")}
VEHICLE_MOVE = Record(fields={"id": UuidField(), "occurred_at": MomentField(), "vehicle": PLACE})
HAND_OVER = Record(
    fields={
        **HEAD,
        "source": PLACE,
        "target": PLACE,
        "lines": listing(material=MATERIAL, amount=AMOUNT_OR_REST, container=CONTAINER),
        "containers": listing(container=ReferenceField(noun="container")),
    }
)
ANSWER = Record(fields={"occurred_at": MomentField(), "is_confirmed": Flag(), "note": NoteField(default="")})
PURCHASE = Record(
    fields={
        **HEAD,
        # Any counter may be named: that a supplier exists is no secret to who stands in its shop.
        "supplier": NoteField(longest=160),
        "vehicle": PLACE,
        "ticket_number": NoteField(longest=100),
        "lines": listing(
            material=MATERIAL, amount=AMOUNT, cost=PriceField(about="of the whole line, as on the ticket")
        ),
    }
)


def read_record(record: Record, data: Any) -> Values:
    """The values of a request, names not looked up yet; every fault is named by its pointer."""
    faults = Faults()
    values = record.read(data, Pointer(), faults)
    faults.raise_if_any()
    assert values is not None
    return values


def make_hand_over(values: Values) -> Values:
    """A hand-over as the service takes it: lines from truck to truck, and containers that go whole."""
    source, target = values["source"], values["target"]
    lines = [
        Line(row["material"], row["amount"], End(source, row["container"]), End(target))
        for row in values["lines"]
    ]
    return {**values, "lines": lines, "containers": [row["container"] for row in values["containers"]]}


def make_purchase(values: Values) -> Values:
    """A purchase as the service takes it, everything loose on the truck."""
    supplier = Place.objects.filter(code=values["supplier"], kind=Place.Kind.SUPPLIER).first()
    if supplier is None:
        raise BadInput.of([Fault("/supplier", values["supplier"], "there is no supplier of that name")])
    target = End(values["vehicle"])
    lines = [ReceiptLine(row["material"], row["amount"], target, row["cost"]) for row in values["lines"]]
    return {**values, "supplier": supplier, "lines": lines}


def request_schemas() -> dict[str, Schema]:
    """The published shapes of what is sent."""
    return {
        "HandOverRequest": {"title": "hand-over from truck to truck", **HAND_OVER.schema()},
        "HandOverAnswer": {"title": "the receiver's answer", **ANSWER.schema()},
        "PurchaseRequest": {"title": "purchase at a counter", **PURCHASE.schema()},
        "VehicleMoveRequest": {"title": "everything moved to another vehicle", **VEHICLE_MOVE.schema()},
    }
