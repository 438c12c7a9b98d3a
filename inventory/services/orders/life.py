"""Sending an order, what the supplier promised, calling off, and the state that follows from it all."""

from collections.abc import Collection, Iterable
from datetime import date, datetime

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Entry, HeldOutcome, Order, ReceivedLine
from inventory.queries.order_progress import LineProgress, find_progress
from inventory.services.documents import step_id
from inventory.services.orders.writing import OrderChanged, lock_order
from inventory.services.sealing import record_event

State = Order.State


class OrderClosed(SpanstockError):
    """Nothing is awaited of the order any longer: it is all in, or was called off."""

    code = "order_closed"


@transaction.atomic
def send_order(*, order: Order, by: Actor, occurred_at: datetime) -> Order:
    """Note that the supplier has the order: from now on it is awaited. Again, it changes nothing."""
    standing = lock_order(order)
    if standing.state == State.CALLED_OFF:
        raise OrderClosed(f"{standing} was called off. Write another one.")
    if standing.sent_at is None:
        _note_sent(standing, by, occurred_at)
    return standing


def _note_sent(order: Order, by: Actor, moment: datetime) -> None:
    order.sent_at, order.sent_by, order.state = moment, by, State.SENT
    order.version += 1
    order.save(update_fields=["sent_at", "sent_by", "state", "version"])
    record_event(
        id=step_id(order.uuid, "sent"),
        kind="order.sent",
        occurred_at=moment,
        body={"order": order.reference, "supplier": order.supplier.code, "place": order.place.code},
    )


@transaction.atomic
def promise_order(*, order: Order, version: int, promised_date: date | None) -> Order:
    """Note the day for which the supplier has confirmed the order, or that it has confirmed none."""
    standing = lock_order(order)
    if standing.version != version:
        raise OrderChanged(f"{standing} was changed since you read it. Read it again and decide anew.")
    if standing.state in {State.ALL_IN, State.CALLED_OFF}:
        raise OrderClosed(f"{standing} is {standing.get_state_display()}: nothing of it is awaited.")
    if standing.promised_date != promised_date:
        standing.promised_date = promised_date
        standing.version += 1
        standing.save(update_fields=["promised_date", "version"])
    return standing


@transaction.atomic
def call_off(
    *, order: Order, by: Actor, occurred_at: datetime, positions: Collection[int] | None = None
) -> Order:
    """Await no more of these lines, or of none at all. What has come stays. Again, it changes nothing."""
    standing = lock_order(order)
    lines = list(standing.lines.order_by("position"))
    unknown = sorted(set(positions or ()) - {line.position for line in lines})
    if unknown:
        message = f"is no line of {standing}"
        raise BadInput.of([Fault("/lines", str(number), message) for number in unknown])
    progress = find_progress(lines)
    changed = False
    for line in lines:
        awaited = progress[line.pk].awaited
        if awaited and (positions is None or line.position in positions):
            line.called_off_quantity += awaited
            line.save(update_fields=["called_off_quantity"])
            changed = True
    if changed:
        standing.called_off_at, standing.called_off_by = occurred_at, by
        standing.version += 1
        standing.save(update_fields=["called_off_at", "called_off_by", "version"])
        refresh_order(standing)
    return standing


def note_delivered(order: Order, by: Actor) -> None:
    """Goods of an order that was only written have come: somebody has told the supplier, so it was sent."""
    if order.sent_at is None:
        order.sent_at, order.sent_by = order.written_at, by
        order.save(update_fields=["sent_at", "sent_by"])


def refresh_order(order: Order) -> None:
    """Write the state anew from what was sent, came and was called off. The order is locked."""
    state = _state_of(order, find_progress(list(order.lines.all())).values())
    if order.state != state:
        order.state = state
        order.version += 1
        order.save(update_fields=["state", "version"])


def _state_of(order: Order, progress: Iterable[LineProgress]) -> str:
    lines = list(progress)
    has_come = any(line.received for line in lines)
    if all(line.is_done for line in lines):
        return State.ALL_IN if has_come else State.CALLED_OFF
    if order.sent_at is None:
        return State.WRITTEN
    return State.PART_IN if has_come else State.SENT


def counts_for_orders(entry: Entry) -> bool:
    """Whether the entry brought goods from a supplier, which some order may have waited for."""
    return entry.kind == Entry.Kind.RECEIPT and entry.document.startswith("receipt:")


def lock_orders_of(entry: Entry) -> list[Order]:
    """The orders towards which an entry's goods count, locked in the order of their keys."""
    keys = set(
        ReceivedLine.objects.filter(receipt__entry=entry, order_line__isnull=False).values_list(
            "order_line__order", flat=True
        )
    ) | set(
        HeldOutcome.objects.filter(entry=entry, order_line__isnull=False).values_list(
            "order_line__order", flat=True
        )
    )
    return list(Order.objects.select_for_update().filter(pk__in=keys).order_by("pk")) if keys else []
