"""Axes: from a number to its place on the sheet, and the round numbers to write beside it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from api.wire.pictures.drawing import SMALL_TEXT, Drawing

STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Axis:
    """Numbers from `low` to `high` on the pixels from `start` to `end`, which may run backwards."""

    low: float
    high: float
    start: float
    end: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"an axis must rise, not go from {self.low} to {self.high}")

    def place(self, value: float) -> float:
        """Where a number stands [px]; beyond the ends where it lies beyond them."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def round_ticks(low: float, high: float, *, most: int = 6) -> list[float]:
    """Round numbers from at or below `low` to at or above `high`, few enough to read.

    The first and the last make a good axis.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= high and most >= 3):
        raise ValueError(f"ticks need a range, not {low} to {high} in {most}")
    reach = high - low or abs(high) or 1.0
    power = 10.0 ** math.floor(math.log10(reach / (most - 1)))
    for factor in (*STEPS, 20.0, 50.0):
        step = factor * power
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        last = max(last, first + 1)
        if last - first < most:
            # A product of whole steps and not a running sum, which would drift.
            return [round(number * step, 12) for number in range(first, last + 1)]
    raise AssertionError("some step of fifty times the power always suffices")


def draw_level_lines(
    drawing: Drawing,
    axis: Axis,
    ticks: Sequence[float],
    *,
    left: float,
    right: float,
    write: Callable[[float], str],
) -> None:
    """Thin level lines from left to right with their numbers before them."""
    for tick in ticks:
        y = axis.place(tick)
        drawing.add_line((left, y), (right, y), stroke="grid")
        drawing.add_text(left - 6, y + 4, write(tick), size=SMALL_TEXT, anchor="end", fill="quiet")


def draw_upright_ticks(
    drawing: Drawing,
    axis: Axis,
    ticks: Sequence[float],
    *,
    top: float,
    bottom: float,
    write: Callable[[float], str],
) -> None:
    """Thin upright lines from top to bottom with their numbers below them."""
    for tick in ticks:
        x = axis.place(tick)
        drawing.add_line((x, top), (x, bottom), stroke="grid")
        drawing.add_text(x, bottom + 15, write(tick), size=SMALL_TEXT, anchor="middle", fill="quiet")
