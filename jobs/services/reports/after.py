"""What follows from a report once it stands: what is to be learnt again is written down with it.

Whoever learns from reports adds its kind here and finds its work in `RefitRequest`; a message after commit is
only a hint to look there sooner.
"""

from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from inventory.services.posting.rows import Statement, run_statements
from jobs.models import RefitRequest

# Kinds of refits that every report asks for.
KINDS: list[str] = ["learning", "recovery"]
# Called after commit, without arguments: hints to tasks that find their work in the table.
HINTS: list[Callable[[], object]] = []


def request_refits(*, at: datetime, subject: str = "") -> None:
    """Ask for every kind of refit; one open request of a kind is enough."""
    run_statements(*refit_statements(at=at, subject=subject))
    hint_refits()


def refit_statements(*, at: datetime, subject: str = "") -> list[Statement]:
    """The requests as statements, for whoever writes more in one message; hints are given apart."""
    table = RefitRequest._meta.db_table
    if not KINDS:
        return []
    rows = ", ".join(["(%s, %s, %s)"] * len(KINDS))
    values = [value for kind in KINDS for value in (kind, subject, at)]
    sql = f"INSERT INTO {table} (kind, subject, requested_at) VALUES {rows} ON CONFLICT DO NOTHING"
    return [Statement(sql, values)]


def hint_refits() -> None:
    """After commit, tell whoever learns from reports that there is something to learn."""
    for hint in HINTS:
        transaction.on_commit(hint)


def find_open_requests(kind: str) -> list[RefitRequest]:
    """What of a kind is to be done, oldest first."""
    return list(RefitRequest.objects.filter(kind=kind, done_at__isnull=True).order_by("requested_at", "pk"))


def close_request(request: RefitRequest, *, at: datetime) -> None:
    """Mark one done, with its effect, in the caller's transaction."""
    request.done_at = at
    request.save(update_fields=["done_at"])
