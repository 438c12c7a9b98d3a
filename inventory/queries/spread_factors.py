"""The factors by class that looking back has taught, as they stand on a day."""

from datetime import date, timedelta

from inventory.models import SpreadLesson
from inventory.queries.demand_history import week_of

DAYS_A_WEEK = 7


def weeks_since_classed(day: date) -> int:
    """Whole weeks before a day whose use does not count for its class yet: classes are told once a year."""
    this_week = week_of(day)
    first = week_of(date(this_week.year, 1, 7))
    return max((this_week - first).days // DAYS_A_WEEK, 0)


def load_spread_factors(as_of: date) -> dict[tuple[str, bool], float]:
    """The factors of the last week that had been taught by a day, by class and kind of target."""
    known = SpreadLesson.objects.filter(week_date__lte=week_of(as_of) - timedelta(weeks=1))
    last = known.order_by("-week_date").values("week_date")[:1]
    rows = known.filter(week_date=last, factor__isnull=False)
    return {(row.demand_class, row.is_fill_rate): row.factor for row in rows if row.factor}
