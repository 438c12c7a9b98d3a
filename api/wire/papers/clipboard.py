"""The parts that printed sheets are put together from: page frame, tick boxes, codes to scan and to read."""

from collections.abc import Callable
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph

PAPERS = {"a4": A4, "letter": LETTER}
MARGIN = 14 * mm
HEAD, FOOT = 12 * mm, 9 * mm
INK, QUIET, RULE, ALARM, BAND = (
    HexColor(colour) for colour in ("#16211f", "#4d5956", "#b9c4c1", "#b3261e", "#e9eeec")
)

# Large enough for arm's length in the rain, and for a phone that shows the page's full width.
BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=10.5, leading=13.5, textColor=INK)
STRONG = ParagraphStyle("strong", parent=BODY, fontName="Helvetica-Bold")
SMALL = ParagraphStyle("small", parent=BODY, fontSize=8.8, leading=11.4, textColor=QUIET)
AMOUNT = ParagraphStyle("amount", parent=STRONG, alignment=TA_RIGHT)
WARNING = ParagraphStyle("warning", parent=STRONG, textColor=ALARM)
HEADING = ParagraphStyle(
    "heading", parent=STRONG, fontSize=13, leading=16, spaceBefore=9, spaceAfter=3, keepWithNext=1
)
CODE = ParagraphStyle("code", parent=STRONG, fontName="Courier-Bold", fontSize=17, leading=20)


def say(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of what people wrote; letters that the printed face has not become question marks."""
    printable = text.encode("cp1252", errors="replace").decode("cp1252")
    return Paragraph(escape(printable), style)


class TickBox(Flowable):
    """An empty square to tick with a pen."""

    def __init__(self, size: float = 4.6 * mm) -> None:
        super().__init__()
        self.width = self.height = size

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1.1)
        self.canv.rect(0, 0, self.width, self.height)


class ScanCode(Flowable):
    """A QR code of a short text, drawn as squares so that it stays sharp at any size."""

    def __init__(self, text: str, size: float = 15 * mm) -> None:
        super().__init__()
        self._rows = [list(row) for row in segno.make(text, error="m", micro=False).matrix_iter(border=2)]
        self.width = self.height = size

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        side = self.width / len(self._rows)
        self.canv.setFillColor(HexColor("#000000"))
        for number, row in enumerate(self._rows):
            for place, is_dark in enumerate(row):
                if is_dark:
                    # A hair wider than its cell, so that no light line shows between two dark ones.
                    top = self.height - (number + 1) * side
                    self.canv.rect(place * side, top, side * 1.02, side * 1.02, stroke=0, fill=1)


class CutBar(Flowable):
    """A reel as a bar to scale: its cuts one after the other, then what is left, framed in dashes."""

    def __init__(self, held: float, cuts: list[float], width: float) -> None:
        super().__init__()
        self._held, self._cuts = max(held, sum(cuts)), cuts
        self.width, self.height = width, 6 * mm

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        at, scale = 0.0, self.width / self._held if self._held else 0.0
        self.canv.setLineWidth(0.8)
        self.canv.setStrokeColor(INK)
        self.canv.setFillColor(RULE)
        for number, cut in enumerate(self._cuts, start=1):
            self.canv.rect(at, 1 * mm, cut * scale, 4 * mm, stroke=1, fill=1)
            self.canv.setFillColor(INK)
            self.canv.setFont("Helvetica-Bold", 8.5)
            self.canv.drawCentredString(at + cut * scale / 2, 2 * mm, str(number))
            self.canv.setFillColor(RULE)
            at += cut * scale
        self.canv.setDash(2, 2)
        self.canv.rect(at, 1 * mm, max(self.width - at, 0.0), 4 * mm, stroke=1, fill=0)


class _NumberedCanvas(Canvas):
    """Writes head and foot once all pages are there, since each says how many there are."""

    def __init__(self, *args: Any, frame: Callable[[Canvas, int, int], None], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._draw_frame = frame
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802
        self._pages.append(dict(self.__dict__))
        self._startPage()  # type: ignore[attr-defined]

    def save(self) -> None:
        for number, page in enumerate(self._pages, start=1):
            self.__dict__.update(page)
            self._draw_frame(self, number, len(self._pages))
            super().showPage()
        super().save()


def build_pdf(story: list[Flowable], *, title: str, head: str, foot: str, paper: str) -> bytes:
    """Lay the story out on as many pages as it takes, each with its head and foot.

    The same story gives the same bytes: no clock goes into the file.
    """
    width, height = PAPERS[paper]
    held = BytesIO()
    document = BaseDocTemplate(held, pagesize=(width, height), title=title, author="", invariant=1)
    inner = Frame(
        MARGIN,
        MARGIN + FOOT,
        width - 2 * MARGIN,
        height - 2 * MARGIN - HEAD - FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates([PageTemplate(frames=[inner])])

    def frame(canvas: Canvas, number: int, count: int) -> None:
        _draw_head_and_foot(canvas, (width, height), head, foot, f"{number} of {count}")

    document.build(story, canvasmaker=lambda *args, **kwargs: _NumberedCanvas(*args, frame=frame, **kwargs))
    return held.getvalue()


def _draw_head_and_foot(canvas: Canvas, size: tuple[float, float], head: str, foot: str, page: str) -> None:
    width, height = size
    canvas.setFillColor(INK)
    canvas.setFont("Helvetica-Bold", 11)
    canvas.drawString(MARGIN, height - MARGIN - 8, head.encode("cp1252", "replace").decode("cp1252"))
    canvas.setFont("Helvetica", 10)
    canvas.drawRightString(width - MARGIN, height - MARGIN - 8, f"page {page}")
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN, height - MARGIN - 14, width - MARGIN, height - MARGIN - 14)
    canvas.setFillColor(QUIET)
    canvas.setFont("Helvetica", 8.5)
    canvas.drawString(MARGIN, MARGIN, foot)
