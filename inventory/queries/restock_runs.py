"""How far restock runs have come, and what they found."""

from datetime import datetime
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from inventory.errors import NotFound
from inventory.models import PolicyResult, RestockChunk, RestockRun
from inventory.queries.access import Viewer, lies_within

# A chunk that failed so often, or took so many workers with it, waits for somebody to look.
MOST_ATTEMPTS = 5


def visible_runs(viewer: Viewer) -> QuerySet[RestockRun]:
    """Runs with their progress, for who sees into all places or into the run's; annotated, one query."""
    runs = RestockRun.objects.select_related("place", "asked_by").annotate(
        chunk_count=Count("chunks"),
        done_count=Count("chunks", filter=Q(chunks__done_at__isnull=False)),
        given_up_count=Count(
            "chunks", filter=Q(chunks__done_at__isnull=True, chunks__attempts__gte=MOST_ATTEMPTS)
        ),
    )
    return runs.filter(lies_within(viewer.places, "place"))


def get_run(viewer: Viewer, uuid: UUID) -> RestockRun:
    run = visible_runs(viewer).filter(uuid=uuid).first()
    if run is None:
        raise NotFound("There is no restock run of that id.")
    return run


def visible_results(viewer: Viewer, run: RestockRun) -> QuerySet[PolicyResult]:
    """What a run found, in the places the viewer sees into."""
    rows = PolicyResult.objects.filter(run=run).select_related("place", "material", "owner", "supplier")
    return rows.filter(lies_within(viewer.places, "place"))


def free_chunks(now: datetime) -> QuerySet[RestockChunk]:
    """Chunks still to be done that nobody works on and that have not failed too often."""
    is_free = Q(taken_until__isnull=True) | Q(taken_until__lt=now)
    return RestockChunk.objects.filter(is_free, done_at__isnull=True, attempts__lt=MOST_ATTEMPTS)
