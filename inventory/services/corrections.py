"""What changes value or leaves for good, and undoing what was wrong."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Sum

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Place
from inventory.money import from_money_millionths
from inventory.services.lines import Line, owner_at, post_lines, require_kind
from inventory.services.orders.life import counts_for_orders, lock_orders_of, refresh_order
from inventory.services.posting import AlreadyReversed, End, Flow, Posting, post
from inventory.services.write_off_limit import ask_afterwards, refuse_over_limit


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
    """Move value alone: a write-down and its reversal, late freight, an invoice difference.

    A write-down above the company's limit needs a second person to have agreed. Its reversal goes no
    further than what was written down there (IAS 2.33).
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
        if is_up and against.kind == Place.Kind.WRITE_DOWN:
            _refuse_above_cost(change, against, pointer=f"/changes/{number}/change")
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
        check=None if is_agreed else refuse_over_limit,
    )
    return post(posting)


def _refuse_above_cost(change: Revaluation, write_down: Place, *, pointer: str) -> None:
    movements = Movement.objects.filter(material=change.material)
    if change.lot is not None:
        movements = movements.filter(lot=change.lot)
    down = movements.filter(source_place=change.place, target_place=write_down)
    up = movements.filter(source_place=write_down, target_place=change.place)
    sums = [rows.aggregate(total=Sum("value"))["total"] or 0 for rows in (down, up)]
    most = sums[0] - sums[1]
    if change.change > most:
        message = (
            f"puts back more than was written down there; at most {from_money_millionths(max(most, 0)):f} "
            "of it stands. What goods cost more is an invoice difference or freight"
        )
        raise AboveCost.of([Fault(pointer, f"{from_money_millionths(change.change):f}", message)])


def reverse(*, id: UUID, by: Actor, entry: Entry, reason: str) -> Entry:
    """Undo an entry by its opposite, at the moment the original told of.

    Orders that counted on a receipt are awaited again.

    Raises
    ------
    AlreadyReversed
        If it was undone before or is itself an undoing.
    GoodsMovedOn
        If what it brought has been taken further; the entries in the way are named.
    """
    if entry.reverses_id is not None:
        raise AlreadyReversed("This entry is itself the reversal of another. Post the right entry anew.")
    posting = Posting(
        uuid=id,
        kind=Entry.Kind(entry.kind),
        occurred_at=entry.occurred_at,
        by=by,
        reverses=entry,
        reason=reason,
        document=entry.document,
    )
    if not counts_for_orders(entry):
        return post(posting)
    with transaction.atomic():
        orders = lock_orders_of(entry)
        undone = post(posting)
        for order in orders:
            refresh_order(order)
    return undone
