"""Received goods followed through the book, and what was made of them, with the cost that they carry."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from itertools import groupby
from typing import Any

from django.db.models import Case, F, IntegerField, Q, QuerySet, Sum, Value, When

from inventory.calc.landed_costs import part_of, round_quotient
from inventory.models import CostPool, Entry, Material, Movement, Place
from inventory.units import MILLION

# A receipt's entry and a material in it.
Name = tuple[int, int]
# A place, a material there, and the lot whose cost it is, 0 under an average and outside.
Heap = tuple[int, int, int]

KEPT = Place.STOCK_KINDS | Place.USE_KINDS
Purpose = Movement.Purpose
ALL = Fraction(1)


# One movement: entry, 1 where its day is closed, the entry it undoes, purpose, material, source, target, lot,
# quantity, value. A bare row, since a hundred thousand of them are read for one bill.
_Step = tuple[int, int, int | None, str, int, int, int, int | None, int, int]


@dataclass
class Followed:
    """How much of each receipt stands somewhere, in millionths of its unit, as its cost went.

    `closed` is what of that came on days that are closed. `brought` is what came to a use place since it was
    last empty: recovered fluid leaves most of its cost there, which does not go with what comes back later.
    """

    quantity: int = 0
    parts: dict[Name, int] = field(default_factory=lambda: defaultdict(int))
    closed: dict[Name, int] = field(default_factory=lambda: defaultdict(int))
    brought_quantity: int = 0
    brought: dict[Name, int] = field(default_factory=lambda: defaultdict(int))


def follow_goods(names: Collection[Name], *, closed_until: date | None) -> dict[Heap, Followed]:
    """Where what these receipts brought is now; what is in no place of ours stands with the outside place.

    What leaves goods that are valued together takes its share by quantity along, as their average cost
    does. Recovered fluid takes the share of its policy, what a conversion makes takes all. Together the
    parts are at most what was received: what left a conversion without cost is in none.
    """
    if not names:
        return {}
    first = min(entry for entry, _material in names)
    received = Movement.objects.filter(entry__in={entry for entry, _material in names})
    lots = set(received.filter(lot__isnull=False).order_by().values_list("lot", flat=True).distinct())
    carried = _find_carried({material for _entry, material in names}, lots, first)
    walk = _Walk(set(names), carried.find_before(), carried, closed_until)
    walk.take_all()
    return walk.heaps


def follow_value(entry: Entry, *, closed_until: date | None) -> dict[Heap, Followed]:
    """Where the value is now that a revaluation put on goods or took off them, whichever way it went.

    Its lines are followed instead of receipts: a name is the entry and the line's number, an amount is in
    millionths of the currency. What went out of our places is in none of these.
    """
    lines = list(
        entry.movements.filter(quantity=0)
        .order_by("line")
        .values_list(
            "line", "material", "lot", "value",
            "source_place", "source_place__kind", "target_place", "target_place__kind",
        )
    )  # fmt: skip
    carried = _find_carried({row[1] for row in lines}, {row[2] for row in lines if row[2]}, entry.pk + 1)
    heaps = carried.find_before()
    is_closed = closed_until is not None and entry.booked_date <= closed_until
    for line, material, lot, value, source, source_kind, target, target_kind in lines:
        is_on = target_kind in KEPT
        if not is_on and source_kind not in KEPT:
            continue
        heap = heaps.setdefault((target if is_on else source, material, lot or 0), Followed())
        heap.parts[entry.pk, line] = value
        if not is_on:
            # What comes back from work takes no more than it brought there, and it brought nothing of a rise.
            heap.brought[entry.pk, line] = value
        if is_closed:
            heap.closed[entry.pk, line] = value
    walk = _Walk(set(), heaps, carried, closed_until)
    walk.take_all()
    return walk.heaps


@dataclass(frozen=True)
class _Carried:
    """What may carry the cost that is followed: materials since an entry, and lots, None for all of them."""

    materials: set[int]
    lots: set[int] | None
    first: int

    @property
    def of_lots(self) -> Q:
        return Q() if self.lots is None else Q(lot__isnull=True) | Q(lot__in=self.lots)

    def list_moved(self) -> QuerySet[Movement]:
        """The company's goods that went from place to place, read by place, as the book has others."""
        places = Place.objects.filter(
            ~Q(kind__in=KEPT) | Q(pk__in=CostPool.objects.filter(material__in=self.materials).values("place"))
        )
        return Movement.objects.filter(
            self.of_lots,
            source_place__in=places.order_by().values("pk"),
            material__in=self.materials,
            owner__is_company=True,
            entry__gte=self.first,
            quantity__gt=0,
        ).exclude(source_place=F("target_place"))

    def find_before(self) -> dict[Heap, Followed]:
        """What was held before the first of the movements: what is held now less what they brought."""
        sums: dict[Heap, int] = defaultdict(int)
        pools = CostPool.objects.filter(
            self.of_lots, material__in=self.materials, owner__is_company=True, is_kept=True
        )
        for place, material, lot, quantity in pools.values_list("place", "material", "lot", "quantity"):
            sums[place, material, lot or 0] += quantity
        for sign, end in ((-1, "target_place"), (1, "source_place")):
            rows = self.list_moved().filter(**{f"{end}__kind__in": KEPT}).order_by()
            for place, material, lot, quantity in rows.values_list(end, "material", "lot").annotate(
                Sum("quantity")
            ):
                sums[place, material, lot or 0] += sign * int(quantity)
        return {heap: Followed(quantity, brought_quantity=quantity) for heap, quantity in sums.items()}


def _find_carried(materials: set[int], lots: set[int], first: int) -> _Carried:
    """All that was made of these materials and lots since an entry.

    Outside no lot is told from another, so where anything comes back from there every lot may carry.
    """
    known = _list_made_of(materials, first)
    comes_back = Movement.objects.filter(material__in=known, entry__gte=first, quantity__gt=0)
    comes_back = comes_back.exclude(source_place__kind__in=[*KEPT, Place.Kind.PROCESS])
    if comes_back.exclude(purpose=Purpose.RECEIVED).exists():
        return _Carried(known, None, first)
    turned = Movement.objects.filter(
        material__in=known, entry__gte=first, target_place__kind=Place.Kind.PROCESS
    )
    found, of_new = set(lots), Q(lot__isnull=True) | Q(lot__in=lots)
    while True:
        made = Movement.objects.filter(entry__in=turned.filter(of_new).values("entry"), lot__isnull=False)
        made = made.filter(source_place__kind=Place.Kind.PROCESS).order_by()
        new = set(made.values_list("lot", flat=True).distinct()) - found
        if not new:
            return _Carried(known, found, first)
        found |= new
        of_new = Q(lot__in=new)


def _list_made_of(materials: set[int], first: int) -> set[int]:
    """These materials and all that was made of them since an entry."""
    known: set[int] = set()
    new = set(materials)
    while new:
        known |= new
        turned = Movement.objects.filter(
            material__in=new, entry__gte=first, target_place__kind=Place.Kind.PROCESS
        )
        made = Movement.objects.filter(entry__in=turned.values("entry"))
        made = made.filter(source_place__kind=Place.Kind.PROCESS).order_by()
        new = set(made.values_list("material", flat=True).distinct()) - known
    return known


class _Walk:
    """The goods on their way, movement by movement, conversions entry by entry."""

    def __init__(
        self, names: set[Name], heaps: dict[Heap, Followed], carried: _Carried, closed_until: date | None
    ) -> None:
        self.heaps = heaps
        self._names = names
        self._moved = carried.list_moved()
        self._closed_until = closed_until
        shares = Material.objects.filter(pk__in=carried.materials)
        self._recovered_shares = dict(shares.values_list("pk", "recovered_value_share"))
        kinds = dict(Place.objects.order_by().values_list("pk", "kind"))
        self._kept = {place for place, kind in kinds.items() if kind in KEPT}
        self._use = {place for place, kind in kinds.items() if kind in Place.USE_KINDS}
        self._process = {place for place, kind in kinds.items() if kind == Place.Kind.PROCESS}

    def take_all(self) -> None:
        is_process = Q(source_place__in=self._process) | Q(target_place__in=self._process)
        turning = set(self._moved.filter(is_process).order_by().values_list("entry", flat=True))
        for entry, steps in groupby(self._list_steps(), key=lambda step: step[0] in turning and step[0]):
            if entry:
                self._take_conversion(list(steps))
                continue
            for step in steps:
                moving = self._take(step)
                self._put(step, moving)

    def _list_steps(self) -> Iterator[_Step]:
        closed: Any = Value(0, IntegerField())
        if self._closed_until is not None:
            closed = Case(
                When(entry__booked_date__lte=self._closed_until, then=1),
                default=0,
                output_field=IntegerField(),
            )
        rows = self._moved.annotate(closed=closed).order_by("entry", "line")
        return rows.values_list(
            "entry", "closed", "entry__reverses", "purpose", "material", "source_place", "target_place",
            "lot", "quantity", "value",
        ).iterator()  # fmt: skip

    def _take_conversion(self, steps: list[_Step]) -> None:
        made = [step for step in steps if step[5] in self._process]
        turned: dict[Name, int] = defaultdict(int)
        share = self._recovered_share(made)
        has_value = any(step[9] for step in made)
        whole = sum(step[9] if has_value else step[8] for step in made)
        seen = 0
        for step in steps:
            if step[5] in self._process:
                upto = seen + (step[9] if has_value else step[8])
                moving = {name: _part(amount, whole, seen, upto) for name, amount in turned.items()}
                seen = upto
            else:
                moving = self._take(step, share)
            if step[6] in self._process:
                for name, amount in moving.items():
                    turned[name] += amount
            else:
                self._put(step, moving)

    def _recovered_share(self, made: Iterable[_Step]) -> Fraction:
        """The share of its cost that goes with fluid recovered by an entry."""
        caught = [step for step in made if step[3] == Purpose.RECOVERED]
        quantity = sum(step[8] for step in caught)
        share = sum(step[8] * self._recovered_shares[step[4]] for step in caught)
        return Fraction(share, quantity * MILLION) if quantity else Fraction(1)

    def _take(self, step: _Step, share: Fraction = ALL) -> dict[Name, int]:
        entry, closed, _undone, purpose, material, source, target, lot, quantity, _value = step
        is_kept = source in self._kept
        if purpose == Purpose.RECEIVED and not is_kept:
            return {(entry, material): quantity} if (entry, material) in self._names else {}
        heap = self.heaps.get((source, material, (lot or 0) if is_kept else 0))
        if heap is None:
            return {}
        whole = heap.quantity
        going = min(quantity, whole)
        moving: dict[Name, int] = {}
        if heap.parts:
            is_used = source in self._use
            is_recovered = is_used and target in self._process
            for name, amount in heap.parts.items():
                part = round_quotient(amount * going, whole) if amount and whole else 0
                if is_used and heap.brought_quantity >= going:
                    part = min(part, _part(heap.brought[name], heap.brought_quantity, 0, going))
                if part:
                    moving[name] = round(part * share) if is_recovered else part
            for name, amount in moving.items():
                heap.parts[name] -= amount
                if closed:
                    heap.closed[name] -= amount
        heap.quantity = whole - going
        return moving

    def _put(self, step: _Step, moving: dict[Name, int]) -> None:
        _entry, closed, undone, _purpose, material, _source, target, lot, quantity, _value = step
        key = (target, material, (lot or 0) if target in self._kept else 0)
        heap = self.heaps.get(key)
        if heap is None:
            heap = self.heaps[key] = Followed()
        if undone is None and target in self._use:
            if not heap.quantity:
                heap.brought_quantity = 0
                heap.brought.clear()
            heap.brought_quantity += quantity
            for name, amount in moving.items():
                heap.brought[name] += amount
        heap.quantity += quantity
        for name, amount in moving.items():
            heap.parts[name] += amount
            if closed:
                heap.closed[name] += amount


def _part(amount: int, whole: int, before: int, upto: int) -> int:
    """The part of an amount that goes from one running total to another; of nothing there is none."""
    if not amount or not whole:
        return 0
    return part_of(whole_value=amount, whole_quantity=whole, before=before, upto=upto)
