"""Work that goes on by itself. A message is only a hint: each task finds what is to be done in tables."""

from celery import shared_task
from django.utils import timezone

from inventory.models import Company
from inventory.queries.company import get_today
from inventory.services.company import get_system_actor
from inventory.services.fluids.releasing import end_releases
from inventory.services.quarantining import extend_quarantines
from inventory.services.restocking.runs import (
    ask_for_nightly_restock,
    call_another_worker,
    forget_old_runs,
    note_failure,
    prepare_run,
    take_chunk,
    work_chunk,
)
from inventory.services.sealing import seal_all
from inventory.services.tagged_fittings import withdraw_past_limit
from inventory.services.waste import tell_waste_due


@shared_task(ignore_result=True)
def seal_posted() -> int:
    """Seal what was posted since; safe to run twice and at the same time."""
    return seal_all()


@shared_task(ignore_result=True)
def work_restock_chunks() -> int:
    """Ask for the night's run where it is due, and work off chunks until none is free.

    Whoever finds more than it can do at once calls one worker more, which does the same: so all that are idle
    join in, and the last call finds nothing left. What fails before a worker's first chunk fails that chunk,
    so that it is told and tried again.
    """
    if Company.objects.exists():
        ask_for_nightly_restock(now=timezone.now())
    worked = 0
    while (chunk := take_chunk(now=timezone.now())) is not None:
        try:
            if not worked:
                prepare_run(now=timezone.now())
                call_another_worker(now=timezone.now())
            work_chunk(chunk=chunk, now=timezone.now())
        except Exception as error:
            note_failure(chunk=chunk, error=error)
            raise
        worked += 1
    if worked:
        forget_old_runs()
    return worked


@shared_task(ignore_result=True)
def watch_fluid() -> int:
    """End passes whose time is over; hold what was poured since from what is held back."""
    if not Company.objects.exists():
        return 0
    by = get_system_actor("fluid-watch", "Fluid watch")
    now = timezone.now()
    return extend_quarantines(by=by, now=now) + end_releases(by=by, now=now)


@shared_task(ignore_result=True)
def watch_limits() -> int:
    """Withdraw tagged fittings at the company's limit of uses or age; tell safety of waste that must go."""
    if not Company.objects.exists():
        return 0
    now, today = timezone.now(), get_today()
    gone = withdraw_past_limit(on_date=today, occurred_at=now)
    return len(gone) + len(tell_waste_due(on_date=today, now=now))
