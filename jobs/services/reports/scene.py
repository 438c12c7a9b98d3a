"""What stands around a report when it is booked: the day, its runs' spans, what the book holds there."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from inventory.models import Container, Material, Movement, Party, Place
from inventory.services.posting import End
from inventory.services.posting.rows import Select, columns_of, make_models, one_of, read_rows
from jobs.models import CrewDay, Span, SpanAttempt

# Goods in a truck's drums are taken from opened ones first.
OPEN = Container.State.OPEN


@dataclass
class Lying:
    """So much of a material in one place, loose or in one container."""

    place: Place
    material: Material
    container: Container | None
    quantity: int


class Stock:
    """What the book held at a moment where the report has a say; changed along with what is drafted."""

    def __init__(self, lying: Iterable[Lying]) -> None:
        self._lying: dict[tuple[int, int, int], Lying] = {}
        for each in lying:
            self._lying[_key(each.place, each.material, each.container)] = each

    def in_container(self, container: Container, material: Material) -> int:
        """How much of a material a vessel holds, wherever the book has it stand."""
        return sum(
            each.quantity
            for each in self._lying.values()
            if each.container is not None
            and each.container.pk == container.pk
            and each.material.pk == material.pk
        )

    def material_in(self, container: Container) -> Material | None:
        """What a vessel holds most of."""
        inside = [
            each
            for each in self._lying.values()
            if each.container is not None and each.container.pk == container.pk and each.quantity > 0
        ]
        return max(inside, key=lambda each: each.quantity).material if inside else None

    def at_place(self, place: Place, material: Material) -> int:
        return sum(
            each.quantity
            for each in self._lying.values()
            if each.place.pk == place.pk and each.material.pk == material.pk
        )

    def ends_with(self, place: Place, materials: Collection[int]) -> list[Lying]:
        """What lies at a place of some materials: opened vessels, sealed ones, lots, then loose goods."""
        found = [
            each
            for each in self._lying.values()
            if each.place.pk == place.pk and each.material.pk in materials and each.quantity > 0
        ]
        return sorted(found, key=_taking_order)

    def move(self, material: Material, quantity: int, source: End, target: End) -> None:
        for end, sign in ((source, -1), (target, 1)):
            place = end.place
            if end.container is not None and end.container.stands_somewhere:
                place = self._stands_at(end.container) or place
            lying = self._lying.setdefault(
                _key(place, material, end.container), Lying(place, material, end.container, 0)
            )
            # The book takes what it lacks from its differences.
            lying.quantity = max(lying.quantity + sign * quantity, 0)

    def _stands_at(self, container: Container) -> Place | None:
        for each in self._lying.values():
            if each.container is not None and each.container.pk == container.pk:
                return each.place
        return None


@dataclass
class Scene:
    """A report's day as its booking needs it. `earlier` are tries that no reading has measured yet,
    `measured` the others of the day's reports before.
    """

    crew_day: CrewDay
    company: Party
    spans_of_runs: dict[int, list[Span]] = field(default_factory=dict)
    earlier: list[SpanAttempt] = field(default_factory=list)
    measured: list[SpanAttempt] = field(default_factory=list)
    stock: Stock = field(default_factory=lambda: Stock([]))

    def place_of(self, container: Container) -> Place:
        """Where a report means a container to be: on the truck, unless it was left at a site."""
        place = container.place
        is_at_site = place is not None and place.kind == Place.Kind.SITE
        return place if is_at_site and place is not None else self.crew_day.vehicle

    def end_of(self, container: Container) -> End:
        return End(self.place_of(container), container)


def load_stock(
    *,
    containers: Collection[int],
    places: Collection[int],
    vehicle: Place,
    loose: Collection[int],
    moment: datetime,
) -> Stock:
    """What the book held at a moment in these containers and work places, and of `loose` on the truck.

    What happened to the containers since that moment is taken off again, so that a report that comes late
    finds them as its crew did.
    """
    boxes = sorted(containers)
    holdings, movements = read_rows(
        _select_holdings(boxes, sorted(places), vehicle, sorted(loose)), _select_since(boxes, moment)
    )
    lying = []
    for row in holdings:
        place, material, box = make_models(row[1:], Place, Material, Container)
        lying.append(Lying(place, material, box, row[0]))
    since = _sum_since(containers, movements)
    for each in lying:
        if each.container is not None:
            each.quantity -= since.pop((each.container.pk, each.material.pk), 0)
    if any(since.values()):
        lying += _restore_emptied(since)
    return Stock(each for each in lying if each.quantity > 0)


def _select_holdings(boxes: list[int], places: list[int], vehicle: Place, loose: list[int]) -> Select:
    return Select(
        f"SELECT held.quantity, {columns_of(Place, 'place')}, {columns_of(Material, 'material')},"
        f" {columns_of(Container, 'box')} FROM inventory_holding held"
        " JOIN inventory_place place ON place.id = held.place_id"
        " JOIN inventory_material material ON material.id = held.material_id"
        " LEFT JOIN inventory_container box ON box.id = held.container_id"
        f" WHERE held.quantity > 0 AND (held.container_id IN {one_of(boxes)}"
        f" OR held.place_id IN {one_of(places)}"
        f" OR (held.place_id = %s AND held.material_id IN {one_of(loose)}))",
        [*boxes, *places, vehicle.pk, *loose],
    )


def _select_since(boxes: list[int], moment: datetime) -> Select:
    return Select(
        "SELECT source_container_id, target_container_id, material_id, quantity FROM inventory_movement"
        f" WHERE (source_container_id IN {one_of(boxes)} OR target_container_id IN {one_of(boxes)})"
        " AND effective_at > %s AND purpose <> %s",
        [*boxes, *boxes, moment, Movement.Purpose.BOOK_SHORT.value],
    )


def _restore_emptied(since: dict[tuple[int, int], int]) -> list[Lying]:
    """Vessels that hold nothing now and held something then."""
    keys = [key for key, change in since.items() if change < 0]
    boxes = Container.objects.select_related("place").in_bulk({box for box, _material in keys})
    materials = Material.objects.in_bulk({material for _box, material in keys})
    found = []
    for box, material in keys:
        place = boxes[box].place
        if place is not None:
            found.append(Lying(place, materials[material], boxes[box], -since[box, material]))
    return found


def _sum_since(
    containers: Collection[int], movements: Iterable[tuple[Any, ...]]
) -> dict[tuple[int, int], int]:
    """By container and material, by how much what happened after a moment changed what is inside."""
    changes: dict[tuple[int, int], int] = {}
    for source, target, material, quantity in movements:
        for box, sign in ((source, -1), (target, 1)):
            if box in containers:
                changes[box, material] = changes.get((box, material), 0) + sign * quantity
    return changes


def _key(place: Place, material: Material, container: Container | None) -> tuple[int, int, int]:
    return place.pk, material.pk, container.pk if container is not None else 0


def _taking_order(lying: Lying) -> tuple[int, str]:
    box = lying.container
    if box is None:
        return 3, ""
    if not box.stands_somewhere:
        return 2, box.label
    return (0 if box.state == OPEN else 1), box.label
