"""Work of jobs done in the background: each task finds what to do in the tables and is safe to run twice."""

from celery import shared_task
from django.utils import timezone

from jobs.services.attaching.storing import sweep_orphans
from jobs.services.balance.sweeping import close_due_days, tell_of_open_days
from jobs.services.closing import take_closing, work_closing
from jobs.services.learning import refit_all, refit_where_asked
from jobs.services.recovery import refresh_where_asked
from jobs.services.unreported import flag_days_without_report, settle_counted_trucks


@shared_task(ignore_result=True)
def watch_for_reports() -> None:
    """Flag loaded days that nobody reported by the cut-off; settle those whose truck was counted."""
    now = timezone.now()
    settle_counted_trucks(now=now)
    flag_days_without_report(now=now)


@shared_task(ignore_result=True)
def learn_where_asked() -> None:
    """Learn anew from field reports where new ones have asked for it."""
    refit_where_asked(at=timezone.now())


@shared_task(ignore_result=True)
def learn_nightly() -> None:
    """Learn anew from all field reports: a company's estimates and bores change too."""
    refit_all(at=timezone.now())


@shared_task(ignore_result=True)
def close_days() -> int:
    """Balance the fluid of days that are over, and of those that were reported again.

    Of those that go on, tell in the evening what is missing.
    """
    now = timezone.now()
    closed = close_due_days(now=now)
    tell_of_open_days(now=now)
    return closed


@shared_task(ignore_result=True)
def refresh_recovery() -> None:
    """Reckon anew how much comes back, where new reports have asked for it, and who begins to differ."""
    refresh_where_asked(at=timezone.now())


@shared_task(ignore_result=True)
def work_closings() -> int:
    """Carry out closings of periods that were asked for, until none is free."""
    worked = 0
    while (closing := take_closing(now=timezone.now())) is not None:
        work_closing(closing=closing, now=timezone.now())
        worked += 1
    return worked


@shared_task(ignore_result=True)
def sweep_files() -> int:
    """Remove files of documents whose upload was never finished."""
    return sweep_orphans(now=timezone.now())
