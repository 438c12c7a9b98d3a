"""Writing an order, and changing it while it is only written."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from inventory.errors import SpanstockError
from inventory.models import Actor, Order, OrderLine, Party, Place, SupplierTerms
from inventory.services.documents import StaleVersion, fingerprint_of, take_once
from inventory.services.lines import require_kind
from inventory.services.orders.lines import OrderedLine, make_lines, save_lines
from inventory.services.orders.terms import require_supplier

# Where a carrier can put goods down.
DELIVERED_TO = frozenset({Place.Kind.WAREHOUSE, Place.Kind.BIN, Place.Kind.SITE})


class OrderChanged(StaleVersion):
    """The order was changed since it was read: read it again and decide anew."""

    code = "order_changed"


class OrderSent(SpanstockError):
    """The order is no longer only written: the supplier has it, or it was called off."""

    code = "order_sent"


def write_order(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    supplier: Party,
    place: Place,
    lines: Sequence[OrderedLine],
    promised_date: date | None = None,
    note: str = "",
) -> Order:
    """Write an order to a supplier; nobody is told of it before it is sent. The same again gives it back.

    Raises
    ------
    NotASupplier, WrongPlace, NoTerms, BadInput
        If it could not be sent as it is; every line's fault is named.
    DocumentConflict
        If the id stands for something else.
    """
    fingerprint = fingerprint_of(
        supplier=supplier,
        place=place,
        promised_date=promised_date,
        note=note,
        lines=[[line.material, line.amount, line.unit_cost, line.why] for line in lines],
    )

    def make() -> Order:
        require_supplier(supplier, pointer="/supplier")
        require_kind(place, DELIVERED_TO, pointer="/place")
        rows, cost_of_lines = make_lines(lines, supplier)
        order = Order.objects.create(
            uuid=id,
            # Unique until the row has a number of its own.
            reference=id.hex,
            supplier=supplier,
            place=place,
            written_at=occurred_at,
            written_by=by,
            promised_date=promised_date,
            order_cost=_cost_of_order(supplier) + cost_of_lines,
            note=note,
            fingerprint=fingerprint,
        )
        order.reference = f"O-{order.pk:05d}"
        order.save(update_fields=["reference"])
        save_lines(order, rows)
        return order

    return take_once(Order, id=id, by=by, author="written_by", fingerprint=fingerprint, make=make)


@transaction.atomic
def rewrite_order(
    *,
    order: Order,
    version: int,
    lines: Sequence[OrderedLine],
    promised_date: date | None = None,
    note: str = "",
) -> Order:
    """Change a written order as a whole. `version` is the one that the change was decided on."""
    standing = lock_order(order)
    if standing.version != version:
        raise OrderChanged(f"{standing} was changed since you read it. Read it again and decide anew.")
    if standing.state != Order.State.WRITTEN:
        raise OrderSent(
            f"{standing} is {standing.get_state_display()}. Call off what is no longer wanted, and write "
            "another order for what is."
        )
    rows, cost_of_lines = make_lines(lines, standing.supplier)
    OrderLine.objects.filter(order=standing).delete()
    save_lines(standing, rows)
    standing.promised_date, standing.note = promised_date, note
    standing.order_cost = _cost_of_order(standing.supplier) + cost_of_lines
    standing.version += 1
    standing.save(update_fields=["promised_date", "note", "order_cost", "version"])
    return standing


def lock_order(order: Order) -> Order:
    """The order as it stands now, for this transaction alone."""
    return Order.objects.select_for_update(of=("self",)).select_related("supplier", "place").get(pk=order.pk)


def _cost_of_order(supplier: Party) -> int:
    terms = SupplierTerms.objects.filter(supplier=supplier).first()
    return terms.order_cost if terms else 0
