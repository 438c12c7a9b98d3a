"""What changes value or leaves for good, and undoing what was wrong."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from math import ceil
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from inventory.errors import BadInput, SpanstockError
from inventory.models import (
    Actor,
    Container,
    Entry,
    Material,
    Movement,
    Place,
    SupplierInvoice,
)
from inventory.money import from_money_millionths
from inventory.queries.write_downs import find_standing_write_downs
from inventory.services.accounting.undone_bills import mark_bill_undone, plan_undoing
from inventory.services.lines import Line, owner_at, post_lines, require_kind
from inventory.services.orders.life import counts_for_orders, lock_orders_of, refresh_order
from inventory.services.posting import AlreadyReversed, End, Flow, Posting, post
from inventory.services.write_off_limit import SecondWordNeeded, ask_afterwards, refuse_over_limit


@dataclass(frozen=True)
class Revaluation:
    """Value, in millionths of the currency, put on (positive) or taken off goods held in a place."""

    material: Material
    place: Place
    change: int
    lot: Container | None = None


def dispose(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    as_report: bool = False,
    reason: str = "",
    document: str = "",
    is_agreed: bool = False,
) -> Entry:
    """Hand goods over as waste; the document is the manifest.

    Above the company's limit a second person has to have agreed. What is gone already (`as_report`) is not
    refused, but somebody else is asked to look at it.
    """
    check = None if is_agreed else ask_afterwards if as_report else refuse_over_limit
    return post_lines(
        id=id,
        kind=Entry.Kind.DISPOSAL,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Movement.Purpose.DISPOSED,
        source_kinds=Place.STOCK_KINDS,
        target_kinds={Place.Kind.WASTE},
        is_plan=not as_report,
        reason=reason,
        document=document,
        check=check,
    )


class AboveCost(BadInput):
    """A write-down is reversed up to what was written down, so that goods never stand above cost."""

    code = "above_cost"


def revalue(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    changes: Sequence[Revaluation],
    against: Place,
    reason: str,
    document: str = "",
    is_agreed: bool = False,
) -> Entry:
    """Move value alone: a write-down and its reversal; by two persons, late freight and price differences.

    Taking off more than the company's limit needs a second person to have agreed. A write-down's reversal
    goes no further than what was written down on the goods that are there, lot by lot where cost goes by
    lot (IAS 2.33). Any other rise is a cost that somebody billed (IAS 2.10-11): `record_invoice` books it,
    or a second person agrees.
    """
    kinds = {Place.Kind.WRITE_DOWN, Place.Kind.PRICE_VARIANCE, Place.Kind.SUPPLIER}
    require_kind(against, kinds, pointer="/against")
    flows = []
    for number, change in enumerate(changes):
        require_kind(change.place, Place.STOCK_KINDS | Place.USE_KINDS, pointer=f"/changes/{number}/place")
        if not change.change:
            raise BadInput(f"The value of {change.material} is changed by nothing; leave the line out.")
        here, there = End(change.place), End(against)
        is_up = change.change > 0
        flows.append(
            Flow(
                material=change.material,
                quantity=0,
                source=there if is_up else here,
                target=here if is_up else there,
                purpose=Movement.Purpose.REVALUED,
                owner=owner_at(),
                value=abs(change.change),
                lot=change.lot,
            )
        )
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.REVALUATION,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        reason=reason,
        document=document,
        check=_refuse_above_cost if is_agreed else _check_revaluation,
    )
    return post(posting)


def _check_revaluation(entry: Entry) -> None:
    _refuse_above_cost(entry)
    _refuse_rise_without_bill(entry)
    refuse_over_limit(entry)


def _refuse_rise_without_bill(entry: Entry) -> None:
    """Else the cap on reversals (IAS 2.33) would only need another name of where the value comes from."""
    elsewhere = {Place.Kind.PRICE_VARIANCE, Place.Kind.SUPPLIER}
    risen = entry.movements.filter(source_place__kind__in=elsewhere).select_related("material").first()
    if risen is not None:
        raise SecondWordNeeded(
            f"This puts {risen.material} above what it was booked at. Record the bill that says so, or make "
            "it a request for a second person; nothing was changed."
        )


def _refuse_above_cost(entry: Entry) -> None:
    """Refuse to put back more than was written down there, looked at with the entry in the book.

    Behind the lock, so that two cannot both put the same back, and not for a retry, which is not written.
    """
    back = entry.movements.filter(source_place__kind=Place.Kind.WRITE_DOWN)
    rows = list(back.select_related("material", "target_place", "lot"))
    for material in {row.material for row in rows}:
        lots = {row.lot_id for row in rows if row.material == material}
        standing = find_standing_write_downs(material=material, lots=lots)
        for row in rows:
            over = -standing.get((row.target_place_id, row.lot_id), Fraction(0))
            if row.material == material and over >= 1:
                of_lot = f" (lot {row.lot})" if row.lot else ""
                raise AboveCost(
                    f"This puts {from_money_millionths(ceil(over)):f} more back on {row.material} at "
                    f"{row.target_place}{of_lot} than was written down on what is there. What goods cost "
                    "more is an invoice difference or freight."
                )


class ReceiptIsBilled(SpanstockError):
    """A bill changed what the goods of this receipt cost; undone first, its difference goes back with it."""

    code = "receipt_is_billed"


def _refuse_billed(entry: Entry) -> None:
    """Left standing, the bill's difference would lie with nobody: on no goods and still owed."""
    line = (
        entry.invoice_lines.exclude(difference=0)
        .filter(invoice__undone_at__isnull=True)
        .select_related("invoice__supplier")
        .first()
    )
    if line is not None:
        invoice = line.invoice
        raise ReceiptIsBilled(
            f"Bill {invoice.number} of {invoice.supplier.name} changed what these goods cost. "
            "Undo that bill first, then the receipt."
        )


def reverse(
    *,
    id: UUID,
    by: Actor,
    entry: Entry,
    reason: str,
    closed_places: QuerySet[Place] | None = None,
    covers_missing: bool = False,
) -> Entry:
    """Undo an entry by its opposite, at the moment the original told of.

    What it brought and has gone further since is refused; `covers_missing` takes it from variance instead,
    for what never happened as it was told and cannot stand because of that. Orders that counted on a
    receipt are awaited again; a bill whose difference goes back is undone, and goes back from where the goods
    took it. What is on work that is over (`closed_places`) by now, or came to work in a period that is
    closed, stays there and goes back out of price variance.

    Raises
    ------
    AlreadyReversed
        If it was undone before or is itself an undoing.
    GoodsMovedOn
        If what it brought has been taken further; the entries in the way are named.
    ReceiptIsBilled
        If a bill changed what its goods cost and still stands.
    """
    if entry.reverses_id is not None:
        raise AlreadyReversed("This entry is itself the reversal of another. Post the right entry anew.")
    _refuse_billed(entry)
    posting = Posting(
        uuid=id,
        kind=Entry.Kind(entry.kind),
        occurred_at=entry.occurred_at,
        by=by,
        reverses=entry,
        reason=reason,
        document=entry.document,
        covers_missing=covers_missing,
    )
    invoice = SupplierInvoice.objects.filter(entry=entry).first()
    if invoice is not None:
        with transaction.atomic():
            undoing = plan_undoing(invoice, entry, closed_places)
            undone = post(replace(posting, flows=undoing.flows))
            mark_bill_undone(
                invoice=invoice,
                by=by,
                undone_at=undone.recorded_at,
                day=undone.booked_date,
                reason=reason,
                left=undoing.left,
            )
        return undone
    if not counts_for_orders(entry):
        return post(posting)
    with transaction.atomic():
        orders = lock_orders_of(entry)
        undone = post(posting)
        for order in orders:
            refresh_order(order)
    return undone
