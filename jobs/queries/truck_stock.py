"""Trucks whose stock nobody has confirmed: days not reported by the cut-off, hand-overs not answered."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.models import CountReading, Entry, Place
from jobs.models import CrewDay, HandOver, UnreportedDay
from jobs.queries.access import WorkViewer


@dataclass(frozen=True)
class UnconfirmedTruck:
    """A truck whose book is what was loaded and not what is left, and whose crew is to be asked."""

    vehicle: Place
    crew_code: str
    crew_name: str
    crew_id: int
    date: date
    flagged_at: datetime

    @property
    def sentence(self) -> str:
        """Whom to chase for what, in a sentence."""
        return (
            f"{self.vehicle} is unconfirmed: ask {self.crew_name} ({self.crew_code}) for the report of "
            f"{self.date}, or count the truck."
        )


def open_unreported_days() -> QuerySet[UnreportedDay]:
    """Flagged days that neither a report nor a count of the truck has settled yet."""
    counts = CountReading.objects.filter(
        place=OuterRef("crew_day__vehicle"),
        counted_at__gte=OuterRef("flagged_at"),
        entry__kind=Entry.Kind.COUNT,
        entry__reversed_by__isnull=True,
    )
    days = UnreportedDay.objects.filter(~Exists(counts), settled_at__isnull=True)
    return days.select_related("crew_day__crew", "crew_day__vehicle").order_by("crew_day__date", "pk")


def list_unconfirmed_trucks(viewer: WorkViewer) -> list[UnconfirmedTruck]:
    """The trucks that the viewer's crews drive, or all, whose day is awaited."""
    days = open_unreported_days()
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
        )
        for row in days
    ]


def is_confirmed(vehicle: Place) -> bool:
    """Whether the book may be believed about a truck: no day awaited, nothing handed to it unanswered."""
    if open_unreported_days().filter(crew_day__vehicle=vehicle).exists():
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
