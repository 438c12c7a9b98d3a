"""A drawing that is put together from a few shapes and written as SVG.

Every picture is for eyes and for ears: it has a title and a description that a screen reader says, and it
comes with a table of the same numbers, so that nothing is told by a shape or a colour alone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any, Literal

from api.wire.pictures.style import Role, make_stylesheet, measure_text

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
TEXT_SIZE = 13.0
SMALL_TEXT = 11.0


@dataclass(frozen=True)
class Column:
    """A column of a picture's table; `unit` as people write it, empty for words and pieces."""

    key: str
    title: str
    unit: str = ""


@dataclass(frozen=True)
class PictureTable:
    """The numbers of a picture, row by row, each under its column's key, written as they are read."""

    caption: str
    columns: Sequence[Column]
    rows: Sequence[dict[str, str]]

    def __post_init__(self) -> None:
        keys = {column.key for column in self.columns}
        for number, row in enumerate(self.rows, start=1):
            if set(row) != keys:
                raise ValueError(f"row {number} has {sorted(row)}, the columns are {sorted(keys)}")


@dataclass(frozen=True)
class Picture:
    """A drawing and the table that says the same."""

    svg: str
    table: PictureTable

    @property
    def unstyled_svg(self) -> str:
        """The drawing for a page that brings `make_stylesheet` as a file, since it allows no style inside."""
        return self.svg.replace(_style(), "", 1)


@dataclass
class Drawing:
    """Shapes one above the other on a sheet of `width` by `height` pixels; y grows downwards.

    `title` is short, `description` says in a sentence or two what there is to see.
    """

    width: float
    height: float
    title: str
    description: str
    _parts: list[str] = field(default_factory=list)
    _is_hatched: bool = False

    def add_rectangle(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: Role = "panel",
        stroke: Role = "none",
        corner: float = 0.0,
        hint: str = "",
        is_hatched: bool = False,
    ) -> None:
        """A box. `hint` is what a pointer resting on it is told; a hatched one is lost or not certain."""
        shape = {"x": x, "y": y, "width": max(width, 0.0), "height": max(height, 0.0), "rx": corner}
        self._add("rect", shape, fill=fill, stroke=stroke, hint=hint)
        if is_hatched:
            self._is_hatched = True
            self._add("rect", {**shape, "style": "fill:url(#picture-hatch)"}, fill="none", stroke="none")

    def add_line(
        self, start: Point, end: Point, *, stroke: Role = "grid", width: float = 1.0, dash: str = ""
    ) -> None:
        shape: dict[str, Any] = {"x1": start[0], "y1": start[1], "x2": end[0], "y2": end[1]}
        self._add("line", {**shape, "stroke-width": width, "stroke-dasharray": dash}, stroke=stroke)

    def add_path(
        self,
        points: Sequence[Point],
        *,
        stroke: Role = "first",
        fill: Role = "none",
        width: float = 2.0,
        dash: str = "",
        opacity: float | None = None,
        is_closed: bool = False,
        hint: str = "",
    ) -> None:
        """A line through points, or the area inside them where it is closed; nothing without points."""
        if not points:
            return
        steps = " L".join(f"{_number(x)} {_number(y)}" for x, y in points)
        shape = {
            "d": f"M{steps}{' Z' if is_closed else ''}",
            "stroke-width": width,
            "stroke-dasharray": dash,
            "stroke-linejoin": "round",
            "opacity": "" if opacity is None else opacity,
        }
        self._add("path", shape, fill=fill, stroke=stroke, hint=hint)

    def add_circle(
        self,
        centre: Point,
        radius: float,
        *,
        fill: Role = "first",
        stroke: Role = "surface",
        hint: str = "",
    ) -> None:
        shape = {"cx": centre[0], "cy": centre[1], "r": radius}
        self._add("circle", shape, fill=fill, stroke=stroke, hint=hint)

    def add_text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = TEXT_SIZE,
        anchor: Anchor = "start",
        fill: Role = "ink",
        is_bold: bool = False,
        turned: float = 0.0,
    ) -> None:
        """A line of text whose baseline is at y; `turned` by degrees clockwise about its anchor."""
        turn = f"rotate({_number(turned)} {_number(x)} {_number(y)})" if turned else ""
        shape = {
            "x": x,
            "y": y,
            "font-size": size,
            "text-anchor": "" if anchor == "start" else anchor,
            "font-weight": "600" if is_bold else "",
            "transform": turn,
        }
        self._add("text", shape, fill=fill, text=text)

    def add_legend(self, x: float, y: float, entries: Iterable[tuple[Role, str]]) -> float:
        """Squares with words beside each other; returns where the next would begin."""
        for role, words in entries:
            self.add_rectangle(x, y - 10, 11, 11, fill=role, corner=2)
            self.add_text(x + 16, y, words, size=SMALL_TEXT, fill="quiet")
            x += 16 + measure_text(words, SMALL_TEXT) + 18
        return x

    def to_svg(self, *, has_style: bool = True) -> str:
        """The drawing as text. Without its style where the page brings `make_stylesheet` itself."""
        size = f"{_number(self.width)} {_number(self.height)}"
        style = _style() if has_style else ""
        hatch = _HATCH if self._is_hatched else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" viewBox="0 0 {size}" '
            f'width="{_number(self.width)}" height="{_number(self.height)}">'
            f"<title>{_safe(self.title)}</title><desc>{_safe(self.description)}</desc>"
            f"{style}{hatch}{''.join(self._parts)}</svg>"
        )

    def _add(
        self,
        name: str,
        shape: dict[str, Any],
        *,
        fill: Role | None = None,
        stroke: Role | None = None,
        text: str = "",
        hint: str = "",
    ) -> None:
        classes = [f"f-{fill}"] if fill else []
        classes += [f"s-{stroke}"] if stroke else []
        said = {"class": " ".join(classes), **shape}
        written = "".join(
            f' {key}="{_value(value)}"' for key, value in said.items() if value not in ("", None)
        )
        inside = f"<title>{_safe(hint)}</title>" if hint else _safe(text)
        self._parts.append(f"<{name}{written}>{inside}</{name}>" if inside else f"<{name}{written}/>")


_HATCH = (
    '<defs><pattern id="picture-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path d="M0 0V6" class="s-quiet" stroke-width="2" opacity="0.7"/>'
    "</pattern></defs>"
)


def _value(value: object) -> str:
    return _number(value) if isinstance(value, int | float) else _safe(str(value))


def _number(value: float) -> str:
    """A hundredth of a pixel is finer than any screen; an SVG has no word for what is not finite."""
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError("a picture cannot show a number that is not finite")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _safe(text: str) -> str:
    """Names come from people: escaped, and without the control characters that XML does not take."""
    kept = "".join(letter for letter in text if letter >= " " or letter in "\t\n")
    return escape(kept, quote=True)


def _style() -> str:
    return f"<style>{make_stylesheet()}</style>"
