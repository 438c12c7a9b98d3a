"""Trucks whose stock nobody has confirmed: days not reported by the cut-off, hand-overs not answered."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, QuerySet

from inventory.models import Container, CountReading, Entry, Holding, Place
from jobs.models import CrewDay, HandOver, UnreportedDay
from jobs.queries.access import WorkViewer

# So many things still to be counted are named; more would be no sentence.
MOST_NAMED = 5


@dataclass(frozen=True)
class UnconfirmedTruck:
    """A truck whose book is what was loaded and not what is left, and whose crew is to be asked.

    `uncounted` is what the book has on it and nobody counted since, materials and containers by name.
    """

    vehicle: Place
    crew_code: str
    crew_name: str
    crew_id: int
    date: date
    flagged_at: datetime
    uncounted: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """Whom to chase for what, in a sentence."""
        asked = (
            f"{self.vehicle} is unconfirmed: ask {self.crew_name} ({self.crew_code}) for the report of "
            f"{self.date}, or count the truck"
        )
        if not self.uncounted:
            return f"{asked}."
        named, more = ", ".join(self.uncounted[:MOST_NAMED]), len(self.uncounted) - MOST_NAMED
        return f"{asked}; still to be counted: {named}{f' and {more} more' if more > 0 else ''}."


@dataclass(frozen=True)
class _Reading:
    """One line of a count that stands."""

    place: int
    material: int
    owner: int
    container: int | None
    counted_at: datetime


def open_unreported_days(days: Iterable[UnreportedDay]) -> dict[UnreportedDay, tuple[str, ...]]:
    """Of flagged days those that no count of the truck settles, each with what is still to be counted.

    A truck is counted once everything that the book has on it, loose or in a container, and each container
    on it, an empty one too, was counted since the day was flagged, in one count or in several. Three queries.
    """
    days = list(days)
    if not days:
        return {}
    vehicles = {day.crew_day.vehicle_id for day in days}
    readings = _list_readings(vehicles, since=min(day.flagged_at for day in days))
    rows = Holding.objects.filter(place__in=vehicles, quantity__gt=0)
    holdings = list(rows.select_related("material", "container").order_by("material__name", "key"))
    boxes = list(Container.objects.filter(place__in=vehicles).exclude(state=Container.State.GONE))
    found = {}
    for day in days:
        vehicle = day.crew_day.vehicle_id
        seen = [row for row in readings if row.place == vehicle and row.counted_at >= day.flagged_at]
        lying = [row for row in holdings if row.place_id == vehicle]
        uncounted = _name_uncounted(seen, lying, [box for box in boxes if box.place_id == vehicle])
        if uncounted or not seen:
            found[day] = uncounted
    return found


def _list_readings(vehicles: Collection[int], since: datetime) -> list[_Reading]:
    rows = CountReading.objects.filter(
        place__in=vehicles,
        counted_at__gte=since,
        entry__kind=Entry.Kind.COUNT,
        entry__reversed_by__isnull=True,
    )
    return [
        _Reading(*row) for row in rows.values_list("place", "material", "owner", "container", "counted_at")
    ]


def _name_uncounted(
    seen: Iterable[_Reading], lying: Iterable[Holding], boxes: Iterable[Container]
) -> tuple[str, ...]:
    """What lies on a truck, and which containers stand there, that no line of a count speaks of."""
    lines = {(row.material, row.owner, row.container) for row in seen}
    counted = {row.container for row in seen}
    missing = [row for row in lying if (row.material_id, row.owner_id, row.container_id) not in lines]
    names = [f"{row.material} in {row.container}" if row.container else str(row.material) for row in missing]
    named = {row.container_id for row in missing}
    names += [str(box) for box in boxes if box.pk not in counted and box.pk not in named]
    return tuple(dict.fromkeys(names))


def unsettled_days() -> QuerySet[UnreportedDay]:
    """Flagged days that neither a report nor a sweep has settled yet, with crew and truck."""
    days = UnreportedDay.objects.filter(settled_at__isnull=True)
    return days.select_related("crew_day__crew", "crew_day__vehicle").order_by("crew_day__date", "pk")


def list_unconfirmed_trucks(viewer: WorkViewer) -> list[UnconfirmedTruck]:
    """The trucks that the viewer's crews drive, or all, whose day is awaited."""
    days = unsettled_days()
    if viewer.crews is not None:
        days = days.filter(crew_day__crew__in=viewer.crews)
    return [
        UnconfirmedTruck(
            vehicle=row.crew_day.vehicle,
            crew_code=row.crew_day.crew.code,
            crew_name=row.crew_day.crew.name,
            crew_id=row.crew_day.crew_id,
            date=row.crew_day.date,
            flagged_at=row.flagged_at,
            uncounted=uncounted,
        )
        for row, uncounted in open_unreported_days(days).items()
    ]


def is_confirmed(vehicle: Place) -> bool:
    """Whether the book may be believed about a truck: no day awaited, nothing handed to it unanswered."""
    if open_unreported_days(unsettled_days().filter(crew_day__vehicle=vehicle)):
        return False
    return not HandOver.objects.filter(target=vehicle, is_confirmed__isnull=True).exists()


def visible_hand_overs(viewer: WorkViewer) -> QuerySet[HandOver]:
    """Hand-overs from or to a truck the viewer sees into."""
    rows = HandOver.objects.select_related("source", "target", "by", "answered_by")
    if viewer.places is None:
        return rows
    return rows.filter(Q(source__in=viewer.places) | Q(target__in=viewer.places))


def find_day_of_vehicle(vehicle: Place, on_date: date) -> CrewDay | None:
    """Whose day it is that a truck is on."""
    return CrewDay.objects.filter(vehicle=vehicle, date=on_date).order_by("pk").first()
