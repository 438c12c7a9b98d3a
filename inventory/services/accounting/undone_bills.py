"""What undoing a bill moves: its difference, from wherever the goods have taken it since."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet

from inventory.models import (
    Actor,
    Container,
    Entry,
    InvoiceShare,
    Material,
    Movement,
    Party,
    Place,
    SupplierInvoice,
)
from inventory.queries.company import get_company, get_company_party
from inventory.queries.followed_goods import KEPT, Followed, Heap, follow_value
from inventory.services.accounting.worth import Worth
from inventory.services.posting import End, Flow
from inventory.services.posting.special_places import get_special_place


@dataclass(frozen=True)
class Undoing:
    """The flows that take a difference back, and the shares that stay on work whose cost is stated."""

    flows: tuple[Flow, ...]
    left: list[InvoiceShare]


@dataclass(frozen=True)
class _Known:
    """The rows that heaps name by their keys."""

    places: dict[int, Place]
    materials: dict[int, Material]
    lots: dict[int, Container]


def plan_undoing(invoice: SupplierInvoice, entry: Entry, closed_places: QuerySet[Place] | None) -> Undoing:
    """Take each line of a bill's entry back from where its value is now.

    Goods that were used took it to the work, goods that were moved to the other place; what went out of our
    places, and what price variance took from the start, goes back through price variance. Work that is over
    (`closed_places`) keeps what it has, and so does work of a period that is closed by now.
    """
    heaps = follow_value(entry, closed_until=get_company().books_closed_until)
    known = _Known(
        Place.objects.in_bulk({heap[0] for heap in heaps}),
        Material.objects.in_bulk({heap[1] for heap in heaps}),
        Container.objects.in_bulk({heap[2] for heap in heaps if heap[2]}),
    )
    over: set[int] = set()
    if closed_places is not None:
        over = set(closed_places.filter(pk__in=known.places).values_list("pk", flat=True))
    worth, flows, left = Worth(list(heaps)), [], []
    owner, variance = get_company_party(), End(get_special_place(Place.Kind.PRICE_VARIANCE))
    for movement, share in _pair(invoice, entry):
        name, sign = (entry.pk, movement.line), 1 if share.value > 0 else -1
        supplier = movement.source_place if sign > 0 else movement.target_place
        rest = movement.value
        for heap, value, is_stated in _find_parts(heaps, name, over, known):
            if is_stated:
                place = known.places[heap[0]]
                kept = InvoiceShare(
                    line=share.line, place=place, quantity=0, value=sign * value, is_booked_there=True
                )
                left.append(kept)
                continue
            going = abs(worth.change(heap, -sign * value))
            rest -= going
            if going:
                flows.append(_flow(supplier, known, heap, owner, -sign * going))
        if rest:
            going, purpose = -sign * rest, Movement.Purpose.PRICE_VARIANCE
            flows.append(_value_flow(End(supplier), variance, movement.material, owner, going, purpose, None))
    return Undoing(tuple(flows), left)


def _pair(invoice: SupplierInvoice, entry: Entry) -> Iterator[tuple[Movement, InvoiceShare]]:
    """Each line of the entry with the share it books; a share over several lots has a line for each."""
    shares = InvoiceShare.objects.filter(line__invoice=invoice).order_by("pk").iterator()
    movements = entry.movements.order_by("line").select_related("source_place", "target_place", "material")
    share, missing = None, 0
    for movement in movements:
        if share is None or not missing:
            share = next(shares)
            missing = abs(share.value)
        missing -= movement.value
        yield movement, share


def _find_parts(
    heaps: dict[Heap, Followed], name: tuple[int, int], over: set[int], known: _Known
) -> Iterator[tuple[Heap, int, bool]]:
    """Where the value of a line is now, and whether the work there is stated for good."""
    for heap, goods in sorted(heaps.items(), key=lambda item: item[0]):
        value, place = goods.parts.get(name, 0), known.places[heap[0]]
        if value <= 0 or place.kind not in KEPT:
            continue
        closed = min(max(goods.closed.get(name, 0), 0), value) if place.is_use else 0
        closed = value if place.pk in over else closed
        for part, is_stated in ((closed, True), (value - closed, False)):
            if part:
                yield heap, part, is_stated


def _flow(supplier: Place, known: _Known, heap: Heap, owner: Party, value: int) -> Flow:
    place, material, lot = heap
    return _value_flow(
        End(supplier),
        End(known.places[place]),
        known.materials[material],
        owner,
        value,
        Movement.Purpose.REVALUED,
        known.lots.get(lot),
    )


def _value_flow(
    supplier: End,
    there: End,
    material: Material,
    owner: Party,
    value: int,
    purpose: Movement.Purpose,
    lot: Container | None,
) -> Flow:
    return Flow(
        material=material,
        quantity=0,
        source=supplier if value > 0 else there,
        target=there if value > 0 else supplier,
        purpose=purpose,
        owner=owner,
        value=abs(value),
        lot=lot,
    )


def mark_bill_undone(
    *,
    invoice: SupplierInvoice,
    by: Actor,
    undone_at: datetime,
    day: date,
    reason: str,
    left: list[InvoiceShare] | None = None,
) -> None:
    """Let a bill count no more from a day on; once undone it stays as it was undone first.

    Its shares are booked nowhere any more; those that stay on work whose cost is stated for good are added.
    """
    is_first = SupplierInvoice.objects.filter(pk=invoice.pk, undone_at__isnull=True).update(
        undone_at=undone_at, undone_by=by, undone_date=day, undone_reason=reason[:500]
    )
    if is_first:
        InvoiceShare.objects.filter(line__invoice=invoice).update(is_booked_there=False)
        InvoiceShare.objects.bulk_create(left or [])
