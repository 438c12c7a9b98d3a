"""Paper: the frame that every printed sheet has, and tables that break over pages.

Black on white, large enough to read on a clipboard. The typeface is the one that comes with the library;
what it has no sign for is shown as a box, never left out.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, landscape, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

PLAIN, BOLD = "Paper", "Paper-Bold"
MARGIN = 15 * mm
# What the library leaves free inside its frame on each side.
PADDING = 6
INK, QUIET, LINE, BAND = (
    colors.HexColor("#16211f"),
    colors.HexColor("#55625f"),
    colors.HexColor("#b9c4c0"),
    colors.HexColor("#eef2f1"),
)


@dataclass
class Paper:
    """A sheet in the making: a title, a line below it, and parts one after the other."""

    title: str
    subtitle: str = ""
    is_metric: bool = False
    is_wide: bool = False
    printed_at: datetime | None = None
    parts: list[Flowable] = field(default_factory=list)

    @property
    def size(self) -> tuple[float, float]:
        """A4 where the company is metric, Letter elsewhere; on its side where it is wide."""
        upright = A4 if self.is_metric else letter
        return landscape(upright) if self.is_wide else upright

    @property
    def width(self) -> float:
        """Between the margins, as far as text goes [pt]."""
        return self.size[0] - 2 * MARGIN - 2 * PADDING

    def add_heading(self, text: str) -> None:
        self.parts += [
            Spacer(0, 4 * mm),
            Paragraph(escape(text), _style(11, is_bold=True)),
            Spacer(0, 1.5 * mm),
        ]

    def add_text(self, text: str, *, is_quiet: bool = False) -> None:
        self.parts.append(Paragraph(escape(text), _style(9, colour=QUIET if is_quiet else INK)))

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
        cells = [
            [_cell(text, is_bold=True, is_right=right) for text, right in zip(headings, numbers, strict=True)]
        ]
        for number, row in enumerate(rows):
            is_total = has_total and number == len(rows) - 1
            cells.append(
                [
                    _cell(text, is_bold=is_total, is_right=right)
                    for text, right in zip(row, numbers, strict=True)
                ]
            )
        whole = sum(widths)
        table = Table(cells, colWidths=[self.width * part / whole for part in widths], repeatRows=1)
        table.setStyle(TableStyle(_rules(len(cells), has_total=has_total)))
        self.parts.append(table)

    def to_pdf(self) -> bytes:
        """The sheet as a PDF file, the same for the same content."""
        _register_typeface()
        file = io.BytesIO()
        page = SimpleDocTemplate(
            file,
            pagesize=self.size,
            leftMargin=MARGIN,
            rightMargin=MARGIN,
            topMargin=MARGIN,
            bottomMargin=MARGIN + 4 * mm,
            title=self.title,
            invariant=1,
        )
        head = [Paragraph(escape(self.title), _style(16, is_bold=True)), Spacer(0, 1 * mm)]
        if self.subtitle:
            head.append(Paragraph(escape(self.subtitle), _style(9, colour=QUIET)))
        head.append(Spacer(0, 3 * mm))
        page.build([*head, *self.parts], onFirstPage=self._foot, onLaterPages=self._foot)
        return file.getvalue()

    def _foot(self, canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont(PLAIN, 8)
        canvas.setFillColor(QUIET)
        canvas.drawString(MARGIN + PADDING, MARGIN - 2 * mm, self.title)
        when = f"printed {self.printed_at:%Y-%m-%d %H:%M}   " if self.printed_at else ""
        canvas.drawRightString(
            self.size[0] - MARGIN - PADDING, MARGIN - 2 * mm, f"{when}page {document.page}"
        )
        canvas.restoreState()


def _register_typeface() -> None:
    if PLAIN not in pdfmetrics.getRegisteredFontNames():
        folder = Path(reportlab.__file__).parent / "fonts"
        pdfmetrics.registerFont(TTFont(PLAIN, folder / "Vera.ttf"))
        pdfmetrics.registerFont(TTFont(BOLD, folder / "VeraBd.ttf"))


def _style(
    size: float,
    *,
    is_bold: bool = False,
    is_right: bool = False,
    keeps_next: bool = False,
    colour: colors.Color = INK,
) -> ParagraphStyle:
    """A style; a heading keeps its table with it, so that it never stands alone at the foot of a page."""
    _register_typeface()
    return ParagraphStyle(
        "paper",
        fontName=BOLD if is_bold else PLAIN,
        fontSize=size,
        leading=size * 1.3,
        textColor=colour,
        spaceAfter=size * 0.4,
        keepWithNext=int(keeps_next),
        alignment=TA_RIGHT if is_right else 0,
    )


def _cell(text: str, *, is_bold: bool, is_right: bool) -> Paragraph:
    return Paragraph(escape(text), _style(8, is_bold=is_bold, is_right=is_right))


def _rules(rows: int, *, has_total: bool) -> list[tuple[Any, ...]]:
    rules: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BACKGROUND", (0, 0), (-1, 0), BAND),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
    if has_total:
        rules.append(("LINEABOVE", (0, rows - 1), (-1, rows - 1), 0.8, INK))
    return rules
