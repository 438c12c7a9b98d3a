"""What a sheet on a clipboard has beside words: boxes to tick, codes to scan, reels as bars."""

import segno
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, TableStyle

from api.wire.papers.paper import BAND, BOLD, INK, RULE, STRONG

# A short code is read at arm's length and typed in gloves.
CODE = ParagraphStyle("code", parent=STRONG, fontSize=14, leading=17)
PLAIN_TABLE = [
    ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
]
TIGHT = TableStyle(PLAIN_TABLE)
RULED = TableStyle([*PLAIN_TABLE, ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE)])
BANDED = TableStyle(
    [*PLAIN_TABLE, ("BACKGROUND", (0, 0), (-1, -1), BAND), ("LEFTPADDING", (0, 0), (-1, -1), 4)]
)


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
            self.canv.setFont(BOLD, 8)
            self.canv.drawCentredString(at + cut * scale / 2, 2 * mm, str(number))
            self.canv.setFillColor(RULE)
            at += cut * scale
        self.canv.setDash(2, 2)
        self.canv.rect(at, 1 * mm, max(self.width - at, 0.0), 4 * mm, stroke=1, fill=0)
