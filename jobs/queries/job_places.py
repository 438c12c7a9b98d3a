"""The places of a job: its own and those of its runs and spans."""

from collections.abc import Iterator, Sequence

from django.db.models import Q, QuerySet

from inventory.models import Movement, Place
from jobs.models import Job

# As keys and not as a condition: a database that has to guess how many places a condition means reads the
# whole book. SQLite takes some 32,000 values in one statement.
KEYS_AT_ONCE = 10_000


def list_job_places(job: Job) -> list[int]:
    """Keys of all places whose goods are charged to the job."""
    places = Place.objects.filter(Q(pk=job.place_id) | Q(run__job=job) | Q(span__job=job))
    return list(places.order_by("pk").values_list("pk", flat=True).distinct())


def in_parts(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    """The keys, as many at a time as one statement takes."""
    for first in range(0, len(keys), KEYS_AT_ONCE):
        yield keys[first : first + KEYS_AT_ONCE]


def list_ends(places: Sequence[int]) -> Iterator[tuple[int, QuerySet[Movement]]]:
    """Movements into the places (1) and out of them (-1), with that sign, in parts and in no order."""
    for end, sign in (("target_place", 1), ("source_place", -1)):
        for part in in_parts(places):
            yield sign, Movement.objects.filter(**{f"{end}__in": part}).order_by()
