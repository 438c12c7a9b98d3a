"""How far closings of periods have come, and what jobs had cost by the end of one."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet, Sum

from inventory.errors import NotFound
from inventory.models import AccountingPeriod, Movement, Place
from jobs.models import Job, PeriodClosing, PeriodJobCost
from jobs.queries.job_places import in_parts

MOST_ATTEMPTS = 5


def list_closings() -> QuerySet[PeriodClosing]:
    """Closings that were asked for, with what belongs to them."""
    return PeriodClosing.objects.select_related("asked_by", "period__closed_by")


def get_closing(uuid: UUID | None) -> PeriodClosing:
    closing = list_closings().filter(uuid=uuid).first() if uuid is not None else None
    if closing is None:
        raise NotFound("There is no closing of that id.")
    return closing


def find_state(closing: PeriodClosing, *, now: datetime) -> str:
    """How far it is: waiting, working, closed, refused, or failed where nobody takes it any more."""
    if closing.finished_at is not None:
        return "refused" if closing.refusal_code else "closed"
    is_taken = closing.taken_until is not None and closing.taken_until >= now
    if closing.attempts >= MOST_ATTEMPTS and not is_taken:
        return "failed"
    return "working" if is_taken or closing.period_id is not None else "waiting"


def list_job_costs(last_date: date) -> QuerySet[PeriodJobCost]:
    """What each job had cost by the end of the standing period that ends on a day."""
    period = AccountingPeriod.objects.filter(last_date=last_date, reopened_at=None).first()
    if period is None:
        raise NotFound(f"No period that is closed ends on {last_date}.")
    return PeriodJobCost.objects.filter(period=period).select_related("job")


def sum_job_costs(
    jobs: Sequence[int], *, first_date: date | None, last_date: date
) -> dict[int, tuple[int, int]]:
    """By job, value that came to its places within the days, and all of it up to the last day."""
    job_of = _find_job_places(jobs)
    within = Q(entry__booked_date__gte=first_date) if first_date is not None else Q()
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    for end, sign in (("target_place", 1), ("source_place", -1)):
        for part in in_parts(list(job_of)):
            moved = Movement.objects.filter(**{f"{end}__in": part}, entry__booked_date__lte=last_date)
            rows = moved.exclude(value=0).order_by().values_list(end)
            for place, change, cost in _add_up(rows, within):
                sums[job_of[place]][0] += sign * int(change)
                sums[job_of[place]][1] += sign * int(cost)
    return {job: (change, cost) for job, (change, cost) in sums.items()}


def _add_up(rows: QuerySet[Movement, tuple[int]], within: Q) -> Iterable[tuple[int, int, int]]:
    change = Sum("value", filter=within, default=0) if within else Sum("value")
    return rows.annotate(change=change, cost=Sum("value"))


def _find_job_places(jobs: Sequence[int]) -> dict[int, int]:
    """Places whose goods are charged to these jobs, each with its job."""
    found = dict(Job.objects.filter(pk__in=jobs).values_list("place", "pk"))
    for way in ("run__job", "span__job"):
        found |= dict(Place.objects.filter(**{f"{way}__in": jobs}).values_list("pk", way))
    return found
