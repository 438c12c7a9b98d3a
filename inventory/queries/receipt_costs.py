"""What receipts brought and at which cost, what of it was billed, and where the goods are now."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from django.db.models import Q, Sum

from inventory.models import Container, CostPool, Entry, InvoiceLine, Material, Movement, Party, Place

# A receipt's entry and a material in it.
Name = tuple[int, int]


@dataclass
class Received:
    """One material of one receipt: what came, what it was booked at, and what of it was billed."""

    entry: Entry
    material: Material
    supplier_place: Place
    quantity: int = 0
    value: int = 0
    billed: int = 0
    lots: set[int] = field(default_factory=set)

    @property
    def unbilled(self) -> int:
        return max(self.quantity - self.billed, 0)

    @property
    def accrued(self) -> int:
        """What the unbilled part was booked at."""
        return round(Fraction(self.value * self.unbilled, self.quantity)) if self.quantity else 0


@dataclass(frozen=True)
class Whereabouts:
    """How much of received goods is at a place now; `place` None for what is in none of ours any more.

    `closed_quantity` is what went there on a day that is closed by now.
    """

    place: Place | None
    lot: Container | None
    quantity: int
    closed_quantity: int = 0


def find_received(entries: Iterable[int], *, until: date | None = None) -> dict[Name, Received]:
    """What these receipts brought of the company's own goods, by entry and material.

    What was billed and undone counts as it is now, or as it was booked by the evening of `until`.
    """
    standing = Q(entry__reversed_by__isnull=True)
    if until is not None:
        standing |= Q(entry__reversed_by__booked_date__gt=until)
    found: dict[Name, Received] = {}
    rows = Movement.objects.filter(
        standing,
        entry__in=list(entries),
        entry__reverses__isnull=True,
        purpose=Movement.Purpose.RECEIVED,
        owner__is_company=True,
    ).select_related("entry", "material", "source_place")
    for row in rows.order_by("entry", "line"):
        name = (row.entry_id, row.material_id)
        part = found.setdefault(name, Received(row.entry, row.material, row.source_place))
        part.quantity += row.quantity
        part.value += row.value
        if row.lot_id is not None:
            part.lots.add(row.lot_id)
    live = Q(invoice__undone_at__isnull=True)
    if until is not None:
        live = Q(live | Q(invoice__undone_date__gt=until), invoice__booked_date__lte=until)
    lines = InvoiceLine.objects.filter(live, is_for_goods=True, receipt__in={name[0] for name in found})
    billed = lines.order_by()
    for entry, material, quantity in billed.values_list("receipt", "material").annotate(
        Sum("matched_quantity")
    ):
        if (entry, material) in found:
            found[entry, material].billed = int(quantity)
    return found


def list_unbilled(*, until: date, supplier: Party | None = None) -> list[Received]:
    """Receipts booked up to a day that no bill covered by then, or not wholly: what was to be accrued.

    Bills and undoings that are booked later change nothing about that day.
    """
    suppliers = Place.objects.filter(kind=Place.Kind.SUPPLIER).exclude(code="opening-stock")
    if supplier is not None:
        suppliers = suppliers.filter(code=f"supplier:{supplier.code}")
    entries = Movement.objects.filter(
        source_place__in=suppliers,
        entry__booked_date__lte=until,
        purpose=Movement.Purpose.RECEIVED,
        value__gt=0,
    )
    received = find_received(set(entries.values_list("entry", flat=True)), until=until)
    return [row for row in received.values() if row.unbilled]


def locate(received: Received, *, closed_until: date | None) -> list[Whereabouts]:
    """Where the goods of a receipt are now, and how much of them is nowhere of ours.

    By lot this is a fact of the book. A weighted average does not tell goods apart: of what came, as much
    as lies in stock is taken to be there still, since the last in are the last out, and the rest went
    where the material went since that receipt.
    """
    if received.lots:
        places = _by_lot(received)
    else:
        places = _by_average(received)
    known = sum(row.quantity for row in places)
    if closed_until is not None:
        places = [_with_closed_part(row, received, closed_until) for row in places]
    if known < received.quantity:
        places.append(Whereabouts(None, None, received.quantity - known))
    return places


def _by_lot(received: Received) -> list[Whereabouts]:
    pools = CostPool.objects.filter(
        material=received.material, lot__in=received.lots, quantity__gt=0, is_kept=True
    ).select_related("place", "lot")
    return [Whereabouts(pool.place, pool.lot, pool.quantity) for pool in pools.order_by("key")]


def _by_average(received: Received) -> list[Whereabouts]:
    pools = CostPool.objects.filter(
        material=received.material, owner__is_company=True, place__kind__in=Place.STOCK_KINDS, quantity__gt=0
    ).select_related("place")
    held = _share_out(received.quantity, [(pool.place, pool.quantity) for pool in pools.order_by("key")])
    left = received.quantity - sum(quantity for _place, quantity in held)
    used = _share_out(left, _list_used_since(received)) if left else []
    return [Whereabouts(place, None, quantity) for place, quantity in [*held, *used] if quantity]


def _list_used_since(received: Received) -> list[tuple[Place, int]]:
    sums: dict[int, int] = defaultdict(int)
    later = Movement.objects.filter(
        material=received.material, owner__is_company=True, entry__gt=received.entry.pk
    )
    for sign, end in ((1, "target_place"), (-1, "source_place")):
        rows = later.filter(**{f"{end}__kind__in": Place.USE_KINDS}).order_by()
        for place, quantity in rows.values_list(end).annotate(Sum("quantity")):
            sums[place] += sign * int(quantity)
    places = Place.objects.in_bulk(sums)
    return [(places[place], quantity) for place, quantity in sorted(sums.items()) if quantity > 0]


def _share_out(most: int, amounts: list[tuple[Place, int]]) -> list[tuple[Place, int]]:
    """As much of each amount as `most` allows in all, in proportion."""
    whole = sum(quantity for _place, quantity in amounts)
    if whole <= most:
        return amounts
    shares, seen, given = [], 0, 0
    for place, quantity in amounts:
        seen += quantity
        upto = most * seen // whole
        shares.append((place, upto - given))
        given = upto
    return shares


def _with_closed_part(row: Whereabouts, received: Received, closed_until: date) -> Whereabouts:
    if row.place is None or not row.place.is_use:
        return row
    moved = Movement.objects.filter(
        material=received.material,
        owner__is_company=True,
        entry__gte=received.entry.pk,
        entry__booked_date__lte=closed_until,
    )
    if row.lot is not None:
        moved = moved.filter(lot=row.lot)
    into = moved.filter(target_place=row.place).aggregate(total=Sum("quantity"))["total"] or 0
    out = moved.filter(source_place=row.place).aggregate(total=Sum("quantity"))["total"] or 0
    return Whereabouts(row.place, row.lot, row.quantity, min(max(into - out, 0), row.quantity))
