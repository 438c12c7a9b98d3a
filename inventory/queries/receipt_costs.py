"""What receipts brought and at which cost, what of it was billed, and where the goods are now."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, Sum

from inventory.calc.landed_costs import part_of
from inventory.models import Container, Entry, InvoiceLine, Material, Movement, Party, Place
from inventory.queries.followed_goods import Name, follow_goods


@dataclass
class Received:
    """One material of one receipt: what came, what it was booked at, and what of it was billed."""

    entry: Entry
    material: Material
    supplier_place: Place
    quantity: int = 0
    value: int = 0
    billed: int = 0

    @property
    def unbilled(self) -> int:
        return max(self.quantity - self.billed, 0)

    @property
    def accrued(self) -> int:
        """What the unbilled part was booked at; with what bills took of it so far it is the whole value."""
        return self.booked_for(self.unbilled)

    def booked_for(self, quantity: int) -> int:
        """What the next so much of the unbilled part was booked at."""
        before = self.quantity - self.unbilled
        return part_of(
            whole_value=self.value, whole_quantity=self.quantity, before=before, upto=before + quantity
        )


@dataclass(frozen=True)
class Whereabouts:
    """How much of received goods is at a place now; `place` None for what is in none of ours any more.

    `material` is what they are there, such as recovered fluid, and `quantity` what of the receipt their
    cost is for. `closed_quantity` is what went there on a day that is closed by now.
    """

    place: Place | None
    material: Material
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


def locate(received: Iterable[Received], *, closed_until: date | None) -> dict[Name, list[Whereabouts]]:
    """Where the goods of receipts are now, what was made of them too, and how much is nowhere of ours.

    By lot this is a fact of the book; goods under one average are followed by their share of it.
    """
    rows = {(row.entry.pk, row.material.pk): row for row in received}
    heaps = follow_goods(rows, closed_until=closed_until)
    places = Place.objects.in_bulk({heap[0] for heap in heaps})
    materials = Material.objects.in_bulk({heap[1] for heap in heaps})
    lots = Container.objects.in_bulk({heap[2] for heap in heaps if heap[2]})
    found: dict[Name, list[Whereabouts]] = {name: [] for name in rows}
    for (place_id, material, lot), goods in sorted(heaps.items(), key=lambda item: item[0]):
        place = places[place_id]
        for name, quantity in goods.parts.items():
            if quantity > 0 and place.keeps_stock:
                closed = min(max(goods.closed[name], 0), quantity) if place.is_use else 0
                found[name].append(Whereabouts(place, materials[material], lots.get(lot), quantity, closed))
    for name, row in rows.items():
        known = sum(where.quantity for where in found[name])
        if known < row.quantity:
            found[name].append(Whereabouts(None, row.material, None, row.quantity - known))
    return found
