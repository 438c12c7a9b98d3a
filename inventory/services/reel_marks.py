"""The mark at which a reel stands, after work has taken lengths off it."""

from datetime import datetime

from inventory.models import Container
from inventory.units import convert


def note_work_mark(*, reel: Container, mark: int | None, unit: str, at: datetime | None) -> None:
    """Keep the mark that the last length taken has left outside, in millionths of a unit of length.

    None is where no work stands any more, so that the mark is again the one that the stores read. What they
    read after that moment holds against it.
    """
    is_older = at is not None and reel.marks_read_at is not None and at <= reel.marks_read_at
    left = None if mark is None or is_older else mark
    if left is not None and reel.mark_unit:
        left = round(convert(left, unit, reel.mark_unit))
    fields = ["work_mark"]
    if left is not None and not reel.mark_unit:
        # Nobody had read a mark of this reel before.
        reel.mark_unit = unit
        fields.append("mark_unit")
    if left != reel.work_mark:
        reel.work_mark = left
        reel.save(update_fields=fields)
