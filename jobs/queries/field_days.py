"""What a crew takes along on a phone: the days around today, each with its sheet, its steps and its truck."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from inventory.models import Container, Holding, Material, Place
from inventory.queries.access import visible_containers, visible_materials, visible_places
from jobs.models import CrewDay, CrewDayStep, HandOver
from jobs.queries.access import WorkViewer, visible_crew_days
from jobs.queries.day_work import DayWork, load_day_work
from jobs.queries.pull_sheet import PullSheet, make_pull_sheets
from jobs.queries.truck_stock import visible_hand_overs

# A late report is told within these days; what is planned further ahead changes anyway.
DAYS_BACK, DAYS_AHEAD = 3, 7


@dataclass(frozen=True)
class FieldDay:
    """A crew's day: what it needs, what is to be done, and what stands on its truck now."""

    crew_day: CrewDay
    sheet: PullSheet
    work: DayWork
    aboard: list[Holding]

    @property
    def steps(self) -> list[CrewDayStep]:
        """Every step that is not done yet, also one that was stopped: it may have been done all the same."""
        return sorted([*self.work.steps, *self.work.stopped], key=lambda step: step.position)


@dataclass(frozen=True)
class Surroundings:
    """What a crew may name from its truck: other trucks, sites and what lies there, counters, goods to buy.

    `awaited` are hand-overs to the crew's trucks that nobody has answered yet.
    """

    trucks: list[Place]
    sites: list[Place]
    left_at_sites: list[Container]
    suppliers: list[Place]
    materials: list[Material]
    awaited: list[HandOver]


def list_surroundings(viewer: WorkViewer) -> Surroundings:
    """What is around the viewer's trucks, in six questions."""
    named = visible_places(viewer).filter(is_withdrawn=False)
    counters = Place.objects.filter(kind=Place.Kind.SUPPLIER, is_withdrawn=False)
    left = visible_containers(viewer).filter(place__kind=Place.Kind.SITE)
    awaited = visible_hand_overs(viewer).filter(is_confirmed__isnull=True)
    if viewer.own_places is not None:
        awaited = awaited.filter(target__in=viewer.own_places)
    return Surroundings(
        trucks=list(named.filter(kind=Place.Kind.VEHICLE).order_by("name")),
        sites=list(named.filter(kind=Place.Kind.SITE).order_by("name")),
        left_at_sites=list(left.select_related("material", "place").order_by("label")),
        suppliers=list(counters.order_by("name")),
        materials=list(visible_materials(viewer).filter(is_withdrawn=False).order_by("name")),
        awaited=list(awaited.order_by("occurred_at", "pk")),
    )


def list_field_days(viewer: WorkViewer, *, as_of: date) -> list[FieldDay]:
    """The days of the viewer's crews from a few before `as_of` to a week after it, by date and crew.

    The number of questions grows with the dates in that window and not with what is planned on them.
    """
    days = visible_crew_days(viewer).filter(
        date__gte=as_of - timedelta(days=DAYS_BACK), date__lte=as_of + timedelta(days=DAYS_AHEAD)
    )
    rows = list(
        days.select_related("crew", "vehicle", "warehouse").order_by("date", "warehouse", "crew__code")
    )
    return describe_field_days(rows, as_of=as_of)


def describe_field_days(days: Sequence[CrewDay], *, as_of: date) -> list[FieldDay]:
    """The same for days that were chosen already, in their order."""
    sheets: dict[int, PullSheet] = {}
    for _same, group in groupby(days, key=lambda day: (day.date, day.warehouse_id)):
        together = list(group)
        made = make_pull_sheets(together, as_of=as_of)
        sheets.update({day.pk: sheet for day, sheet in zip(together, made, strict=True)})
    works = {work.crew_day.pk: work for work in load_day_work(days)}
    aboard = _list_aboard({day.vehicle_id for day in days})
    return [FieldDay(day, sheets[day.pk], works[day.pk], aboard.get(day.vehicle_id, [])) for day in days]


def _list_aboard(vehicles: set[int]) -> dict[int, list[Holding]]:
    """What stands on these trucks in vessels and on reels, by truck; empty vessels are with their place."""
    rows = Holding.objects.filter(place__in=vehicles, container__isnull=False, quantity__gt=0)
    rows = rows.exclude(container__kind=Container.Kind.LOT).select_related("container__material", "material")
    found: dict[int, list[Holding]] = {}
    for row in rows.order_by("container__label"):
        found.setdefault(row.place_id, []).append(row)
    return found
