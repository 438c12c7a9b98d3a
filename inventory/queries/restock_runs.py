"""How far restock runs have come, and what they found."""

from uuid import UUID

from django.db.models import Count, Q, QuerySet

from inventory.errors import NotFound
from inventory.models import PolicyResult, RestockChunk, RestockRun
from inventory.queries.access import Viewer, lies_within


def visible_runs(viewer: Viewer) -> QuerySet[RestockRun]:
    """Runs with their progress, for who sees into all places or into the run's; annotated, one query."""
    runs = RestockRun.objects.select_related("place", "asked_by").annotate(
        chunk_count=Count("chunks"), done_count=Count("chunks", filter=Q(chunks__done_at__isnull=False))
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


def find_waiting_chunks() -> bool:
    """Whether any chunk is still to be done."""
    return RestockChunk.objects.filter(done_at__isnull=True).exists()
