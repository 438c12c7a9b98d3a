"""The cuts of a sheet's reels by the marks on their jackets, in the order of work."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.models import Container, Holding
from inventory.units import MILLION, convert, format_millionths
from jobs.models import RunBlowing
from jobs.queries.kit_stock import Pick
from jobs.queries.sheet_lines import Cut, CutList, SheetLine

if TYPE_CHECKING:
    from jobs.queries.pull_sheet import PullSheet


@dataclass
class _Marks:
    """Where a reel's jacket stands: the next mark to leave it, and whether marks rise as it is drawn.

    `held` is what the book has on the reel; a day that comes later finds less on it.
    """

    unit: str
    next_mark: int | None
    direction: int
    held: int = 0


def add_cut_lists(sheets: "list[PullSheet]") -> "list[PullSheet]":
    """Put the cuts of their reels with these sheets, in three queries for all of them."""
    labels = {pick.container for sheet in sheets for _line, pick in _fibre_picks(sheet.lines)}
    if not labels:
        return sheets
    reels = list(Container.objects.filter(label__in=labels, kind=Container.Kind.REEL))
    held: dict[str, int] = {}
    rows = Holding.objects.filter(container__in=reels, quantity__gt=0)
    for label, quantity in rows.values_list("container__label", "quantity"):
        held[label] = held.get(label, 0) + quantity
    marks = {label: replace(row, held=held.get(label, 0)) for label, row in _load_marks(reels).items()}
    return [replace(sheet, cut_lists=_list_cuts(sheet, marks)) for sheet in sheets]


def _load_marks(reels: list[Container]) -> dict[str, _Marks]:
    last: dict[int, RunBlowing] = {}
    rows = RunBlowing.objects.filter(reel__in=reels, report__is_undone=False, mark_end__isnull=False)
    for row in rows.order_by("report__occurred_at", "report__uuid", "position"):
        assert row.reel_id is not None
        last[row.reel_id] = row
    return {reel.label: _marks_of(reel, last.get(reel.pk)) for reel in reels}


def _marks_of(reel: Container, blowing: RunBlowing | None) -> _Marks:
    """Where the reel stands, and which way its marks run: as it was last unwound, else as it came."""
    direction = 0
    if reel.outer_mark is not None and reel.inner_mark is not None:
        direction = _sign(reel.inner_mark - reel.outer_mark)
    if blowing is not None and blowing.mark_start is not None and blowing.mark_end is not None:
        direction = _sign(blowing.mark_end - blowing.mark_start) or direction
    return _Marks(reel.mark_unit, reel.mark_outside, direction)


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def _list_cuts(sheet: "PullSheet", marks: dict[str, _Marks]) -> list[CutList]:
    titles = {step.position: step.title for step in sheet.steps}
    found: dict[str, CutList] = {}
    for line, pick in sorted(_fibre_picks(sheet.lines), key=lambda row: row[0].first_position):
        if pick.container not in marks:
            continue
        new = CutList(
            pick.container, pick.place, "", pick.before, pick.unit, is_elsewhere=bool(line.elsewhere)
        )
        entry = found.setdefault(pick.container, new)
        start, end = _draw(marks[pick.container], pick)
        title = titles.get(line.first_position, line.title)
        length = format_millionths(pick.quantity, pick.unit)
        entry.cuts.append(Cut(line.first_position, title, length, pick.quantity, start, end))
        found[pick.container] = replace(entry, left=pick.note)
    return list(found.values())


def _fibre_picks(lines: Iterable[SheetLine]) -> Iterable[tuple[SheetLine, Pick]]:
    return (
        (line, pick) for line in lines if line.section == "fibre" for pick in [*line.picks, *line.elsewhere]
    )


def _draw(marks: _Marks, pick: Pick) -> tuple[str, str]:
    """The marks a cut begins and ends at, after all that is cut off the reel before it."""
    if marks.next_mark is None or not marks.unit:
        return "", ""
    gone = marks.held - pick.before
    if not marks.direction:
        return ("" if gone else format_millionths(marks.next_mark, marks.unit)), ""
    start = marks.next_mark + marks.direction * _in_marks(gone, pick.unit, marks.unit)
    end = marks.next_mark + marks.direction * _in_marks(gone + pick.quantity, pick.unit, marks.unit)
    return format_millionths(start, marks.unit), format_millionths(end, marks.unit)


def _in_marks(quantity: int, unit: str, mark_unit: str) -> int:
    """A length as the jacket counts it; rounded up, since a mark too early would leave the run short."""
    return -int(-convert(Fraction(quantity, MILLION), unit, mark_unit) * MILLION // 1)
