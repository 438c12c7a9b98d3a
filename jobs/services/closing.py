"""Closings of periods: asked for, then carried out by a worker step by step.

First the days are locked, with their check list: from then on nothing is booked into them, so all that is
stated afterwards stays true however long it takes. Then the stock, then the jobs' costs, some at a time.
"""

from datetime import date, datetime, timedelta
from uuid import UUID

from celery import current_app
from django.db import IntegrityError, transaction
from django.db.models import F, Q

from inventory.errors import SpanstockError
from inventory.models import AccountingPeriod, Actor
from inventory.services.accounting.periods import (
    AlreadyClosed,
    lock_period,
    refuse_closing,
    state_period,
)
from inventory.services.documents import DocumentConflict
from jobs.models import Job, PeriodClosing, PeriodJobCost
from jobs.queries.closing_checks import list_closing_points
from jobs.queries.period_closings import MOST_ATTEMPTS, sum_job_costs

JOBS_AT_ONCE = 100
LEASE = timedelta(minutes=5)
WORK_TASK = "jobs.tasks.work_closings"


class PeriodReopened(SpanstockError):
    """The period was opened again while its costs were being stated."""

    code = "period_reopened"


def ask_to_close(
    *, id: UUID, by: Actor, occurred_at: datetime, last_date: date, remark: str = ""
) -> PeriodClosing:
    """Ask that all days up to one be closed; the same again gives the same closing.

    What is refused now is refused at once; what comes up until a worker has its turn stands in the row.

    Raises
    ------
    PeriodNotOver, AlreadyClosed, PointsAreOpen
        As `close_period` says.
    DocumentConflict
        If the id stands for another closing.
    """
    known = PeriodClosing.objects.filter(uuid=id).first()
    if known is None:
        standing = refuse_closing(
            last_date=last_date,
            occurred_at=occurred_at,
            open_points=list_closing_points(last_date),
            remark=remark,
        )
        _refuse_closed(standing)
        try:
            with transaction.atomic():
                asked = PeriodClosing.objects.create(
                    uuid=id, last_date=last_date, remark=remark, asked_by=by, asked_at=occurred_at
                )
                transaction.on_commit(lambda: _hint(), robust=True)
                return asked
        except IntegrityError:
            known = PeriodClosing.objects.filter(uuid=id).first()
            if known is None:
                raise
    if (known.last_date, known.remark, known.asked_by_id) != (last_date, remark, by.pk):
        raise DocumentConflict(f"The id {id} is taken. Use a new one.")
    return known


def take_closing(*, now: datetime) -> PeriodClosing | None:
    """Take the next closing that nobody works on, for a while; None where there is none."""
    with transaction.atomic():
        free = Q(taken_until__isnull=True) | Q(taken_until__lt=now)
        closing = (
            PeriodClosing.objects.filter(free, finished_at__isnull=True, attempts__lt=MOST_ATTEMPTS)
            .select_for_update(skip_locked=True, of=("self",))
            .order_by("pk")
            .first()
        )
        if closing is None:
            return None
        PeriodClosing.objects.filter(pk=closing.pk).update(
            taken_until=now + LEASE, attempts=F("attempts") + 1
        )
    return PeriodClosing.objects.select_related("asked_by", "period").get(pk=closing.pk)


def work_closing(*, closing: PeriodClosing, now: datetime) -> PeriodClosing:
    """Carry a closing out from where it stands; worked on twice it comes to the same."""
    try:
        if closing.period_id is None:
            lock_closing(closing)
        while not _state_some(closing, now=now):
            pass
    except SpanstockError as refusal:
        PeriodClosing.objects.filter(pk=closing.pk).update(
            refusal_code=refusal.code, refusal=str(refusal), finished_at=now
        )
    closing.refresh_from_db()
    return closing


def _refuse_closed(period: AccountingPeriod | None) -> None:
    if period is not None:
        raise AlreadyClosed(f"The days until {period.last_date} are closed already.")


@transaction.atomic
def lock_closing(closing: PeriodClosing) -> None:
    """Let nothing more be booked into the days; the part of a closing that postings wait for."""
    closing.period = lock_period(
        last_date=closing.last_date,
        by=closing.asked_by,
        occurred_at=closing.asked_at,
        open_points=list_closing_points(closing.last_date),
        remark=closing.remark,
    )
    if PeriodClosing.objects.filter(period=closing.period).exists():
        _refuse_closed(closing.period)
    closing.job_count = Job.objects.count()
    closing.save(update_fields=["period", "job_count"])


@transaction.atomic
def _state_some(closing: PeriodClosing, *, now: datetime) -> bool:
    """State the stock, or the costs of the next jobs; return whether that was all."""
    standing = (
        PeriodClosing.objects.select_for_update(of=("self",)).select_related("period").get(pk=closing.pk)
    )
    if standing.finished_at is not None:
        return True
    period = standing.period
    assert period is not None
    if period.reopened_at is not None:
        raise PeriodReopened(
            f"The period until {period.last_date} was opened again before its costs were stated."
        )
    if not standing.is_stock_stated:
        state_period(period=period)
        standing.is_stock_stated = True
    else:
        _state_jobs(standing, period)
        if standing.jobs_done >= standing.job_count:
            standing.finished_at = now
    standing.save()
    return standing.finished_at is not None


def _state_jobs(closing: PeriodClosing, period: AccountingPeriod) -> None:
    rest = Job.objects.filter(pk__gt=closing.last_job).order_by("pk").values_list("pk", flat=True)
    jobs = list(rest[:JOBS_AT_ONCE])
    costs = sum_job_costs(jobs, first_date=period.first_date, last_date=period.last_date)
    PeriodJobCost.objects.bulk_create(
        PeriodJobCost(period=period, job_id=job, change=change, cost=cost)
        for job, (change, cost) in sorted(costs.items())
        if change or cost
    )
    closing.jobs_done += len(jobs)
    closing.last_job = jobs[-1] if jobs else closing.last_job
    if len(jobs) < JOBS_AT_ONCE:
        closing.job_count = closing.jobs_done


def _hint() -> None:
    current_app.send_task(WORK_TASK)
