"""Stock as accounts see it: what it was on any day, how it came there from an earlier one, how old it is.

Days are those on which entries are booked, so a closed period always tells the same.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Q, QuerySet, Sum

from inventory.errors import BadInput, Fault
from inventory.models import Container, Material, Movement, Party, Place

Purpose = Movement.Purpose
# Under which word a change of stock is told. What goes the other way, as a reversal does, takes away from it.
WORDS: dict[str, str] = {
    Purpose.RECEIVED: "received",
    Purpose.RETURNED: "returned",
    Purpose.RECOVERED: "recovered",
    Purpose.CONVERTED: "converted",
    Purpose.USED: "used",
    Purpose.INSTALLED: "used",
    Purpose.WORN: "used",
    Purpose.LOST: "used",
    Purpose.DISPOSED: "disposed",
    Purpose.MOVED: "moved",
    Purpose.POURED: "moved",
    Purpose.FOUND_HERE: "moved",
    Purpose.COUNTED: "adjusted",
    Purpose.COUNT_SETTLED: "adjusted",
    Purpose.BOOK_SHORT: "adjusted",
    Purpose.REVALUED: "revalued",
    Purpose.PRICE_VARIANCE: "revalued",
}
CHANGES = tuple(dict.fromkeys(WORDS.values()))


@dataclass
class Worth:
    """A quantity (millionths of the stock unit) and its value (millionths of the currency)."""

    quantity: int = 0
    value: int = 0

    def add(self, quantity: int, value: int) -> None:
        self.quantity += quantity
        self.value += value


@dataclass
class RolledForward:
    """One material of one owner from the evening before the first day to the evening of the last."""

    material: Material
    owner: Party
    opening: Worth = field(default_factory=Worth)
    changes: dict[str, Worth] = field(default_factory=lambda: {word: Worth() for word in CHANGES})

    @property
    def closing(self) -> Worth:
        parts = [self.opening, *self.changes.values()]
        return Worth(sum(part.quantity for part in parts), sum(part.value for part in parts))


@dataclass(frozen=True)
class StockRow:
    """What lay in one place of one lot on a day. `received_date` is that of the lot, where there is one."""

    place: Place
    material: Material
    owner: Party
    lot: Container | None
    quantity: int
    value: int
    received_date: date | None
    age_days: int | None


def roll_forward(
    *, first_date: date | None, last_date: date, places: Iterable[int] | None = None
) -> list[RolledForward]:
    """Stock before the first day, what came and went by word, and so the stock of the last evening.

    `places` narrows it from all the company's stock places to these; what goes between them is no change.
    `first_date` None begins with the book.

    Raises
    ------
    BadInput
        If the last day lies before the first.
    """
    if first_date is not None and last_date < first_date:
        raise BadInput.of([Fault("/last_date", str(last_date), f"lies before {first_date}")])
    rows: dict[tuple[int, int], dict[str, Worth]] = defaultdict(lambda: defaultdict(Worth))
    for sign, into, out_of in ((1, "target_place", "source_place"), (-1, "source_place", "target_place")):
        ours, theirs = _inside(into, places), _inside(out_of, places)
        crossing = Movement.objects.filter(ours & ~theirs, entry__booked_date__lte=last_date)
        in_time = crossing if first_date is None else crossing.filter(entry__booked_date__gte=first_date)
        for material, owner, purpose, quantity, value in _sum(in_time, "purpose"):
            rows[material, owner][WORDS[purpose]].add(sign * quantity, sign * value)
        if first_date is not None:
            before = crossing.filter(entry__booked_date__lt=first_date)
            for material, owner, quantity, value in _sum(before):
                rows[material, owner]["opening"].add(sign * quantity, sign * value)
    return _name_rows(rows)


def list_stock_at(*, day: date, places: Iterable[int] | None = None) -> list[StockRow]:
    """What lay where on the evening of a day, by place, material, owner and lot, with its age.

    Weighted averages know no lots; their age is not known here, see `list_stock_ages`.
    """
    sums: dict[tuple[int, int, int, int | None], Worth] = defaultdict(Worth)
    for sign, end in ((1, "target_place"), (-1, "source_place")):
        moved = Movement.objects.filter(_inside(end, places), entry__booked_date__lte=day)
        by_name = moved.order_by().values_list(end, "material", "owner", "lot")
        for place, material, owner, lot, quantity, value in by_name.annotate(Sum("quantity"), Sum("value")):
            sums[place, material, owner, lot].add(sign * int(quantity), sign * int(value))
    there = {key: worth for key, worth in sums.items() if worth.quantity or worth.value}
    found = _Named(there)
    return sorted(
        [_stock_row(key, worth, found, day) for key, worth in there.items()],
        key=lambda row: (row.place.code, row.material.code, row.owner.code, row.lot.label if row.lot else ""),
    )


@dataclass(frozen=True)
class StockAge:
    """How much of a material was at most so many days old: one amount a limit, and what was older."""

    material: Material
    limits_days: tuple[int, ...]
    quantities: list[int]


def list_stock_ages(*, day: date, limits_days: tuple[int, ...] = (30, 90, 180, 365)) -> list[StockAge]:
    """How old our stock of each material was on a day, in millionths of its unit, by material.

    Of all that is there the newest receipts are taken to be what is left, as first in, first out leaves
    it. So it is known under a weighted average too.
    """
    left = {
        row.material.pk: row.closing.quantity
        for row in roll_forward(first_date=None, last_date=day)
        if row.owner.is_company and row.closing.quantity > 0
    }
    receipts = Movement.objects.filter(
        Q(entry__reversed_by__isnull=True) | Q(entry__reversed_by__booked_date__gt=day),
        purpose=Purpose.RECEIVED,
        entry__booked_date__lte=day,
        target_place__kind__in=Place.STOCK_KINDS,
        owner__is_company=True,
        entry__reverses__isnull=True,
    )
    by_day = receipts.order_by("-entry__booked_date").values_list("material", "entry__booked_date")
    aged = {material: [0] * (len(limits_days) + 1) for material in left}
    for material, booked, quantity in by_day.annotate(Sum("quantity")):
        part = min(int(quantity), left.get(material, 0))
        if part:
            aged[material][_find_step((day - booked).days, limits_days)] += part
            left[material] -= part
    for material, amounts in aged.items():
        # What no receipt tells of is as old as the book.
        amounts[-1] += left[material]
    materials = Material.objects.in_bulk(aged)
    found = [StockAge(materials[key], limits_days, amounts) for key, amounts in aged.items()]
    return sorted(found, key=lambda row: row.material.code)


def _find_step(age_days: int, limits_days: tuple[int, ...]) -> int:
    return next((number for number, limit in enumerate(limits_days) if age_days <= limit), len(limits_days))


class _Named:
    """The records behind keys, one query a kind."""

    def __init__(self, keys: Iterable[tuple[int, int, int, int | None]]) -> None:
        keys = list(keys)
        self.places = Place.objects.in_bulk({key[0] for key in keys})
        self.materials = Material.objects.in_bulk({key[1] for key in keys})
        self.owners = Party.objects.in_bulk({key[2] for key in keys})
        self.lots = Container.objects.in_bulk({key[3] for key in keys if key[3] is not None})


def _stock_row(key: tuple[int, int, int, int | None], worth: Worth, found: _Named, day: date) -> StockRow:
    place, material, owner, lot_id = key
    lot = found.lots.get(lot_id) if lot_id is not None else None
    received = lot.received_at.date() if lot is not None and lot.received_at is not None else None
    return StockRow(
        place=found.places[place],
        material=found.materials[material],
        owner=found.owners[owner],
        lot=lot,
        quantity=worth.quantity,
        value=worth.value,
        received_date=received,
        age_days=(day - received) // timedelta(days=1) if received is not None else None,
    )


def _inside(end: str, places: Iterable[int] | None) -> Q:
    return Q(**{f"{end}__kind__in": Place.STOCK_KINDS} if places is None else {f"{end}__in": list(places)})


def _sum(movements: QuerySet[Movement], *also: str) -> Iterator[tuple[Any, ...]]:
    rows = movements.order_by().values_list("material", "owner", *also)
    for *key, quantity, value in rows.annotate(whole=Sum(F("quantity")), worth=Sum(F("value"))):
        yield (*key, int(quantity), int(value))


def _name_rows(rows: dict[tuple[int, int], dict[str, Worth]]) -> list[RolledForward]:
    materials = Material.objects.in_bulk({key[0] for key in rows})
    owners = Party.objects.in_bulk({key[1] for key in rows})
    found = []
    for (material, owner), parts in rows.items():
        row = RolledForward(materials[material], owners[owner], opening=parts.pop("opening", Worth()))
        row.changes.update(parts)
        if any(part.quantity or part.value for part in (row.opening, *row.changes.values())):
            found.append(row)
    return sorted(found, key=lambda row: (row.material.kind, row.material.code, row.owner.code))
