"""Unloading what was sent, and naming what did not arrive as it was sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import (
    Actor,
    ArrivedLine,
    Entry,
    Holding,
    Movement,
    Place,
    Shipment,
    ShipmentArrival,
    ShipmentDifference,
    ShipmentLine,
)
from inventory.services.counts import Found, count
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.goods import transfer
from inventory.services.lines import Line, stored_quantity
from inventory.services.posting import End
from inventory.services.posting.book import find_effects_after
from inventory.services.posting.keys import HeadKey, HoldingKey
from inventory.units import Amount, format_millionths, from_millionths

Reason = ShipmentDifference.Reason
State = Shipment.State


class ShipmentClosed(SpanstockError):
    """Nothing of the shipment is on the way any longer."""

    code = "shipment_closed"


@dataclass(frozen=True)
class Unloaded:
    """How much of a line was unloaded, and where it was put; the shipment's target where nothing is said."""

    position: int
    amount: Amount | None = None
    place: Place | None = None


def receive_shipment(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    shipment: Shipment,
    unloaded: Sequence[Unloaded],
    is_last: bool = False,
    note: str = "",
) -> ShipmentArrival:
    """Record what was unloaded, as it was found. A line without an amount came as it was sent.

    More than was sent is taken too: the book is short at the source, and the difference waits for a name.
    After the last arrival what is missing waits for one in the same way. The same again gives the first
    answer.
    """
    fingerprint = fingerprint_of(
        shipment=shipment,
        occurred_at=occurred_at,
        unloaded=[[row.position, row.amount, row.place] for row in unloaded],
        is_last=is_last,
        note=note,
    )

    def make() -> ShipmentArrival:
        standing = (
            Shipment.objects.select_for_update(of=("self",)).select_related("target").get(pk=shipment.pk)
        )
        if standing.state not in Shipment.OPEN:
            raise ShipmentClosed(
                f"{standing} is {standing.get_state_display()}: nothing of it is on the way."
            )
        lines = _lines_of(standing)
        amounts = _read(unloaded, lines)
        entry = _unload(id, by, occurred_at, standing, lines, unloaded, amounts, note)
        arrival = ShipmentArrival.objects.create(
            uuid=id,
            shipment=standing,
            entry=entry,
            occurred_at=occurred_at,
            by=by,
            is_last=is_last,
            note=note,
            fingerprint=fingerprint,
        )
        ArrivedLine.objects.bulk_create(
            ArrivedLine(
                arrival=arrival,
                line=lines[row.position],
                quantity=amounts[row.position],
                entered_value=f"{row.amount.value:f}" if row.amount else "",
                entered_unit=row.amount.unit if row.amount else "",
            )
            for row in unloaded
        )
        refresh_shipment(standing)
        return arrival

    return take_once(ShipmentArrival, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def name_difference(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    line: ShipmentLine,
    reason: str,
    cause: str = "",
    note: str = "",
) -> ShipmentDifference:
    """Say why a line did not arrive as it was sent; the goods follow what is said.

    What was miscounted or left behind lies at the source still; what was lost or damaged goes to the book's
    differences. More than was sent can only have been miscounted. The same again gives the first answer.
    """
    fingerprint = fingerprint_of(line=line, occurred_at=occurred_at, reason=reason, cause=cause, note=note)

    def make() -> ShipmentDifference:
        shipment = (
            Shipment.objects.select_for_update(of=("self",))
            .select_related("source", "transit")
            .get(pk=line.shipment_id)
        )
        quantity = find_differences([line])[line.pk]
        _check_reason(shipment, line, quantity, reason, cause)
        entry = _follow(id, by, occurred_at, shipment, line, quantity, reason, note)
        difference = ShipmentDifference.objects.create(
            uuid=id,
            line=line,
            quantity=quantity,
            reason=reason,
            cause=cause,
            entry=entry,
            occurred_at=occurred_at,
            by=by,
            note=note,
            fingerprint=fingerprint,
        )
        refresh_shipment(shipment)
        return difference

    return take_once(ShipmentDifference, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def find_differences(lines: Sequence[ShipmentLine]) -> dict[int, int]:
    """What of each line arrived beyond what was sent, negative where it lacks, less what has a name."""
    found = {line.pk: -line.quantity for line in lines}
    for key, quantity in ArrivedLine.objects.filter(line__in=found).values_list("line", "quantity"):
        found[key] += quantity
    for key, quantity in ShipmentDifference.objects.filter(line__in=found).values_list("line", "quantity"):
        found[key] -= quantity
    return found


def refresh_shipment(shipment: Shipment) -> None:
    """Write the state anew from what arrived and what was named. The shipment is locked."""
    lines = list(shipment.lines.all())
    left = find_differences(lines)
    told = set(ArrivedLine.objects.filter(line__in=lines).values_list("line", flat=True))
    is_over = shipment.arrivals.filter(is_last=True).exists()
    is_settled = all(not left[line.pk] and (line.quantity or is_over or line.pk in told) for line in lines)
    if is_settled:
        shipment.state = State.SETTLED
    elif is_over:
        shipment.state = State.DIFFERS
    elif told:
        shipment.state = State.PART_IN
    shipment.save(update_fields=["state"])
    if is_settled:
        Place.objects.filter(pk=shipment.transit_id).update(is_withdrawn=True)


def _lines_of(shipment: Shipment) -> dict[int, ShipmentLine]:
    rows = shipment.lines.select_related("material", "owner", "container__owner", "container__place")
    return {row.position: row for row in rows}


def _read(unloaded: Sequence[Unloaded], lines: dict[int, ShipmentLine]) -> dict[int, int]:
    """Whole millionths by line; what is left of it where no amount is told."""
    faults, amounts = [], {}
    left = find_differences(list(lines.values()))
    for number, row in enumerate(unloaded):
        line = lines.get(row.position)
        pointer = f"/unloaded/{number}"
        if line is None or row.position in amounts:
            message = "is no line of this shipment" if line is None else "is named twice"
            faults.append(Fault(f"{pointer}/position", str(row.position), message))
            continue
        amounts[row.position] = max(0, -left[line.pk])
        if row.amount is not None and line.material is not None:
            amount = stored_quantity(row.amount, line.material.stock_unit, pointer=f"{pointer}/amount")
            amounts[row.position] = amount
            if amount < 0:
                faults.append(Fault(f"{pointer}/amount", str(row.amount), "cannot be less than nothing"))
    if faults:
        raise BadInput.of(faults)
    return amounts


def _unload(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    shipment: Shipment,
    lines: dict[int, ShipmentLine],
    unloaded: Sequence[Unloaded],
    amounts: dict[int, int],
    note: str,
) -> Entry | None:
    """Move what came from transit to where it was put; a vessel comes whole, whatever is left in it."""
    moved, loose = {}, []
    for row in unloaded:
        line, place = lines[row.position], row.place or shipment.target
        box = line.container
        if box is not None and box.stands_somewhere:
            moved[box.pk] = (box, place)
        elif amounts[row.position] and line.material is not None:
            unit = line.material.stock_unit
            amount = row.amount or Amount(from_millionths(amounts[row.position], unit), unit)
            loose.append(Line(line.material, amount, End(shipment.transit, box), End(place, box)))
    if not moved and not loose:
        return None
    return transfer(
        id=step_id(id, "unloaded"),
        by=by,
        occurred_at=occurred_at,
        lines=loose,
        containers=list(moved.values()),
        as_report=True,
        reason=note,
        document=f"shipment:{shipment.uuid}",
    )


def _check_reason(shipment: Shipment, line: ShipmentLine, quantity: int, reason: str, cause: str) -> None:
    if shipment.state != State.DIFFERS or not quantity:
        raise ShipmentClosed(f"Line {line.position} of {shipment} has no difference that waits for a name.")
    if reason not in Reason.values:
        raise BadInput.of([Fault("/reason", reason, f"is none of: {', '.join(Reason.values)}")])
    if cause and cause not in Movement.Cause.values:
        raise BadInput.of([Fault("/cause", cause, f"is none of: {', '.join(Movement.Cause.values)}")])
    if quantity > 0 and reason != Reason.MISCOUNTED:
        raise BadInput.of(
            [Fault("/reason", reason, "cannot be: more came than was sent, so it was miscounted")]
        )


def _follow(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    shipment: Shipment,
    line: ShipmentLine,
    quantity: int,
    reason: str,
    note: str,
) -> Entry:
    """Post what the name of a difference means for the goods."""
    assert line.material is not None
    unit, box = line.material.stock_unit, line.container
    told = f"{Reason(reason).label}: {format_millionths(abs(quantity), unit)} {note}".strip()
    document = f"shipment:{shipment.uuid}"
    is_vessel = box is not None and box.stands_somewhere
    if box is not None and is_vessel and box.place_id != shipment.transit_id:
        # The vessel came with another amount than the book has in it.
        assert box.place is not None
        return _state_amount(id, by, occurred_at, line, End(box.place, box), quantity, told, document)
    transit, source = End(shipment.transit, box), End(shipment.source, box)
    amount = Amount(from_millionths(abs(quantity), unit), unit)
    is_back = reason in {Reason.MISCOUNTED, Reason.LEFT_BEHIND}
    if is_back:
        ends = (transit, source) if quantity < 0 else (source, transit)
        entry = transfer(
            id=step_id(id, "named"),
            by=by,
            occurred_at=occurred_at,
            lines=[] if is_vessel else [Line(line.material, amount, *ends)],
            containers=[(box, shipment.source)] if box is not None and is_vessel else [],
            as_report=True,
            reason=told,
            document=document,
        )
        if quantity < 0:
            return entry
    # Lost on the way, or taken from the book's differences on arrival and now accounted for.
    return _state_amount(id, by, occurred_at, line, transit, -abs(quantity), told, document)


def _state_amount(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    line: ShipmentLine,
    end: End,
    change: int,
    reason: str,
    document: str,
) -> Entry:
    """Count what is there after the change, so that the rest goes to the book's differences."""
    assert line.material is not None
    held = Holding.objects.filter(
        place=end.place, material=line.material, owner=line.owner, container=end.container
    ).values_list("quantity", flat=True)
    key = HoldingKey(HeadKey(end.place.pk, line.material.pk, line.owner_id), end.container_id)
    then = sum(held) - find_effects_after(key, end.container, occurred_at)
    unit, rest = line.material.stock_unit, max(0, then + change)
    return count(
        id=step_id(id, "stated"),
        by=by,
        occurred_at=occurred_at,
        found=[Found(line.material, Amount(from_millionths(rest, unit), unit), end, line.owner)],
        reason=reason,
        document=document,
    )
