"""How a picture looks: colours by what they mean, in light and in dark, and how wide a text is, roughly.

An element names a role and never a colour. The colours are custom properties, so that a page that has its
own light and dark may set `--picture-...` on any ancestor, and a picture alone in a file follows the reader's
choice.
"""

from typing import Literal

Role = Literal[
    "surface", "panel", "ink", "quiet", "grid", "first", "second", "third", "fourth", "alarm", "spare", "none"
]

# Told apart without colour vision too: they differ in lightness, and what matters is also written or hatched.
LIGHT: dict[str, str] = {
    "surface": "#ffffff",
    "panel": "#f1f4f3",
    "ink": "#16211f",
    "quiet": "#55625f",
    "grid": "#d3dbd8",
    "first": "#0b6b62",
    "second": "#c96a12",
    "third": "#4a5a9c",
    "fourth": "#8a8f2a",
    "alarm": "#b3261e",
    "spare": "#b9c4c1",
}
DARK: dict[str, str] = {
    "surface": "#121817",
    "panel": "#1d2624",
    "ink": "#e8efed",
    "quiet": "#a2b0ac",
    "grid": "#34413e",
    "first": "#4fc0b2",
    "second": "#f0a25a",
    "third": "#9aa9ea",
    "fourth": "#c9cf6a",
    "alarm": "#ff8a80",
    "spare": "#5a6a66",
}
FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"

# Shares of the font's size, as wide as common sans-serif faces are; a little too wide does less harm.
_NARROW, _THIN, _WIDE, _WIDEST = 0.30, 0.40, 0.70, 0.90
_WIDTHS: dict[str, float] = {
    **dict.fromkeys("iljI|!.,:;'`", _NARROW),
    **dict.fromkeys('ftr()[]{}/\\- "', _THIN),
    **dict.fromkeys("ABCDEFGHKNOPQRSTUVXYZ&w", _WIDE),
    **dict.fromkeys("mWM@%", _WIDEST),
}
_USUAL = 0.57


def measure_text(text: str, size: float) -> float:
    """How wide a text is at a font size, in the size's unit; rough, since the reader's font is not known."""
    return sum(_WIDTHS.get(letter, _USUAL) for letter in text) * size


def fit_text(text: str, size: float, width: float) -> str:
    """The text, or as much of its beginning as is no wider, ended by an ellipsis; nothing where none fits."""
    if measure_text(text, size) <= width:
        return text
    kept = text
    while kept and measure_text(f"{kept}…", size) > width:
        kept = kept[:-1].rstrip()
    return f"{kept}…" if kept else ""


def wrap_text(text: str, size: float, width: float) -> list[str]:
    """The text in lines no wider than this, broken between words; a word that is wider is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and measure_text(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(fit_text(word, size, width))
    return lines


def make_stylesheet() -> str:
    """The rules of every picture, for a page that forbids styles inside its own text."""
    names = list(LIGHT)
    light = ";".join(f"--_{name}:var(--picture-{name},{LIGHT[name]})" for name in names)
    dark = ";".join(f"--_{name}:var(--picture-{name},{DARK[name]})" for name in names)
    fills = "".join(f".picture .f-{name}{{fill:var(--_{name})}}" for name in names)
    strokes = "".join(f".picture .s-{name}{{stroke:var(--_{name})}}" for name in names)
    return (
        f".picture{{{light};font-family:{FONT};max-width:100%;height:auto;background:var(--_surface)}}"
        f"@media (prefers-color-scheme:dark){{.picture{{{dark}}}}}"
        # Paper is white whatever the screen was.
        f"@media print{{.picture{{{light}}}}}"
        f"{fills}{strokes}.picture .f-none{{fill:none}}.picture .s-none{{stroke:none}}"
        ".picture text{font-variant-numeric:tabular-nums}"
    )
