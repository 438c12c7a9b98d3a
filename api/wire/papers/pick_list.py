"""A warehouse's day on paper: the kits side by side, what changed since the last print, one list by bin."""

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from api.wire.papers.clipboard import BANDED, CODE, RULED, ScanCode, TickBox
from api.wire.papers.paper import SMALL, STRONG, WARNING, Paper, say
from jobs.queries.kits_of_day import BinChange, BinLine, KitsOfDay
from jobs.queries.pull_sheet import PullSheet, show_quantity

FOOT = "Tick what is fetched. The last digit of a code checks the others: scan it, or type it as it stands."
WORDS = {"new": "new", "changed": "changed", "gone": "leave it"}


def make_pick_list_pdf(kits: KitsOfDay, *, printed_at: datetime, paper: str = "letter") -> bytes:
    """The list as PDF on A4 or Letter paper."""
    page = Paper(
        title=f"To fetch in {kits.warehouse}   {kits.date:%A} {kits.date}",
        subtitle=_say_print(kits),
        paper=paper,
        foot=FOOT,
        printed_at=printed_at,
    )
    if not kits.sheets:
        page.add_text("No crew fetches a kit here that day.")
        return page.to_pdf()
    _add_kits(page, kits.sheets)
    if kits.changes:
        _add_changes(page, kits.changes)
    page.add_heading("To fetch, by place")
    if not kits.lines:
        page.add_text("Nothing is to be fetched; it is all on the trucks.")
    for _code, lines in groupby(kits.lines, key=lambda line: line.place_code):
        page.parts += _lay_out_place(list(lines), page.width)
    return page.to_pdf()


def _say_print(kits: KitsOfDay) -> str:
    if kits.printed_at is None:
        return "Not printed before."
    changed = f"{len(kits.changes)} lines changed since" if kits.changes else "nothing changed since"
    return f"Print {kits.printed_number} was of {kits.printed_at:%Y-%m-%d %H:%M}; {changed}."


def _add_kits(page: Paper, sheets: list[PullSheet]) -> None:
    page.add_heading("Kits")
    rows = [
        [
            sheet.crew_code,
            sheet.vehicle,
            sheet.state,
            str(sum(1 for line in sheet.lines if line.to_take and line.picks)),
            ", ".join(line.title for line in sheet.shortages),
            f"{sheet.load.heaviest_kg:,.0f} kg{', too heavy' if sheet.load.is_over else ''}"
            if sheet.load is not None
            else "",
        ]
        for sheet in sheets
    ]
    page.add_table(
        ["Crew", "Truck", "Kit", "Lines to take", "Short", "Heaviest"],
        rows,
        widths=[2, 2.5, 1.6, 1.4, 5, 2],
        is_number=[False, False, False, True, False, True],
    )


def _add_changes(page: Paper, changes: list[BinChange]) -> None:
    page.add_heading("Changed since that print")
    rows = [
        [
            WORDS[change.kind],
            change.line.place,
            _name(change.line),
            _say_crews(change.line, change.before),
            _say_crews(change.line, change.now),
        ]
        for change in changes
    ]
    page.add_table(["", "Place", "What", "Was", "Is now"], rows, widths=[1.4, 2.4, 4, 3, 3])


def _lay_out_place(lines: list[BinLine], width: float) -> Iterator[Flowable]:
    band = Table([[say(lines[0].place, STRONG)]], colWidths=[width], style=BANDED)
    first, *others = [_lay_out_line(line, width) for line in lines]
    # The place's name is never left alone at the foot of a page.
    yield KeepTogether([Spacer(1, 3 * mm), band, first])
    yield from others


def _lay_out_line(line: BinLine, width: float) -> Table:
    words: list[Flowable] = [say(_name(line), STRONG), say(_say_crews(line, line.crews), SMALL)]
    if line.note:
        words.append(say(line.note, SMALL))
    if line.caution:
        words.append(say(line.caution, WARNING))
    row = [
        TickBox(),
        say(show_quantity(line.quantity, line.unit), STRONG),
        words,
        say(line.short_code, CODE) if line.short_code else "",
        ScanCode(line.short_code) if line.short_code else "",
    ]
    return Table([row], colWidths=[8 * mm, 30 * mm, width - 86 * mm, 30 * mm, 18 * mm], style=RULED)


def _name(line: BinLine) -> str:
    return f"{line.container}, {line.title}" if line.container else line.title


def _say_crews(line: BinLine, crews: dict[str, int]) -> str:
    return ", ".join(f"{code} {show_quantity(amount, line.unit)}" for code, amount in crews.items())
