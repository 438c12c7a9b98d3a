"""Shipments between warehouses as JSON, with the shapes that are published of them."""

from collections.abc import Sequence

from api.wire.amounts import quantity_json
from api.wire.answers import Json, named_json, place_name_json
from api.wire.moments import moment_json
from api.wire.schemas import (
    DAY,
    MOMENT,
    TEXT,
    UUID,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
    words,
)
from inventory.models import Shipment, ShipmentDifference, ShipmentLine
from inventory.services.shipments.arriving import find_differences

COMPONENTS: dict[str, Schema] = {
    "Shipment": shape(
        id=UUID,
        reference=TEXT,
        source=of("PlaceName"),
        target=of("PlaceName"),
        state=words(Shipment.State),
        sent_at=MOMENT,
        sent_by=of("Named"),
        expected_date=nullable(DAY),
        note=TEXT,
        lines=listing(of("ShipmentLine")),
    ),
    "ShipmentLine": shape(
        position=WHOLE,
        material=nullable(of("Named")),
        owner=of("Named"),
        container=nullable(TEXT),
        sent=nullable(of("Quantity")),
        arrived=nullable(of("Quantity")),
        differs=nullable(of("Quantity")),
        named=listing(of("ShipmentDifference")),
    ),
    "ShipmentDifference": shape(
        id=UUID,
        reason=words(ShipmentDifference.Reason),
        cause=TEXT,
        quantity=of("Quantity"),
        by=of("Named"),
        note=TEXT,
    ),
}


def shipments_json(shipments: Sequence[Shipment]) -> list[Json]:
    rows = (
        ShipmentLine.objects.filter(shipment__in=[row.pk for row in shipments])
        .select_related("material", "owner", "container")
        .prefetch_related("arrived", "differences__by")
    )
    left = find_differences(list(rows))
    lines: dict[int, list[Json]] = {row.pk: [] for row in shipments}
    for row in rows:
        unit = row.material.stock_unit if row.material else None
        arrived = sum(part.quantity for part in row.arrived.all())

        def amount(value: int, unit: str | None = unit) -> Json | None:
            return quantity_json(value, unit) if unit else None

        lines[row.shipment_id].append(
            {
                "position": row.position,
                "material": named_json(row.material) if row.material else None,
                "owner": named_json(row.owner),
                "container": row.container.label if row.container else None,
                "sent": amount(row.quantity),
                "arrived": amount(arrived),
                "differs": amount(left[row.pk]),
                "named": [
                    {
                        "id": str(part.uuid),
                        "reason": part.reason,
                        "cause": part.cause,
                        "quantity": amount(part.quantity),
                        "by": named_json(part.by),
                        "note": part.note,
                    }
                    for part in row.differences.all()
                ],
            }
        )
    return [
        {
            "id": str(row.uuid),
            "reference": row.reference,
            "source": place_name_json(row.source),
            "target": place_name_json(row.target),
            "state": row.state,
            "sent_at": moment_json(row.sent_at),
            "sent_by": named_json(row.sent_by),
            "expected_date": row.expected_date.isoformat() if row.expected_date else None,
            "note": row.note,
            "lines": lines[row.pk],
        }
        for row in shipments
    ]
