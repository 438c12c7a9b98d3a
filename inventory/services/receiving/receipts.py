"""Recording what one delivery brought."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Party, Place, Receipt, ReceivedLine
from inventory.money import value_of
from inventory.queries.company import get_company_party
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.lines import require_kind
from inventory.services.orders.life import note_delivered, refresh_order
from inventory.services.orders.lines import MOST_LINES
from inventory.services.orders.terms import require_supplier
from inventory.services.orders.writing import DELIVERED_TO
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.receiving.judging import ArrivedLine, Judged, judge_lines, orders_of
from inventory.services.receiving.quarantine import find_or_make_quarantine, hold_back


def receive_delivery(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    supplier: Party,
    place: Place,
    lines: Sequence[ArrivedLine],
    empties: Sequence[Container] = (),
    delivery_note: str = "",
    note: str = "",
) -> Receipt:
    """Record what came from a supplier, as the materials it is and not as what was ordered.

    What is sound and awaited goes where it was to go and counts towards its order line. What is over, short,
    wrong, damaged or unordered goes into the warehouse's quarantine without value, and the order line stays
    open as if nothing had come. The same again gives the first receipt.

    Raises
    ------
    NotASupplier, WrongPlace, BadInput
        If a line cannot be understood.
    DocumentConflict
        If the id stands for something else.
    """
    fingerprint = fingerprint_of(
        supplier=supplier,
        place=place,
        occurred_at=occurred_at,
        delivery_note=delivery_note,
        note=note,
        empties=list(empties),
        lines=[_form(line) for line in lines],
    )

    def make() -> Receipt:
        require_supplier(supplier, pointer="/supplier")
        require_kind(place, DELIVERED_TO, pointer="/place")
        _check_size(lines)
        orders = orders_of(lines)
        placed = _put(judge_lines(lines, supplier), place, id, occurred_at)
        receipt = Receipt(
            uuid=id,
            supplier=supplier,
            place=place,
            occurred_at=occurred_at,
            by=by,
            delivery_note=delivery_note,
            note=note,
            fingerprint=fingerprint,
        )
        _post(receipt, placed, empties)
        for order in orders:
            note_delivered(order, by)
            refresh_order(order)
        return receipt

    return take_once(Receipt, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def _post(receipt: Receipt, placed: Sequence[tuple[Judged, End]], empties: Sequence[Container]) -> None:
    """Move the goods in, and keep the receipt with its lines."""
    receipt.entry = receive(
        id=step_id(receipt.uuid, "received"),
        by=receipt.by,
        occurred_at=receipt.occurred_at,
        source=_place_of(receipt.supplier),
        lines=[_entry_line(judged, end) for judged, end in placed],
        empties=empties,
        reason=receipt.note,
        document=f"receipt:{receipt.uuid}",
    )
    receipt.save()
    ReceivedLine.objects.bulk_create(
        _row(receipt, number, judged, end) for number, (judged, end) in enumerate(placed, start=1)
    )


def _form(line: ArrivedLine) -> list[object]:
    return [
        line.material,
        line.amount,
        line.target.place,
        line.target.container,
        line.order_line,
        line.finding,
        line.unit_cost,
        line.lot,
        line.note,
    ]


def _check_size(lines: Sequence[ArrivedLine]) -> None:
    if not 1 <= len(lines) <= MOST_LINES:
        raise BadInput.of([Fault("/lines", str(len(lines)), f"must be 1 to {MOST_LINES} lines")])
    for number, line in enumerate(lines):
        require_kind(line.target.place, Place.STOCK_KINDS, pointer=f"/lines/{number}/target")


def _place_of(supplier: Party) -> Place:
    """The outside place that a supplier's goods come from; `save_party` makes it."""
    return Place.objects.get(code=f"{Place.Kind.SUPPLIER.value}:{supplier.code}")


def _put(judged: Sequence[Judged], place: Place, receipt: UUID, moment: datetime) -> list[tuple[Judged, End]]:
    """Say where each part goes: what is not sound goes to quarantine in the container it came in."""
    quarantine = None if all(row.is_sound for row in judged) else find_or_make_quarantine(place)
    company = get_company_party()
    placed = []
    for number, row in enumerate(judged, start=1):
        end = row.line.target
        if not row.is_sound:
            assert quarantine is not None
            end = hold_back(
                end=end,
                quarantine=quarantine,
                material=row.line.material,
                owner=company,
                receipt=receipt,
                position=number,
            )
        if end.container is not None and end.container.received_at is None:
            end.container.received_at = moment
        placed.append((row, end))
    return placed


def _entry_line(judged: Judged, end: End) -> ReceiptLine:
    line = judged.line
    cost = value_of(quantity=judged.quantity, unit_cost=judged.unit_cost)
    return ReceiptLine(line.material, line.amount, end, cost, line.lot if judged.is_sound else None)


def _row(receipt: Receipt, position: int, judged: Judged, end: End) -> ReceivedLine:
    line = judged.line
    return ReceivedLine(
        receipt=receipt,
        position=position,
        order_line=line.order_line,
        material=line.material,
        quantity=judged.quantity,
        unit_cost=judged.unit_cost,
        finding=judged.finding,
        place=end.place,
        wanted_place=line.target.place,
        container=end.container,
        lot=line.lot if judged.is_sound else None,
        entered_value=f"{line.amount.value:f}",
        entered_unit=line.amount.unit,
        note=line.note,
    )
