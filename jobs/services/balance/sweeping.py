"""Closing days by itself: those that are over and were never closed, or were reported again since.

A day whose cut-off lies behind its midnight is closed too late to tell safety the same day of what is
missing, so from its evening on that is told by what was reported so far.
"""

import logging
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery

from inventory.errors import SpanstockError
from inventory.models import Actor, Entry
from inventory.queries.company import get_company
from inventory.services.company import get_system_actor
from jobs.models import CrewDay, DayBalance, FieldReport
from jobs.queries.company_rules import get_company_rules
from jobs.services.balance.closing import close_crew_day, tell_before_closing
from jobs.services.unreported import cut_off_of

log = logging.getLogger(__name__)
# In the company's time zone: most crews have reported by then, and safety is still to be reached.
EVENING = time(20)
# Days longer ago are closed by hand only.
DAYS_BACK = 90


def close_due_days(*, now: datetime) -> int:
    """Close what is to be closed, each day by itself, and return how many; again, it closes nothing anew.

    One that cannot be closed is left with a word in the log and does not keep the others waiting.
    """
    if not CrewDay.objects.exists():
        return 0
    by: Actor = get_system_actor("fluid-balance", "Fluid balance")
    closed = 0
    for day in find_due_days(now=now):
        try:
            close_crew_day(crew_code=day.crew.code, date=day.date, by=by, occurred_at=now)
        except SpanstockError as refusal:
            log.warning("The day of crew %s, %s, is not closed: %s", day.crew.code, day.date, refusal.message)
        else:
            closed += 1
    return closed


def tell_of_open_days(*, now: datetime) -> None:
    """Tell safety in the evening of what is missing on days that are closed only later; each is told once."""
    local = now.astimezone(ZoneInfo(get_company().time_zone))
    if local.time() < EVENING or not CrewDay.objects.exists():
        return
    by: Actor = get_system_actor("fluid-balance", "Fluid balance")
    days = list_open_days().filter(date=local.date())
    for day in days.select_related("crew", "vehicle").order_by("pk"):
        try:
            tell_before_closing(day=day, by=by, now=now)
        except SpanstockError as refusal:
            log.warning("The day of crew %s, %s, is not told: %s", day.crew.code, day.date, refusal.message)


def find_due_days(*, now: datetime) -> list[CrewDay]:
    """Days with something new that are settled, past the company's cut-off, or past their midnight."""
    zone = ZoneInfo(get_company().time_zone)
    today = now.astimezone(zone).date()
    days = list_open_days().filter(date__gte=today - timedelta(days=DAYS_BACK), date__lte=today)
    cut_off = get_company_rules().report_cut_off_time
    return [
        day
        for day in days.select_related("crew").order_by("date", "pk")
        if day.state == CrewDay.State.SETTLED
        or day.date < today
        or (cut_off is not None and cut_off_of(day, cut_off, zone) <= now)
    ]


def list_open_days() -> QuerySet[CrewDay]:
    """Days of which a report came after they were closed, or whose adjustment was taken back."""
    last = DayBalance.objects.filter(crew_day=OuterRef("pk")).order_by("-revision")
    taken_back = Entry.objects.filter(uuid=OuterRef("last_entry"), reversed_by__isnull=False)
    reported = FieldReport.objects.filter(crew_day=OuterRef("pk"))
    return (
        CrewDay.objects.filter(Exists(reported))
        .annotate(
            last_told=Max("reports__recorded_at"),
            last_closed=Subquery(last.values("recorded_at")[:1]),
            last_entry=Subquery(last.values("entry_uuid")[:1]),
        )
        .filter(Q(last_closed__isnull=True) | Q(last_told__gt=F("last_closed")) | Exists(taken_back))
    )
