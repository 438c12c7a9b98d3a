"""The part of the book that one entry touches, read under lock and changed in memory."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction

from django.db.models import F, Q, QuerySet, Sum

from inventory.models import (
    Container,
    CostPool,
    CountReading,
    Holding,
    Material,
    Movement,
    Place,
    Reservation,
)
from inventory.services.posting.keys import HeadKey, HoldingKey, PoolKey
from inventory.services.posting.locking import MoreLocksNeeded, UnderLock
from inventory.services.posting.rows import Rows
from inventory.units import AmountOutOfRange

# SQLite's SUM fails beyond a BigInteger, and ten of the largest movements are; halves of them never are.
SPLIT = 10**9
HIGH, LOW = F("quantity") / SPLIT, F("quantity") % SPLIT
# A BigInteger holds 9.2e18.
LARGEST_SUM = 9 * 10**18


@dataclass
class HoldingState:
    quantity: int = 0
    counted_at: datetime | None = None
    is_unsettled: bool = False
    is_changed: bool = False


@dataclass
class PoolState:
    """What a pool holds and cost; `was_empty` tells that nothing was left in it before the entry."""

    quantity: int = 0
    value: int = 0
    received_at: datetime | None = None
    is_changed: bool = False
    was_empty: bool = True


@dataclass
class Book:
    """Holdings, pools and containers under the locked heads."""

    heads: frozenset[HeadKey]
    places: dict[int, Place] = field(default_factory=dict)
    holdings: dict[HoldingKey, HoldingState] = field(default_factory=dict)
    pools: dict[PoolKey, PoolState] = field(default_factory=dict)
    lots: dict[int, Container] = field(default_factory=dict)
    containers: dict[int, Container] = field(default_factory=dict)
    reservations: list[Reservation] = field(default_factory=list)
    # Whether anything happened after the entry's moment to what it counts.
    is_overtaken: bool = False

    def require(self, head: HeadKey) -> None:
        """Stop unless the head is locked."""
        if head not in self.heads:
            raise MoreLocksNeeded({head})

    def holding(self, key: HoldingKey) -> HoldingState:
        self.require(key.head)
        return self.holdings.setdefault(key, HoldingState())

    def pool(self, key: PoolKey) -> PoolState:
        self.require(key.head)
        return self.pools.setdefault(key, PoolState())

    def pools_of(self, head: HeadKey) -> list[tuple[int, PoolState]]:
        """Lots under a head that hold goods, oldest first; the pool without lot comes first of all."""
        self.require(head)
        found = [(key.lot_id, state) for key, state in self.pools.items() if key.head == head]
        return sorted(
            ((lot_id, state) for lot_id, state in found if state.quantity > 0), key=self._age_of_pool
        )

    def _age_of_pool(self, item: tuple[int, PoolState]) -> tuple[bool, float, int]:
        lot_id, _state = item
        lot = self.lots.get(lot_id)
        received_at = lot.received_at if lot else None
        return (lot_id != 0, received_at.timestamp() if received_at else 0.0, lot_id)

    def totals(self, head: HeadKey) -> PoolState:
        """Quantity and value under a head, over all its lots."""
        self.require(head)
        states = [state for key, state in self.pools.items() if key.head == head]
        return PoolState(
            quantity=sum(state.quantity for state in states), value=sum(state.value for state in states)
        )

    def counted_at(self, key: HoldingKey) -> datetime | None:
        """When the goods were last counted. A vessel is counted wherever it stood, a lot where it lay."""
        container = self.containers.get(key.container_id)
        if container is None or not container.stands_somewhere:
            return self.holding(key).counted_at
        moments = [
            state.counted_at
            for other, state in self.holdings.items()
            if other.container_id == key.container_id
            and other.head.material_id == key.head.material_id
            and state.counted_at is not None
        ]
        return max(moments, default=None)

    def contents_of(self, container_id: int) -> list[tuple[HoldingKey, HoldingState]]:
        """What a container holds, in a fixed order."""
        return sorted(
            (
                (key, state)
                for key, state in self.holdings.items()
                if key.container_id == container_id and state.quantity > 0
            ),
            key=lambda item: item[0],
        )


def load_book(
    *,
    under_lock: UnderLock,
    heads: frozenset[HeadKey],
    containers: Collection[Container],
    materials: Collection[Material],
) -> Book:
    """Make the book of what was read under lock, with the vessels and lots that it needs besides."""
    book = Book(heads=heads, is_overtaken=under_lock.is_overtaken)
    for key, (quantity, value) in under_lock.pools.items():
        is_empty = not quantity and not value
        book.pools[PoolKey(key, 0)] = PoolState(quantity, value, was_empty=is_empty)
    for holding, (quantity, counted_at, is_unsettled) in under_lock.holdings.items():
        book.holdings[holding] = HoldingState(quantity, counted_at, is_unsettled)
    book.containers = {row.pk: row for row in under_lock.containers}
    # New ones were saved when the lock was held.
    new = sorted({container.pk for container in containers} - set(book.containers))
    if new:
        rows = Container.objects.filter(pk__in=new).select_related("place").order_by("pk")
        book.containers |= {row.pk: row for row in rows}
    _load_lots(book, _costed_by_lot(heads, materials))
    if under_lock.has_promises:
        book.reservations = list(find_promises(heads))
    return book


def find_promises(heads: frozenset[HeadKey]) -> QuerySet[Reservation]:
    """What of the goods under the heads, and perhaps some others, is promised."""
    return Reservation.objects.filter(
        place__in={head.place_id for head in heads}, material__in={head.material_id for head in heads}
    )


def _costed_by_lot(heads: frozenset[HeadKey], materials: Collection[Material]) -> set[int]:
    """Return the materials under the heads that have lots; a vessel may hold one that nobody named."""
    known = {material.pk: material for material in materials}
    unknown = {head.material_id for head in heads} - set(known)
    if unknown:
        known |= Material.objects.in_bulk(unknown)
    average = Material.CostFormula.WEIGHTED_AVERAGE
    return {pk for pk, material in known.items() if material.cost_formula != average}


def _load_lots(book: Book, material_ids: set[int]) -> None:
    heads = [head for head in book.heads if head.material_id in material_ids]
    if not heads:
        return
    rows = CostPool.objects.filter(
        place__in={head.place_id for head in heads}, material__in=material_ids, lot__isnull=False
    ).exclude(quantity=0, value=0)
    for row in rows.select_related("lot"):
        head = HeadKey(row.place_id, row.material_id, row.owner_id)
        if head in book.heads and row.lot is not None:
            book.pools[PoolKey(head, row.lot.pk)] = PoolState(row.quantity, row.value, was_empty=False)
            book.lots[row.lot.pk] = row.lot


def find_effects_after(key: HoldingKey, container: Container | None, moment: datetime) -> int:
    """Return by how much what happened after a moment changed a holding.

    A vessel's contents are followed wherever it stood: what moved with it cancels out. "Book short" is left
    out: it tells of goods that had been there all along, not of goods that came.
    """
    movements = Movement.objects.filter(
        material=key.head.material_id, owner=key.head.owner_id, effective_at__gt=moment
    ).exclude(purpose=Movement.Purpose.BOOK_SHORT)
    if container is not None and container.stands_somewhere:
        inflow, outflow = Q(target_container=container), Q(source_container=container)
    else:
        inflow = Q(target_place=key.head.place_id, target_container=container)
        outflow = Q(source_place=key.head.place_id, source_container=container)
    sums = movements.filter(inflow | outflow).aggregate(
        brought=Sum(HIGH, filter=inflow),
        brought_low=Sum(LOW, filter=inflow),
        taken=Sum(HIGH, filter=outflow),
        taken_low=Sum(LOW, filter=outflow),
    )
    whole = {name: int(value or 0) for name, value in sums.items()}
    return (whole["brought"] - whole["taken"]) * SPLIT + whole["brought_low"] - whole["taken_low"]


def find_last_unit_cost(material: Material, owner_id: int) -> Fraction:
    """Return what a unit last cost on coming from a supplier, else the material's standard, else nothing."""
    last = (
        Movement.objects.filter(
            source_place__kind=Place.Kind.SUPPLIER,
            entry__reversed_by__isnull=True,
            material=material,
            owner=owner_id,
            value__gt=0,
            quantity__gt=0,
        )
        .order_by("-entry_id", "-line")
        .values_list("value", "quantity")
        .first()
    )
    if last:
        return Fraction(*last)
    return Fraction(material.standard_unit_cost or 0, 10**6)


def find_brought(head: HeadKey, lot_id: int) -> tuple[int, int]:
    """Return quantity and value of what was brought to a use place.

    From them follows what a unit cost on its way there, on average. The pool there may be dearer: fluid that
    came back as recovered leaves most of its cost with the work, and that must not go back with what comes
    back unused. Nor must revaluations and what was undone.
    """
    brought = Movement.objects.filter(
        target_place=head.place_id,
        material=head.material_id,
        owner=head.owner_id,
        lot=lot_id or None,
        quantity__gt=0,
        # What was undone never came, nor did what its undoing gave back.
        entry__reversed_by__isnull=True,
        entry__reverses__isnull=True,
    ).aggregate(quantity=Sum("quantity"), value=Sum("value"))
    return int(brought["quantity"] or 0), int(brought["value"] or 0)


def find_counted_at(key: HoldingKey, *, without_entry: int) -> datetime | None:
    """Return the moment of the last standing count of a holding, leaving one entry out."""
    return (
        CountReading.objects.filter(
            place=key.head.place_id,
            material=key.head.material_id,
            owner=key.head.owner_id,
            container=key.container_id or None,
            entry__reversed_by__isnull=True,
        )
        .exclude(entry=without_entry)
        .order_by("-counted_at")
        .values_list("counted_at", flat=True)
        .first()
    )


def changed_rows(book: Book) -> tuple[Rows, Rows]:
    """Return the holdings and cost pools that the entry changed, in the order of the locks."""
    kept = {place_id: place.keeps_stock for place_id, place in book.places.items()}
    holdings = [
        (*_filed_under(key, key.container_id, kept), state.quantity, state.is_unsettled, state.counted_at)
        for key, state in sorted(book.holdings.items())
        if state.is_changed
    ]
    pools = [
        (*_filed_under(key, key.lot_id, kept), state.quantity, state.value)
        for key, state in sorted(book.pools.items())
        if state.is_changed
    ]
    head = ("key", "place_id", "material_id", "owner_id")
    found, cost = ("quantity", "is_unsettled", "counted_at"), ("quantity", "value")
    return (
        Rows(Holding, (*head, "container_id", "is_kept", *found), holdings, updated=found),
        Rows(CostPool, (*head, "lot_id", "is_kept", *cost), pools, updated=cost),
    )


def _filed_under(key: HoldingKey | PoolKey, part_id: int, kept: dict[int, bool]) -> tuple[object, ...]:
    return (key.text(), *key.head, part_id or None, kept[key.head.place_id])


def refuse_overflow(book: Book, movements: Iterable[Movement]) -> None:
    """Refuse what no column can hold; the databases would each say so in their own way, without a code."""
    amounts = [state.quantity for state in book.holdings.values() if state.is_changed]
    for pool in book.pools.values():
        if pool.is_changed:
            amounts += [pool.quantity, pool.value]
    for movement in movements:
        amounts += [movement.quantity, movement.value]
    if any(abs(amount) > LARGEST_SUM for amount in amounts):
        raise AmountOutOfRange("What would lie there, or its cost, is too much to be written down.")
