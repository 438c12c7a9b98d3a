"""Paper: the frame that every printed sheet has, its typeface, and tables that break over pages.

Black on white, large enough to read on a clipboard. The typeface is the one that comes with the library;
what it has no sign for is shown as a box, never left out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

PAPERS = {"a4": A4, "letter": LETTER}
PLAIN, BOLD = "Paper", "Paper-Bold"
MARGIN = 14 * mm
HEAD, FOOT = 12 * mm, 8 * mm
INK, QUIET, RULE, ALARM, BAND = (
    HexColor(colour) for colour in ("#16211f", "#4d5956", "#b9c4c1", "#b3261e", "#e9eeec")
)

_FONTS = Path(reportlab.__file__).parent / "fonts"
pdfmetrics.registerFont(TTFont(PLAIN, _FONTS / "Vera.ttf"))
pdfmetrics.registerFont(TTFont(BOLD, _FONTS / "VeraBd.ttf"))

# Large enough for arm's length in the rain, and for a phone that shows the page's full width.
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9.4, leading=12.6, textColor=INK)
STRONG = ParagraphStyle("strong", parent=BODY, fontName=BOLD)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=8, leading=10.6, textColor=QUIET)
AMOUNT = ParagraphStyle("amount", parent=STRONG, alignment=TA_RIGHT)
WARNING = ParagraphStyle("warning", parent=STRONG, textColor=ALARM)
HEADING = ParagraphStyle("heading", parent=STRONG, fontSize=11.5, leading=15, spaceBefore=9, spaceAfter=3)
# A heading with less room than this below it goes to the next page, so that it never stands alone.
ROOM_BELOW = 30 * mm
CELL = ParagraphStyle("cell", parent=BODY, fontSize=8, leading=10.4)
CELLS = {
    (is_bold, is_right): ParagraphStyle(
        "cell", parent=CELL, fontName=BOLD if is_bold else PLAIN, alignment=TA_RIGHT if is_right else 0
    )
    for is_bold in (False, True)
    for is_right in (False, True)
}


def say(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of what people wrote, taken as it stands."""
    return Paragraph(escape(_printable(text)), style)


def head(text: str) -> list[Flowable]:
    """A heading, with the first of what it heads on the same page."""
    return [CondPageBreak(ROOM_BELOW), say(text, HEADING)]


@dataclass
class Paper:
    """A sheet in the making: a title at the head of every page, a line below it, and parts one by one."""

    title: str
    subtitle: str = ""
    paper: str = "letter"
    is_wide: bool = False
    printed_at: datetime | None = None
    # Said at the foot of every page.
    foot: str = ""
    parts: list[Flowable] = field(default_factory=list)

    @property
    def size(self) -> tuple[float, float]:
        """Of the page [pt]."""
        upright = PAPERS[self.paper]
        return landscape(upright) if self.is_wide else upright

    @property
    def width(self) -> float:
        """Between the margins, as far as text goes [pt]."""
        return self.size[0] - 2 * MARGIN

    def add_heading(self, text: str) -> None:
        self.parts += head(text)

    def add_text(self, text: str, *, is_quiet: bool = False) -> None:
        self.parts.append(say(text, SMALL if is_quiet else BODY))

    def add_part(self, part: Flowable) -> None:
        self.parts.append(part)

    def add_table(
        self,
        headings: Sequence[str],
        rows: Sequence[Sequence[str]],
        *,
        widths: Sequence[float],
        is_number: Sequence[bool] = (),
        has_total: bool = False,
    ) -> None:
        """A table whose head comes again on every page; `widths` are shares of the page's width."""
        numbers = list(is_number) or [False] * len(headings)
        cells = []
        for place, row in enumerate([headings, *rows]):
            is_bold = place == 0 or (has_total and place == len(rows))
            cells.append([say(text, CELLS[is_bold, right]) for text, right in zip(row, numbers, strict=True)])
        whole = sum(widths)
        columns = [self.width * part / whole for part in widths]
        rules = _rules(len(cells), has_total=has_total)
        self.parts.append(Table(cells, colWidths=columns, repeatRows=1, style=rules))

    def to_pdf(self) -> bytes:
        """The sheet as a PDF file, the same for the same content: no clock goes into it by itself."""
        width, height = self.size
        held = BytesIO()
        document = BaseDocTemplate(held, pagesize=self.size, title=self.title, author="", invariant=1)
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
        below = [say(self.subtitle, SMALL), Spacer(1, 1.5 * mm)] if self.subtitle else []
        document.build([*below, *self.parts], canvasmaker=self._make_canvas)
        return held.getvalue()

    def _make_canvas(self, *args: Any, **kwargs: Any) -> "_NumberedCanvas":
        return _NumberedCanvas(*args, frame=self._draw_frame, **kwargs)

    def _draw_frame(self, canvas: Canvas, number: int, count: int) -> None:
        width, height = self.size
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 10.5)
        canvas.drawString(MARGIN, height - MARGIN - 8, _printable(self.title))
        canvas.setFont(PLAIN, 9)
        canvas.drawRightString(width - MARGIN, height - MARGIN - 8, f"page {number} of {count}")
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.8)
        canvas.line(MARGIN, height - MARGIN - 14, width - MARGIN, height - MARGIN - 14)
        canvas.setFillColor(QUIET)
        canvas.setFont(PLAIN, 7.4)
        canvas.drawString(MARGIN, MARGIN, self.foot)
        if self.printed_at is not None:
            canvas.drawRightString(width - MARGIN, MARGIN, f"printed {self.printed_at:%Y-%m-%d %H:%M}")


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


def _printable(text: str) -> str:
    """Control characters have no sign and would break the library's markup."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _rules(rows: int, *, has_total: bool) -> list[tuple[Any, ...]]:
    rules: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BACKGROUND", (0, 0), (-1, 0), BAND),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
    if has_total:
        rules.append(("LINEABOVE", (0, rows - 1), (-1, rows - 1), 0.8, INK))
    return rules
