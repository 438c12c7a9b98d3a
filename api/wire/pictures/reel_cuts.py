"""A picture of the cuts: each reel a bar as long as what is on it, its cuts in the order of work, its end."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.wire.pictures.axes import Axis, draw_upright_ticks, round_ticks
from api.wire.pictures.drawing import SMALL_TEXT, TEXT_SIZE, Column, Drawing, Picture, PictureTable
from api.wire.pictures.style import Role, fit_text, measure_text

WIDTH, LEFT, RIGHT = 720.0, 130.0, 20.0
TOP, ROW, BAR = 56.0, 44.0, 26.0


@dataclass(frozen=True)
class ReelBar:
    """One reel: its length before the day and the cuts off it, each with its name, in one unit of length."""

    label: str
    length: float
    cuts: Sequence[tuple[str, float]]

    @property
    def left(self) -> float:
        return self.length - sum(length for _name, length in self.cuts)


def draw_reel_cuts(reels: Sequence[ReelBar], *, unit: str) -> Picture:
    """The reels of a day one below the other, the longest as wide as the picture."""
    drawing = Drawing(WIDTH, TOP + ROW * max(len(reels), 1) + 30, "Cuts from reels", _describe(reels, unit))
    longest = max((reel.length for reel in reels), default=1.0)
    ticks = round_ticks(0, longest)
    axis = Axis(0, ticks[-1], LEFT, WIDTH - RIGHT)
    drawing.add_text(LEFT, 20, f"Cuts from reels, {unit}", is_bold=True)
    drawing.add_legend(
        LEFT, 40, [("first", "cut for a run"), ("second", "next cut"), ("spare", "left on the reel")]
    )
    bottom = TOP + ROW * max(len(reels), 1)
    draw_upright_ticks(drawing, axis, ticks, top=TOP, bottom=bottom, write=lambda value: f"{value:,.0f}")
    for number, reel in enumerate(reels):
        _draw_reel(drawing, axis, reel, TOP + number * ROW + (ROW - BAR) / 2, unit)
    return Picture(drawing.to_svg(), _tabulate(reels, unit))


def _describe(reels: Sequence[ReelBar], unit: str) -> str:
    if not reels:
        return "Nothing is cut."
    return "; ".join(f"{reel.label}: {_count(reel)}, {reel.left:,.1f} {unit} left" for reel in reels)


def _count(reel: ReelBar) -> str:
    return "1 cut" if len(reel.cuts) == 1 else f"{len(reel.cuts)} cuts"


def _draw_reel(drawing: Drawing, axis: Axis, reel: ReelBar, y: float, unit: str) -> None:
    # Bold letters are an eighth wider than those that are measured.
    label = fit_text(reel.label, TEXT_SIZE * 9 / 8, LEFT - 20)
    drawing.add_text(LEFT - 10, y + 17, label, anchor="end", is_bold=True)
    at = 0.0
    roles: tuple[Role, Role] = ("first", "second")
    for number, (name, length) in enumerate(reel.cuts):
        _draw_part(
            drawing, axis, (at, at + length), y, roles[number % 2], name, f"{name}: {length:,.1f} {unit}"
        )
        at += length
    left = f"{reel.left:,.1f} {unit}"
    _draw_part(drawing, axis, (at, reel.length), y, "spare", left, f"left: {left}")


def _draw_part(
    drawing: Drawing, axis: Axis, ends: tuple[float, float], y: float, fill: Role, text: str, hint: str
) -> None:
    x, width = axis.place(ends[0]), axis.place(ends[1]) - axis.place(ends[0])
    if width <= 0:
        return
    drawing.add_rectangle(
        x, y, width, BAR, fill=fill, stroke="surface", corner=2, hint=hint, is_hatched=fill == "spare"
    )
    # On the hatching only what has room and ground of its own can be read.
    shown = fit_text(text, SMALL_TEXT, width - 10)
    if len(shown) < min(len(text), 4):
        return
    if fill == "spare":
        drawing.add_rectangle(
            x + 3, y + 6, measure_text(shown, SMALL_TEXT) + 6, BAR - 12, fill="surface", corner=2
        )
    drawing.add_text(x + 6, y + 17, shown, size=SMALL_TEXT, fill="ink" if fill == "spare" else "surface")


def _tabulate(reels: Sequence[ReelBar], unit: str) -> PictureTable:
    columns = [Column("reel", "Reel"), Column("cut", "Cut"), Column("length", "Length", unit)]
    rows = []
    for reel in reels:
        rows += [{"reel": reel.label, "cut": name, "length": f"{length:,.1f}"} for name, length in reel.cuts]
        rows.append({"reel": reel.label, "cut": "left", "length": f"{reel.left:,.1f}"})
    return PictureTable("Cuts from each reel, and what is left on it", columns, rows)
