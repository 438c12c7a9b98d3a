"""What happened in closed days and was told after them: booked later, with its true date kept."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from inventory.models import Company, Entry
from inventory.queries.access import Viewer, visible_entries

MOST = 50


def list_late_entries(viewer: Viewer, *, company: Company, most: int = MOST) -> list[Entry]:
    """The newest entries about closed days that are booked after them; none while nothing is closed."""
    until = company.books_closed_until
    if until is None:
        return []
    end = datetime.combine(until + timedelta(days=1), time(), ZoneInfo(company.time_zone))
    rows = visible_entries(viewer).filter(occurred_at__lt=end, booked_date__gt=until)
    return list(rows.select_related("actor").order_by("-key")[:most])
