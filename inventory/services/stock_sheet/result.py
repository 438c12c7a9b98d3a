"""What an import has done, read back from the entries it made, so that a retry gives the same answer."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Sum

from inventory.models import (
    Container,
    ContainerChange,
    CountReading,
    DomainEvent,
    Entry,
    Material,
    Movement,
    Party,
    Place,
)

# A difference of more than a tenth of the book is more often a slip of the pen than a loss (a choice).
LARGE_DIVISOR = 10
# Movements by which a count makes the book agree.
_ADJUSTING = (Movement.Purpose.COUNTED, Movement.Purpose.BOOK_SHORT)


@dataclass(frozen=True)
class Opening:
    """Opening stock of one material and owner: in how many holdings, how much, worth what."""

    material: Material
    owner: Party
    holdings: int
    quantity: int
    value: int


@dataclass(frozen=True)
class CountDifference:
    """A holding that was not as the book said. `value` is what was put on or taken off the stock's value.

    `is_posted` is false where a later count already says what is there: then this one changes nothing.
    """

    place: Place
    container: Container | None
    material: Material
    owner: Party
    counted_quantity: int
    book_quantity: int
    value: int
    is_posted: bool

    @property
    def quantity(self) -> int:
        return self.counted_quantity - self.book_quantity

    @property
    def is_large(self) -> bool:
        """Whether somebody should count again before believing it."""
        return abs(self.quantity) * LARGE_DIVISOR > abs(self.book_quantity)


@dataclass(frozen=True)
class StockImport:
    """What an import did, or would do. Codes by noun in `introduced`, quantities in millionths."""

    id: UUID
    file: str
    document: str
    occurred_at: datetime
    rows: int
    introduced: dict[str, list[str]]
    openings: tuple[Opening, ...]
    differences: tuple[CountDifference, ...]
    equal: int
    moved: tuple[ContainerChange, ...]
    not_on_sheet: int
    ignored_headers: tuple[str, ...]
    # Numbers that could be read two ways, with how they were read.
    doubtful: tuple[str, ...] = ()
    is_dry_run: bool = False
    is_repeat: bool = False


def describe_import(event: DomainEvent, *, is_dry_run: bool = False, is_repeat: bool = False) -> StockImport:
    """Read what an import did from its event and its entries."""
    body: dict[str, Any] = event.body
    entries = list(Entry.objects.filter(uuid__in=body["entries"]).values_list("key", flat=True))
    readings = CountReading.objects.filter(entry__in=entries)
    return StockImport(
        id=event.uuid,
        file=body["file"],
        document=body["document"],
        occurred_at=event.occurred_at,
        rows=body["rows"],
        introduced=body["introduced"],
        openings=tuple(_list_openings(entries)),
        differences=tuple(_list_differences(entries)),
        equal=readings.filter(counted_quantity=F("book_quantity")).count(),
        moved=tuple(_list_moved(entries)),
        not_on_sheet=body["not_on_sheet"],
        ignored_headers=tuple(body["ignored_headers"]),
        doubtful=tuple(body.get("doubtful", ())),
        is_dry_run=is_dry_run,
        is_repeat=is_repeat,
    )


def _list_openings(entries: list[int]) -> Iterable[Opening]:
    sums = (
        Movement.objects.filter(entry__in=entries, purpose=Movement.Purpose.RECEIVED)
        .values("material_id", "owner_id")
        .annotate(holdings=Count("pk"), total=Sum("quantity"), worth=Sum("value"))
        .order_by("material__kind", "material__code", "owner__code")
    )
    materials = Material.objects.in_bulk([row["material_id"] for row in sums])
    owners = Party.objects.in_bulk([row["owner_id"] for row in sums])
    for row in sums:
        yield Opening(
            materials[row["material_id"]],
            owners[row["owner_id"]],
            row["holdings"],
            row["total"],
            row["worth"],
        )


def _list_differences(entries: list[int]) -> Iterable[CountDifference]:
    adjusted = _sum_adjustments(entries)
    readings = (
        CountReading.objects.filter(entry__in=entries)
        .exclude(counted_quantity=F("book_quantity"))
        .select_related("place", "container", "material", "owner")
    )
    for row in readings.order_by("place__code", "material__code", "container__label"):
        key = (row.place_id, row.material_id, row.owner_id, row.container_id)
        quantity, value = adjusted.get(key, (0, 0))
        yield CountDifference(
            place=row.place,
            container=row.container,
            material=row.material,
            owner=row.owner,
            counted_quantity=row.counted_quantity,
            book_quantity=row.book_quantity,
            value=value,
            is_posted=quantity == row.counted_quantity - row.book_quantity,
        )


def _sum_adjustments(entries: list[int]) -> dict[tuple[int, int, int, int | None], tuple[int, int]]:
    sums: dict[tuple[int, int, int, int | None], tuple[int, int]] = defaultdict(lambda: (0, 0))
    rows = Movement.objects.filter(entry__in=entries, purpose__in=_ADJUSTING).values_list(
        "source_place__kind", "source_place_id", "source_container_id", "target_place_id",
        "target_container_id", "material_id", "owner_id", "quantity", "value",
    )  # fmt: skip
    for kind, source, source_box, target, target_box, material, owner, quantity, value in rows:
        is_found = kind == Place.Kind.VARIANCE
        place, box = (target, target_box) if is_found else (source, source_box)
        sign = 1 if is_found else -1
        before = sums[place, material, owner, box]
        sums[place, material, owner, box] = (before[0] + sign * quantity, before[1] + sign * value)
    return sums


def _list_moved(entries: list[int]) -> Iterable[ContainerChange]:
    changes = ContainerChange.objects.filter(entry__in=entries, source_place__isnull=False)
    changes = changes.exclude(source_place=F("target_place"))
    return changes.select_related("container", "source_place", "target_place").order_by("container__label")
