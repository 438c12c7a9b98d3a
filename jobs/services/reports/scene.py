"""What stands around a report when it is booked: the day, its runs' spans, what the book holds there."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q

from inventory.models import Container, Holding, Material, Movement, Party, Place
from inventory.services.posting import End
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
    wanted = Q(container__in=containers) | Q(place__in=places)
    if loose:
        wanted |= Q(place=vehicle, material__in=loose)
    rows = Holding.objects.filter(wanted, quantity__gt=0).select_related("place", "material", "container")
    lying = [Lying(row.place, row.material, row.container, row.quantity) for row in rows]
    since = _sum_since(containers, moment)
    for each in lying:
        if each.container is not None:
            each.quantity -= since.pop((each.container.pk, each.material.pk), 0)
    if any(since.values()):
        lying += _restore_emptied(since)
    return Stock(each for each in lying if each.quantity > 0)


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


def _sum_since(containers: Collection[int], moment: datetime) -> dict[tuple[int, int], int]:
    """By container and material, by how much what happened after a moment changed what is inside."""
    changes: dict[tuple[int, int], int] = {}
    if not containers:
        return changes
    rows = Movement.objects.filter(
        Q(source_container__in=containers) | Q(target_container__in=containers), effective_at__gt=moment
    ).exclude(purpose=Movement.Purpose.BOOK_SHORT)
    for source, target, material, quantity in rows.values_list(
        "source_container", "target_container", "material", "quantity"
    ):
        for box, sign in ((source, -1), (target, 1)):
            if box is not None:
                changes[box, material] = changes.get((box, material), 0) + sign * quantity
    return {key: change for key, change in changes.items() if key[0] in containers}


def _key(place: Place, material: Material, container: Container | None) -> tuple[int, int, int]:
    return place.pk, material.pk, container.pk if container is not None else 0


def _taking_order(lying: Lying) -> tuple[int, str]:
    box = lying.container
    if box is None:
        return 3, ""
    if not box.stands_somewhere:
        return 2, box.label
    return (0 if box.state == OPEN else 1), box.label
