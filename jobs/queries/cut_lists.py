"""What stands beside the containers of a sheet: short codes, and for reels the cuts by their marks."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from inventory.models import Container, Holding
from inventory.short_codes import make_short_code
from inventory.units import MILLION, convert, format_millionths
from jobs.models import RunBlowing
from jobs.queries.pull_sheet import PullSheet, SheetLine


@dataclass(frozen=True)
class Cut:
    """One run off a reel. Marks are as people read them, empty where nobody knows them."""

    step: int
    title: str
    length: str
    quantity: int
    mark_from: str = ""
    mark_to: str = ""


@dataclass(frozen=True)
class CutList:
    """The cuts of one reel in the order of work. `held` and quantities in millionths of the fibre's unit."""

    reel: str
    place: str
    left: str
    held: int
    cuts: list[Cut] = field(default_factory=list)


@dataclass(frozen=True)
class SheetTags:
    """Short codes by the label of the container, and the cut lists."""

    codes: dict[str, str]
    cut_lists: list[CutList]


@dataclass
class _Marks:
    """Where a reel's jacket stands: the next mark to leave it, and whether marks rise as it is drawn."""

    unit: str
    next_mark: int | None
    direction: int


def load_sheet_tags(sheet: PullSheet) -> SheetTags:
    """Codes and cuts of all containers of a sheet, in three queries."""
    labels = {pick.container for line in sheet.lines for pick in line.picks if pick.container}
    containers = {row.label: row for row in Container.objects.filter(label__in=labels)}
    reels = [row for row in containers.values() if row.kind == Container.Kind.REEL]
    codes = {label: make_short_code(row.pk) for label, row in containers.items()}
    held: dict[str, int] = {}
    rows = Holding.objects.filter(container__in=reels).values_list("container__label", "quantity")
    for label, quantity in rows:
        held[label] = held.get(label, 0) + quantity
    return SheetTags(codes, _list_cuts(sheet, _load_marks(reels), held))


def _load_marks(reels: list[Container]) -> dict[str, _Marks]:
    last: dict[int, RunBlowing] = {}
    rows = RunBlowing.objects.filter(reel__in=reels, report__is_undone=False, mark_end__isnull=False)
    for row in rows.order_by("report__occurred_at", "position"):
        assert row.reel_id is not None
        last[row.reel_id] = row
    return {reel.label: _marks_of(reel, last.get(reel.pk)) for reel in reels}


def _marks_of(reel: Container, blowing: RunBlowing | None) -> _Marks:
    """The last mark that was read counts, else the one the reel came with."""
    direction = 0
    if reel.outer_mark is not None and reel.inner_mark is not None:
        direction = _sign(reel.inner_mark - reel.outer_mark)
    if blowing is not None:
        if blowing.mark_start is not None and blowing.mark_end is not None:
            direction = _sign(blowing.mark_end - blowing.mark_start) or direction
        return _Marks(blowing.mark_unit, blowing.mark_end, direction)
    return _Marks(reel.mark_unit, reel.outer_mark, direction)


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def _list_cuts(sheet: PullSheet, marks: dict[str, _Marks], held: dict[str, int]) -> list[CutList]:
    titles = {step.position: step.title for step in sheet.steps}
    found: dict[str, CutList] = {}
    for line in sorted(_fibre_lines(sheet.lines), key=lambda line: line.first_position):
        for pick in line.picks:
            if pick.container not in marks:
                continue
            entry = found.setdefault(
                pick.container, CutList(pick.container, pick.place, "", held.get(pick.container, 0))
            )
            start, end = _draw(marks[pick.container], pick.quantity, pick.unit)
            title = titles.get(line.first_position, line.title)
            length = format_millionths(pick.quantity, pick.unit)
            entry.cuts.append(Cut(line.first_position, title, length, pick.quantity, start, end))
            found[pick.container] = replace(entry, left=pick.note)
    return list(found.values())


def _fibre_lines(lines: Iterable[SheetLine]) -> Iterable[SheetLine]:
    return (line for line in lines if line.section == "fibre")


def _draw(marks: _Marks, quantity: int, unit: str) -> tuple[str, str]:
    """The marks a cut begins and ends at; the reel then stands at its end."""
    if marks.next_mark is None or not marks.unit:
        return "", ""
    start = marks.next_mark
    if not marks.direction:
        marks.next_mark = None
        return format_millionths(start, marks.unit), ""
    # Rounded up: a mark too early would leave the run short.
    length = -int(-convert(Fraction(quantity, MILLION), unit, marks.unit) * MILLION // 1)
    end = start + marks.direction * length
    marks.next_mark = end
    return format_millionths(start, marks.unit), format_millionths(end, marks.unit)
