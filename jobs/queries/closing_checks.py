"""The check list before a period is closed: days nobody reported, then what is open in stores."""

from collections.abc import Iterator
from datetime import date

from inventory.queries.open_points import OpenPoint, list_open_points
from jobs.models import CrewDay
from jobs.queries.day_work import STOPPED_STATES


def list_closing_points(until: date) -> list[OpenPoint]:
    """Every open point up to a day; a fixed number of queries for each kind."""
    return [*_days_without_report(until), *list_open_points(until)]


def _days_without_report(until: date) -> Iterator[OpenPoint]:
    days = CrewDay.objects.filter(date__lte=until, steps__done_at__isnull=True, steps__isnull=False)
    days = days.exclude(state=CrewDay.State.SETTLED).exclude(reports__is_undone=False)
    stopped = days.filter(steps__span__job__state__in=STOPPED_STATES) | days.filter(
        steps__run__job__state__in=STOPPED_STATES
    )
    for day in days.exclude(pk__in=stopped.values("pk")).select_related("crew").distinct():
        yield OpenPoint(
            "crew_day", f"{day.crew.code} {day.date}", f"{day.crew.name} has not reported {day.date}."
        )
