"""What follows from a report once it stands: what is to be learnt again is written down with it.

Whoever learns from reports adds its kind here and finds its work in `RefitRequest`; a message after commit is
only a hint to look there sooner.
"""

from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from jobs.models import RefitRequest

# Kinds of refits that every report asks for.
KINDS: list[str] = ["learning", "recovery"]
# Called after commit, without arguments: hints to tasks that find their work in the table.
HINTS: list[Callable[[], object]] = []


def request_refits(*, at: datetime, subject: str = "") -> None:
    """Ask for every kind of refit; one open request of a kind is enough."""
    rows = [RefitRequest(kind=kind, subject=subject, requested_at=at) for kind in KINDS]
    if rows:
        RefitRequest.objects.bulk_create(rows, ignore_conflicts=True)
    for hint in HINTS:
        transaction.on_commit(hint)


def find_open_requests(kind: str) -> list[RefitRequest]:
    """What of a kind is to be done, oldest first."""
    return list(RefitRequest.objects.filter(kind=kind, done_at__isnull=True).order_by("requested_at", "pk"))


def close_request(request: RefitRequest, *, at: datetime) -> None:
    """Mark one done, with its effect, in the caller's transaction."""
    request.done_at = at
    request.save(update_fields=["done_at"])
