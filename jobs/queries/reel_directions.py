"""Which way the marks of a reel run as it is unwound."""

from collections.abc import Iterable

from django.db.models import QuerySet

from inventory.models import Container
from jobs.models import FieldReport, RunBlowing

Marks = tuple[int, int]


def list_marked(reels: Iterable[int]) -> QuerySet[RunBlowing]:
    """The blowings from these reels that stand and of which both marks were read."""
    return RunBlowing.objects.filter(
        reel__in=list(reels), report__is_undone=False, mark_start__isnull=False, mark_end__isnull=False
    )


def find_first_marks(reels: Iterable[int], *, told_by: FieldReport | None = None) -> dict[int, Marks]:
    """By the keys of reels the marks between which each was first unwound; those that `told_by` tells do not
    count. One query.
    """
    rows = list_marked(reels)
    if told_by is not None:
        rows = rows.exclude(report=told_by)
    newest_first = rows.order_by("-report__occurred_at", "-pk")
    marks = newest_first.values_list("reel", "mark_start", "mark_end")
    return {reel: (start, end) for reel, start, end in marks if start is not None and end is not None}


def find_direction(reel: Container, first: Marks | None) -> int | None:
    """1 where marks rise and -1 where they fall: by those on the jacket, else as it was first unwound."""
    if reel.outer_mark is not None and reel.inner_mark is not None:
        return _sign(reel.inner_mark - reel.outer_mark)
    return None if first is None else _sign(first[1] - first[0])


def _sign(difference: int) -> int | None:
    return None if difference == 0 else 1 if difference > 0 else -1
