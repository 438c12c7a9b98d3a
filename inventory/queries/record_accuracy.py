"""How often counts found what the book said, month by month."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time
from fractions import Fraction
from zoneinfo import ZoneInfo

from scipy import stats

from inventory.models import CountReading, Place
from inventory.queries.company import get_company
from inventory.queries.count_due import find_costs_of_materials
from inventory.queries.holdings import list_bins
from inventory.units import MILLION

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Accuracy:
    """Counts of one month, how many were within the limit, and what the differences came to.

    `low` and `high` bound the share right at 95 % (Clopper-Pearson), so that three counts do not read as a
    hundred. Value in millionths of the currency: what was missing is negative.
    """

    month: date
    counts: int
    right: int
    low: float
    high: float
    difference_value: int

    @property
    def share(self) -> float:
        return self.right / self.counts


def list_accuracy(*, place: Place, since: date, until: date, limit_share: int = 0) -> list[Accuracy]:
    """Return the accuracy of a warehouse's records by month of counting, the oldest first.

    A count is right where it is within `limit_share` (millionths of the book's quantity); undone counts
    are left out.
    """
    zone = ZoneInfo(get_company().time_zone)
    rows = CountReading.objects.filter(
        place__in=list_bins(place),
        counted_at__gte=datetime.combine(since, time.min, zone),
        counted_at__lte=datetime.combine(until, time.max, zone),
        entry__reversed_by__isnull=True,
        entry__reverses__isnull=True,
    ).values_list("counted_at", "material", "counted_quantity", "book_quantity", "owner__is_company")
    found = list(rows)
    costs = find_costs_of_materials({row[1] for row in found})
    months: dict[date, list[tuple[bool, int]]] = defaultdict(list)
    for counted_at, material, counted, book, is_ours in found:
        difference = counted - book
        is_right = abs(difference) * MILLION <= limit_share * abs(book)
        value = round(Fraction(difference * costs.get(material, 0), MILLION)) if is_ours else 0
        months[counted_at.astimezone(zone).date().replace(day=1)].append((is_right, value))
    return [_sum_up(month, months[month]) for month in sorted(months)]


def _sum_up(month: date, rows: list[tuple[bool, int]]) -> Accuracy:
    counts, right = len(rows), sum(is_right for is_right, _value in rows)
    bounds = stats.binomtest(right, counts).proportion_ci(CONFIDENCE, method="exact")
    return Accuracy(
        month, counts, right, float(bounds.low), float(bounds.high), sum(value for _is_right, value in rows)
    )
