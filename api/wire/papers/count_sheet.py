"""A count sheet for a clipboard: what is to be counted, room to write, and nothing of what the book says."""

from collections.abc import Sequence

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from api.wire.papers.clipboard import ScanCode
from api.wire.papers.paper import BAND, BODY, INK, RULE, SMALL, STRONG, Paper, head, say
from inventory.models import CountSheet, CountSheetLine
from inventory.short_codes import make_short_code
from inventory.units import unit_label

FOOT = "Count what is there, not what should be. Nothing found is a finding too: write 0."
HOW = (
    "Write what you find in the unit of the line. A drum is weighed where there is a scale: write gross "
    "weight and temperature. What lies here and is not on the sheet goes at the end. A line that is counted "
    "again is counted by somebody else, who does not see this sheet."
)
# Shares of the width: number, place, what, code, unit, and room to write.
WIDTHS = (0.06, 0.15, 0.33, 0.16, 0.08, 0.22)
BLANK_LINES, BLANK_HEIGHT = 6, 10 * mm


def print_count_sheet(sheet: CountSheet, lines: Sequence[CountSheetLine], *, paper: str) -> bytes:
    """The lines that are still to be counted as PDF, in the order of the shelves."""
    page = Paper(title=f"Count sheet {sheet.reference}   {sheet.place.name}", paper=paper, foot=FOOT)
    page.parts = [
        _title(sheet, page.width),
        say(HOW, SMALL),
        Spacer(0, 3 * mm),
        _table([[str(row.position), row.place.name, *_what(row)] for row in lines], page.width),
        *head("Found here and not on the sheet"),
        _table([[""] * 5] * BLANK_LINES, page.width, BLANK_HEIGHT),
    ]
    return page.to_pdf()


def _title(sheet: CountSheet, width: float) -> Flowable:
    about = [
        say(f"Made {sheet.made_at:%Y-%m-%d}", STRONG),
        say("Counted by ________________________   on ______________   at ________", BODY),
    ]
    if sheet.note:
        about.append(say(sheet.note, SMALL))
    return Table([[about, ScanCode(sheet.reference, 18 * mm)]], colWidths=[width - 22 * mm, 22 * mm])


def _what(line: CountSheetLine) -> list[str]:
    container = line.container
    owner = "" if line.owner.is_company else f" ({line.owner.name})"
    code = ""
    if container is not None:
        code = f"{container.label}\n{make_short_code(container.pk)}"
        code = container.label if container.label == make_short_code(container.pk) else code
    return [f"{line.material.name}{owner}", code, unit_label(line.material.stock_unit)]


def _table(rows: Sequence[Sequence[str]], width: float, height: float | None = None) -> Flowable:
    """Rows with room to write at their end; the head comes again on every page."""
    cells: list[list[object]] = [
        [say(text, STRONG) for text in ("No.", "Where", "What", "Label, code", "Unit", "Found")]
    ]
    for row in rows:
        told = [[say(part, BODY) for part in cell.split("\n")] for cell in row]
        cells.append([*told, ""])
    heights = [None, *([height] * len(rows))]
    widths = [width * share for share in WIDTHS]
    table = Table(cells, colWidths=widths, rowHeights=heights, repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.5, RULE),
                ("BOX", (-1, 1), (-1, -1), 0.9, INK),
                ("LINEBELOW", (-1, 1), (-1, -1), 0.9, INK),
                ("BACKGROUND", (0, 0), (-1, 0), BAND),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("TOPPADDING", (0, 1), (-1, -1), 5),
                ("BOTTOMPADDING", (0, 1), (-1, -1), 6),
            ]
        )
    )
    return table
