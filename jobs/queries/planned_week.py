"""A week of all crews: who does what, and what each day is short of as the plan stands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from jobs.models import CrewDay
from jobs.queries.pull_sheet import PullSheet, make_pull_sheets

DAYS = 7


@dataclass(frozen=True)
class CrewWeek:
    """One crew's days of the week; None where nothing is planned."""

    crew_code: str
    crew_name: str
    days: list[PullSheet | None]


@dataclass(frozen=True)
class PlannedWeek:
    """The dates from the Monday on, and each crew's days under them."""

    dates: list[date]
    crews: list[CrewWeek]


def get_week(*, around: date) -> PlannedWeek:
    """The week in which a date falls; the number of questions grows with its days and warehouses only."""
    monday = around - timedelta(days=around.weekday())
    dates = [monday + timedelta(days=number) for number in range(DAYS)]
    days = CrewDay.objects.filter(date__in=dates).select_related("crew", "vehicle", "warehouse")
    sheets = _make_sheets(list(days.order_by("date", "warehouse", "crew__code")))
    crews = sorted({(sheet.crew_code, sheet.crew_name) for sheet in sheets.values()})
    return PlannedWeek(
        dates, [CrewWeek(code, name, [sheets.get((code, day)) for day in dates]) for code, name in crews]
    )


def _make_sheets(days: Sequence[CrewDay]) -> dict[tuple[str, date], PullSheet]:
    found = {}
    for _same, group in groupby(days, key=lambda day: (day.date, day.warehouse_id)):
        for sheet in make_pull_sheets(list(group)):
            found[sheet.crew_code, sheet.date] = sheet
    return found
