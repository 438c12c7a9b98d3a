"""Labels for containers: ten to a sheet of A4 or Letter paper, to be cut or on gummed sheets.

The code to scan and the code to read come first and large, since they are what is needed in gloves and rain.
What is in it, its date and its cautions follow; hazard and waste stand white on black, so that no printer
loses them.
"""

from collections.abc import Sequence
from io import BytesIO

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from api.wire.papers.clipboard import ScanCode
from api.wire.papers.paper import BOLD, INK, PAPERS, PLAIN, RULE, say
from inventory.queries.container_labels import ContainerLabel
from inventory.units import format_millionths

COLUMNS, ROWS = 2, 5
EDGE, INSIDE = 8 * mm, 3 * mm
CODE_SIZE = 22 * mm
BAR = 5.4 * mm
NAME = ParagraphStyle("name", fontName=BOLD, fontSize=9.6, leading=11.4, textColor=INK)
FACT = ParagraphStyle("fact", fontName=PLAIN, fontSize=7.4, leading=9.2, textColor=INK)
CAUTION = ParagraphStyle("caution", fontName=BOLD, fontSize=6.6, leading=8.2, textColor=INK)


def print_labels(labels: Sequence[ContainerLabel], *, paper: str) -> bytes:
    """The labels as PDF, ten to a page, in their order."""
    held = BytesIO()
    canvas = Canvas(held, pagesize=PAPERS[paper], invariant=1)
    canvas.setTitle("Container labels")
    width, height = PAPERS[paper]
    across, down = (width - 2 * EDGE) / COLUMNS, (height - 2 * EDGE) / ROWS
    for number, label in enumerate(labels):
        on_page = number % (COLUMNS * ROWS)
        if number and not on_page:
            canvas.showPage()
        row, column = divmod(on_page, COLUMNS)
        left, bottom = EDGE + column * across, height - EDGE - (row + 1) * down
        _draw_label(canvas, label, left, bottom, across, down)
    canvas.showPage()
    canvas.save()
    return held.getvalue()


def _draw_label(
    canvas: Canvas, label: ContainerLabel, left: float, bottom: float, width: float, height: float
) -> None:
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.rect(left, bottom, width, height)
    top, inner = bottom + height - INSIDE, left + INSIDE
    ScanCode(label.short_code.replace("-", ""), CODE_SIZE).drawOn(canvas, inner, top - CODE_SIZE)
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, 25)
    beside = inner + CODE_SIZE + 3 * mm
    canvas.drawString(beside, top - 8.5 * mm, label.short_code)
    canvas.setFont(PLAIN, 7.6)
    canvas.drawString(beside, top - 12.5 * mm, _kind_and_name(label))
    room = left + width - INSIDE - beside
    at = _flow(canvas, " and ".join(label.contents), NAME, beside, top - 14 * mm, room)
    if label.says or label.is_hazardous:
        at = _bar(canvas, label, left, min(at, top - CODE_SIZE) - 1 * mm, width)
    else:
        at = min(at, top - CODE_SIZE) - 1 * mm
    at = _flow(canvas, "; ".join(_facts(label)), FACT, inner, at, width - 2 * INSIDE)
    _flow(canvas, " ".join(label.cautions), CAUTION, inner, at - 0.6 * mm, width - 2 * INSIDE)


def _bar(canvas: Canvas, label: ContainerLabel, left: float, top: float, width: float) -> float:
    """What must not be overlooked, white on black; words, not colour."""
    words = [label.says] if label.says else []
    words += ["hazardous"] if label.is_hazardous else []
    canvas.setFillColorRGB(0, 0, 0)
    canvas.rect(left, top - BAR, width, BAR, stroke=0, fill=1)
    canvas.setFillColorRGB(1, 1, 1)
    canvas.setFont(BOLD, 10)
    canvas.drawString(left + INSIDE, top - BAR + 1.6 * mm, ", ".join(words).upper())
    canvas.setFillColor(INK)
    return top - BAR - 0.8 * mm


def _flow(canvas: Canvas, text: str, style: ParagraphStyle, left: float, top: float, width: float) -> float:
    """Write text that folds; return where what follows begins."""
    if not text:
        return top
    paragraph: Paragraph = say(text, style)
    _width, height = paragraph.wrapOn(canvas, width, 100 * mm)
    paragraph.drawOn(canvas, left, top - height)
    return float(top - height)


def _kind_and_name(label: ContainerLabel) -> str:
    """A vessel whose name is its code is named once."""
    return label.kind if label.name == label.short_code else f"{label.kind}, {label.name}"


def _facts(label: ContainerLabel) -> list[str]:
    found = []
    if label.lot:
        found.append(f"lot {label.lot}")
    if label.capacity is not None:
        found.append(f"holds {format_millionths(label.capacity, label.unit)}")
    if label.on_date is not None:
        found.append(f"{label.dated} {label.on_date}")
    if label.best_before is not None:
        found.append(f"best before {label.best_before}")
    if label.owner:
        found.append(f"belongs to {label.owner}")
    return found
