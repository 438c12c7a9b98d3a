"""Days whose kit was loaded and that nobody reported by the company's cut-off: their trucks are unconfirmed.

Until such a day is reported, or its truck counted, what the book has on the truck is what was loaded and not
what is left.
"""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Exists, OuterRef

from inventory.queries.company import get_company
from jobs.models import CrewDay, FieldReport, UnreportedDay
from jobs.queries.company_rules import get_company_rules
from jobs.queries.truck_stock import open_unreported_days, unsettled_days

Settled = UnreportedDay.Settled
NOON = time(12)
# A kit that was put on a truck and not settled since.
ON_THE_TRUCK = (CrewDay.State.LOADED, CrewDay.State.OUT)
# Days longer ago are not looked at again: they were flagged long since, or before this began.
DAYS_BACK = 60


@transaction.atomic
def flag_days_without_report(*, now: datetime) -> list[UnreportedDay]:
    """Flag every loaded day past its cut-off that nobody has reported; again, it flags nothing anew.

    Without a cut-off the company has set none, and nothing is flagged.
    """
    cut_off = get_company_rules().report_cut_off_time
    if cut_off is None:
        return []
    zone = ZoneInfo(get_company().time_zone)
    today = now.astimezone(zone).date()
    reports = FieldReport.objects.filter(crew_day=OuterRef("pk"), is_undone=False)
    days = CrewDay.objects.filter(
        ~Exists(reports),
        state__in=ON_THE_TRUCK,
        unreported__isnull=True,
        date__lte=today,
        date__gte=today - timedelta(days=DAYS_BACK),
    ).select_for_update(of=("self",))
    late = [day for day in days.order_by("pk") if cut_off_of(day, cut_off, zone) <= now]
    return [UnreportedDay.objects.create(crew_day=day, flagged_at=now) for day in late]


def cut_off_of(day: CrewDay, cut_off: time, zone: ZoneInfo) -> datetime:
    """The moment until which a day's reports are awaited; a time before noon is that of the next morning."""
    date = day.date + timedelta(days=1) if cut_off < NOON else day.date
    return datetime.combine(date, cut_off, tzinfo=zone)


def settle_by_report(flagged: UnreportedDay | None, *, at: datetime) -> None:
    """A report of the day has come: nobody is to be chased any more."""
    if flagged is not None and flagged.settled_at is None:
        _settle(flagged, Settled.REPORT, at=at)


@transaction.atomic
def settle_counted_trucks(*, now: datetime) -> list[UnreportedDay]:
    """Settle the days whose truck was counted whole after they were flagged."""
    days = list(unsettled_days().select_for_update(of=("self",)))
    still_open = open_unreported_days(days)
    found = [day for day in days if day not in still_open]
    for flagged in found:
        _settle(flagged, Settled.COUNT, at=now)
    return found


def _settle(flagged: UnreportedDay, how: str, *, at: datetime) -> None:
    flagged.settled_at, flagged.settled_how = at, how
    flagged.save(update_fields=["settled_at", "settled_how"])
