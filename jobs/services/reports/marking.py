"""Where reels stand by their marks: at the end of the newest blowing that stands, corrections included."""

from collections.abc import Iterable

from inventory.models import Container
from inventory.services.reel_marks import note_work_mark
from jobs.models import RunBlowing
from jobs.services.reports.rows import Told


def follow_marks(*reports: Told | None) -> None:
    """Note the marks of the reels that reports name, of one that came and of one that it corrects."""
    blowings = [row for told in reports if told is not None for row in told.blowings]
    keys = {row.reel_id for row in blowings if row.reel_id is not None}
    if not keys:
        return
    newest = {row.reel_id: row for row in _standing_blowings(keys)}
    for reel in Container.objects.filter(pk__in=keys).order_by("pk"):
        row = newest.get(reel.pk)
        if row is None:
            note_work_mark(reel=reel, mark=None, unit=reel.mark_unit, at=None)
        else:
            note_work_mark(reel=reel, mark=row.mark_end, unit=row.mark_unit, at=row.report.occurred_at)


def _standing_blowings(reels: Iterable[int]) -> list[RunBlowing]:
    """Those whose end mark was read, the newest last."""
    rows = RunBlowing.objects.filter(reel__in=list(reels), report__is_undone=False, mark_end__isnull=False)
    return list(rows.select_related("report").order_by("report__occurred_at", "report__uuid", "position"))
