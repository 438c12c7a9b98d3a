"""What stands around a report when it is booked: the day, its runs' spans, what the book holds there."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from inventory.models import Container, Material, Movement, Party, Place
from inventory.services.posting import End
from inventory.services.posting.rows import Select, one_of, read_rows
from inventory.services.posting.special_places import get_special_place
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
            lying.quantity
            for (_place, inside, box), lying in self._lying.items()
            if box == container.id and inside == material.id
        )

    def material_in(self, container: Container) -> Material | None:
        """What a vessel holds most of."""
        inside = [
            lying
            for (_place, _material, box), lying in self._lying.items()
            if box == container.id and lying.quantity > 0
        ]
        return max(inside, key=lambda each: each.quantity).material if inside else None

    def at_place(self, place: Place, material: Material) -> int:
        return sum(
            lying.quantity
            for (here, inside, _box), lying in self._lying.items()
            if here == place.id and inside == material.id
        )

    def ends_with(self, place: Place, materials: Collection[int]) -> list[Lying]:
        """What lies at a place of some materials: opened vessels, sealed ones, lots, then loose goods."""
        found = [
            lying
            for (here, inside, _box), lying in self._lying.items()
            if here == place.id and inside in materials and lying.quantity > 0
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
        for (_place, _material, box), lying in self._lying.items():
            if box == container.id:
                return lying.place
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
    special_places: dict[Place.Kind, Place] = field(default_factory=dict)

    def place_of(self, container: Container) -> Place:
        """Where a report means a container to be: on the truck, unless it was left at a site."""
        place = container.place
        is_at_site = place is not None and place.kind == Place.Kind.SITE
        return place if is_at_site and place is not None else self.crew_day.vehicle

    def end_of(self, container: Container) -> End:
        return End(self.place_of(container), container)

    def special_place(self, kind: Place.Kind) -> Place:
        """The company's own place of a kind, looked up once."""
        if kind not in self.special_places:
            self.special_places[kind] = get_special_place(kind)
        return self.special_places[kind]


@dataclass
class Known:
    """Records in hand by their keys, so that they are not read again with what lies there."""

    places: dict[int, Place] = field(default_factory=dict)
    materials: dict[int, Material] = field(default_factory=dict)
    containers: dict[int, Container] = field(default_factory=dict)

    def add(self, *records: Place | Material | Container | None) -> None:
        """Take in records; a container brings the place where it stands."""
        for record in records:
            if isinstance(record, Container):
                self.containers[record.pk] = record
                if record.place is not None:
                    self.places[record.place.pk] = record.place
            elif isinstance(record, Material):
                self.materials[record.pk] = record
            elif record is not None:
                self.places[record.pk] = record

    def complete(self, rows: Iterable[tuple[int, int, int | None]]) -> None:
        """Read those that places, materials and containers of these keys still lack."""
        found = list(rows)
        places = {place for place, _material, _box in found} - set(self.places)
        materials = {material for _place, material, _box in found} - set(self.materials)
        boxes = {box for _place, _material, box in found if box is not None} - set(self.containers)
        self.places |= Place.objects.in_bulk(places) if places else {}
        self.materials |= Material.objects.in_bulk(materials) if materials else {}
        if boxes:
            self.containers |= Container.objects.select_related("place").in_bulk(boxes)


@dataclass(frozen=True)
class StockSearch:
    """What the book held at a moment in some containers and work places, and of `loose` on the truck.

    What happened to the containers since that moment is taken off again, so that a report that comes late
    finds them as its crew did.
    """

    containers: Collection[int]
    places: Collection[int]
    vehicle: Place
    loose: Collection[int]
    moment: datetime

    def selects(self) -> list[Select]:
        boxes = sorted(self.containers)
        return [
            _select_holdings(boxes, sorted(self.places), self.vehicle, sorted(self.loose)),
            _select_since(boxes, self.moment),
        ]

    def make(self, answers: Sequence[list[tuple[Any, ...]]], known: Known) -> Stock:
        """The stock, of the answers to the selects."""
        holdings, movements = answers
        since = _sum_since(self.containers, movements)
        held: dict[tuple[int, int, int | None], int] = {}
        for place, material, box, quantity in holdings:
            held[place, material, box] = held.get((place, material, box), 0) + quantity
        for place, material, box in held:
            if box is not None:
                held[place, material, box] -= since.pop((box, material), 0)
        known.complete(held)
        lying = [
            Lying(known.places[place], known.materials[material], known.containers.get(box or 0), quantity)
            for (place, material, box), quantity in held.items()
        ]
        if any(since.values()):
            lying += _restore_emptied(since)
        return Stock(each for each in lying if each.quantity > 0)


def load_stock(search: StockSearch) -> Stock:
    """The stock that a search finds, by itself."""
    return search.make(read_rows(*search.selects()), Known())


def _select_holdings(boxes: list[int], places: list[int], vehicle: Place, loose: list[int]) -> Select:
    """Whoever owns them; but of loose goods on the truck only the company's are there to be used up."""
    return Select(
        "SELECT place_id, material_id, container_id, quantity FROM inventory_holding"
        f" WHERE quantity > 0 AND (container_id IN {one_of(boxes)} OR place_id IN {one_of(places)}"
        f" OR (place_id = %s AND material_id IN {one_of(loose)} AND (container_id IS NOT NULL"
        " OR owner_id IN (SELECT id FROM inventory_party WHERE is_company))))",
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
    return place.id, material.id, container.id if container is not None else 0


def _taking_order(lying: Lying) -> tuple[int, str]:
    box = lying.container
    if box is None:
        return 3, ""
    if not box.stands_somewhere:
        return 2, box.label
    return (0 if box.state == OPEN else 1), box.label
