"""Received goods followed through the book, and what was made of them, with the cost that they carry."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from django.db.models import F, QuerySet, Sum

from inventory.calc.landed_costs import part_of
from inventory.models import CostPool, Entry, Material, Movement, Place
from inventory.units import MILLION

# A receipt's entry and a material in it.
Name = tuple[int, int]
# A place, a material there, and the lot whose cost it is, 0 under an average and outside.
Heap = tuple[int, int, int]

KEPT = Place.STOCK_KINDS | Place.USE_KINDS
Purpose = Movement.Purpose


class _Step(NamedTuple):
    """One movement with what is to be known of its ends."""

    entry: int
    line: int
    booked_date: date
    reverses: int | None
    purpose: str
    material: int
    source: int
    source_kind: str
    target: int
    target_kind: str
    lot: int | None
    quantity: int
    value: int

    @property
    def is_undoing(self) -> bool:
        return self.reverses is not None


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
    materials = _list_made_of({material for _entry, material in names}, first)
    moved = Movement.objects.filter(
        material__in=materials, owner__is_company=True, entry__gte=first, quantity__gt=0
    ).exclude(source_place=F("target_place"))
    shares = Material.objects.filter(pk__in=materials).values_list("pk", "recovered_value_share")
    walk = _Walk(set(names), _find_before(materials, moved), closed_until, dict(shares))
    for _entry, steps in groupby(_list_steps(moved), key=lambda step: step.entry):
        walk.take_entry(list(steps))
    return walk.heaps


def follow_value(entry: Entry, *, closed_until: date | None) -> dict[Heap, Followed]:
    """Where the value is now that a revaluation put on goods or took off them, whichever way it went.

    Its lines are followed instead of receipts: a name is the entry and the line's number, an amount is in
    millionths of the currency. What went out of our places is in none of these.
    """
    lines = list(_list_steps(entry.movements.filter(quantity=0)))
    later = Movement.objects.filter(owner__is_company=True, entry__gt=entry.pk, quantity__gt=0).exclude(
        source_place=F("target_place")
    )
    materials = _list_made_of({step.material for step in lines}, entry.pk + 1)
    moved = later.filter(material__in=materials)
    heaps = _find_before(materials, moved)
    for step in lines:
        is_on = step.target_kind in KEPT
        if not is_on and step.source_kind not in KEPT:
            continue
        place, kind = (step.target, step.target_kind) if is_on else (step.source, step.source_kind)
        heap = heaps.setdefault(_heap_of(step, place, kind), Followed())
        heap.parts[entry.pk, step.line] = step.value
        if not is_on:
            # What comes back from work takes no more than it brought there, and it brought nothing of a rise.
            heap.brought[entry.pk, step.line] = step.value
        if closed_until is not None and step.booked_date <= closed_until:
            heap.closed[entry.pk, step.line] = step.value
    shares = Material.objects.filter(pk__in=materials).values_list("pk", "recovered_value_share")
    walk = _Walk(set(), heaps, closed_until, dict(shares))
    for _entry, steps in groupby(_list_steps(moved), key=lambda step: step.entry):
        walk.take_entry(list(steps))
    return walk.heaps


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


def _find_before(materials: set[int], moved: QuerySet[Movement]) -> dict[Heap, Followed]:
    """What was held before the first of these movements: what is held now less what they brought."""
    sums: dict[Heap, int] = defaultdict(int)
    pools = CostPool.objects.filter(material__in=materials, owner__is_company=True, is_kept=True)
    for place, material, lot, quantity in pools.values_list("place", "material", "lot", "quantity"):
        sums[place, material, lot or 0] += quantity
    for sign, end in ((-1, "target_place"), (1, "source_place")):
        rows = moved.filter(**{f"{end}__kind__in": KEPT}).order_by()
        for place, material, lot, quantity in rows.values_list(end, "material", "lot").annotate(
            Sum("quantity")
        ):
            sums[place, material, lot or 0] += sign * int(quantity)
    return {heap: Followed(quantity, brought_quantity=quantity) for heap, quantity in sums.items()}


def _list_steps(moved: QuerySet[Movement]) -> Iterator[_Step]:
    rows = moved.order_by("entry", "line").values_list(
        "entry", "line", "entry__booked_date", "entry__reverses", "purpose", "material",
        "source_place", "source_place__kind", "target_place", "target_place__kind",
        "lot", "quantity", "value",
    )  # fmt: skip
    return (_Step(*row) for row in rows.iterator())


class _Walk:
    """The goods on their way, entry by entry."""

    def __init__(
        self,
        names: set[Name],
        heaps: dict[Heap, Followed],
        closed_until: date | None,
        recovered_shares: dict[int, int],
    ) -> None:
        self.heaps = heaps
        self._names = names
        self._closed_until = closed_until
        self._recovered_shares = recovered_shares

    def take_entry(self, steps: list[_Step]) -> None:
        made = [step for step in steps if step.source_kind == Place.Kind.PROCESS]
        turned: dict[Name, int] = defaultdict(int)
        share = self._recovered_share(made)
        has_value = any(step.value for step in made)
        whole = sum(step.value if has_value else step.quantity for step in made)
        seen = 0
        for step in steps:
            if step.source_kind == Place.Kind.PROCESS:
                upto = seen + (step.value if has_value else step.quantity)
                moving = {name: _part(amount, whole, seen, upto) for name, amount in turned.items()}
                seen = upto
            else:
                moving = self._take(step, share)
            if step.target_kind == Place.Kind.PROCESS:
                for name, amount in moving.items():
                    turned[name] += amount
            else:
                self._put(step, moving)

    def _recovered_share(self, made: Iterable[_Step]) -> Fraction:
        """The share of its cost that goes with fluid recovered by an entry."""
        caught = [step for step in made if step.purpose == Purpose.RECOVERED]
        quantity = sum(step.quantity for step in caught)
        share = sum(step.quantity * self._recovered_shares[step.material] for step in caught)
        return Fraction(share, quantity * MILLION) if quantity else Fraction(1)

    def _take(self, step: _Step, share: Fraction) -> dict[Name, int]:
        if step.purpose == Purpose.RECEIVED and step.source_kind not in KEPT:
            name = (step.entry, step.material)
            return {name: step.quantity} if name in self._names else {}
        heap = self.heaps.get(_heap_of(step, step.source, step.source_kind))
        if heap is None:
            return {}
        going = min(step.quantity, heap.quantity)
        is_used = step.source_kind in Place.USE_KINDS
        is_recovered = is_used and step.target_kind == Place.Kind.PROCESS
        moving = {}
        for name, amount in heap.parts.items():
            part = _part(amount, heap.quantity, 0, going)
            if is_used and heap.brought_quantity >= going:
                part = min(part, _part(heap.brought[name], heap.brought_quantity, 0, going))
            moving[name] = round(part * share) if is_recovered else part
        for name, amount in moving.items():
            self._change(heap, step, name, -amount)
        heap.quantity -= going
        return moving

    def _put(self, step: _Step, moving: dict[Name, int]) -> None:
        heap = self.heaps.setdefault(_heap_of(step, step.target, step.target_kind), Followed())
        if not step.is_undoing:
            if not heap.quantity:
                heap.brought_quantity = 0
                heap.brought.clear()
            heap.brought_quantity += step.quantity
            for name, amount in moving.items():
                heap.brought[name] += amount
        heap.quantity += step.quantity
        for name, amount in moving.items():
            self._change(heap, step, name, amount)

    def _change(self, heap: Followed, step: _Step, name: Name, amount: int) -> None:
        heap.parts[name] += amount
        if self._closed_until is not None and step.booked_date <= self._closed_until:
            heap.closed[name] += amount


def _heap_of(step: _Step, place: int, kind: str) -> Heap:
    return (place, step.material, (step.lot or 0) if kind in KEPT else 0)


def _part(amount: int, whole: int, before: int, upto: int) -> int:
    """The part of an amount that goes from one running total to another; of nothing there is none."""
    if not amount or not whole:
        return 0
    return part_of(whole_value=amount, whole_quantity=whole, before=before, upto=upto)
