"""Sending goods off: they leave their place and are on the way."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Place, Shipment, ShipmentLine
from inventory.queries.holdings import list_bins
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.goods import transfer
from inventory.services.lines import Line, require_kind
from inventory.services.posting import End
from inventory.units import Amount

STORES = frozenset({Place.Kind.WAREHOUSE, Place.Kind.BIN, Place.Kind.SITE})


@dataclass(frozen=True)
class SentLine:
    """So much of a material sent without a vessel, out of a place or of a lot that lies in it."""

    material: Material
    amount: Amount
    place: Place
    lot: Container | None = None


def send_shipment(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    source: Place,
    target: Place,
    lines: Sequence[SentLine] = (),
    containers: Sequence[Container] = (),
    expected_date: date | None = None,
    note: str = "",
) -> Shipment:
    """Send goods, and whole containers with all they hold, to another of our places.

    They lie in a transit place of the shipment's own until they are unloaded. The same again gives the first
    shipment.

    Raises
    ------
    NotEnoughHeld, PromisedToAnother
        If the goods are not there to be sent.
    """
    fingerprint = fingerprint_of(
        source=source,
        target=target,
        occurred_at=occurred_at,
        lines=[[line.material, line.amount, line.place, line.lot] for line in lines],
        containers=list(containers),
        expected_date=expected_date,
        note=note,
    )

    def make() -> Shipment:
        _check(source, target, lines, containers)
        shipment = Shipment(
            uuid=id,
            # Unique until the row has a number of its own.
            reference=id.hex,
            source=source,
            target=target,
            sent_at=occurred_at,
            sent_by=by,
            expected_date=expected_date,
            note=note,
            fingerprint=fingerprint,
        )
        _load(shipment, lines, containers)
        return shipment

    return take_once(Shipment, id=id, by=by, author="sent_by", fingerprint=fingerprint, make=make)


def _load(shipment: Shipment, lines: Sequence[SentLine], containers: Sequence[Container]) -> None:
    """Put the goods on the way, and keep the shipment with its lines."""
    transit = Place.objects.create(
        code=f"{Place.Kind.TRANSIT.value}:{shipment.uuid.hex}",
        name=f"On the way, {shipment.source.name} to {shipment.target.name}"[:200],
        kind=Place.Kind.TRANSIT,
    )
    entry = transfer(
        id=step_id(shipment.uuid, "sent"),
        by=shipment.sent_by,
        occurred_at=shipment.sent_at,
        lines=[
            Line(line.material, line.amount, End(line.place, line.lot), End(transit, line.lot))
            for line in lines
        ],
        containers=[(container, transit) for container in containers],
        reason=shipment.note,
        document=f"shipment:{shipment.uuid}",
    )
    shipment.transit, shipment.entry = transit, entry
    shipment.save()
    shipment.reference = f"S-{shipment.pk:05d}"
    shipment.save(update_fields=["reference"])
    _save_lines(shipment, entry, containers)


def _check(source: Place, target: Place, lines: Sequence[SentLine], containers: Sequence[Container]) -> None:
    require_kind(source, STORES, pointer="/source")
    require_kind(target, STORES, pointer="/target")
    if source == target:
        raise BadInput.of([Fault("/target", target.code, "is where the goods are; name another place")])
    if not lines and not containers:
        raise BadInput.of([Fault("/lines", "", "is empty; send at least one line or container")])
    inside = set(list_bins(source))
    faults = [
        Fault(f"/containers/{number}", container.label, f"does not stand in {source.name}")
        for number, container in enumerate(containers)
        if container.place_id not in inside
    ]
    faults += [
        Fault(f"/lines/{number}/place", line.place.code, f"is not in {source.name}")
        for number, line in enumerate(lines)
        if line.place.pk not in inside
    ]
    if faults:
        raise BadInput.of(faults)


def _save_lines(shipment: Shipment, entry: Entry, containers: Sequence[Container]) -> None:
    """What was loaded as the book took it: goods by material, owner and container, then empty containers."""
    sums: dict[tuple[int, int, int | None], int] = {}
    moved = entry.movements.filter(target_place=shipment.transit).order_by("line")
    for movement in moved.filter(purpose=Movement.Purpose.MOVED):
        key = (movement.material_id, movement.owner_id, movement.target_container_id)
        sums[key] = sums.get(key, 0) + movement.quantity
    rows = [
        ShipmentLine(material_id=material, owner_id=owner, container_id=container, quantity=quantity)
        for (material, owner, container), quantity in sums.items()
    ]
    filled = {container for _material, _owner, container in sums}
    rows += [
        ShipmentLine(owner_id=container.owner_id, container=container, quantity=0)
        for container in containers
        if container.pk not in filled
    ]
    for position, row in enumerate(rows, start=1):
        row.shipment, row.position = shipment, position
    ShipmentLine.objects.bulk_create(rows)
