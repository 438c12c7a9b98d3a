"""Where the fluid of a crew-day went: what there was, bar by bar what became of it, and what is left over."""

from collections.abc import Sequence
from math import ceil, log10

from api.wire.pictures.drawing import SMALL_TEXT, TEXT_SIZE, Column, Drawing, Picture, PictureTable
from api.wire.pictures.style import Role, fit_text, wrap_text
from inventory.units import MILLION, format_millionths, unit_label
from jobs.models import FluidBalance
from jobs.queries.balances import WayLine, interval_of, list_ways

# What there was comes first; then each way takes up where the one before it ended.
WORDS: dict[str, tuple[str, Role]] = {
    "out": ("came out of drums", "first"),
    "stood": ("stood in bores before", "third"),
    "caught": ("came back into containers", "first"),
    "bore": ("stays in the bores", "third"),
    "film": ("stays on the walls, as expected", "spare"),
    "hose": ("in hose and pump", "spare"),
    "lost": ("told as lost", "second"),
    "unaccounted": ("cannot be accounted for", "alarm"),
}
SOURCES = ("out", "stood")
WIDTH, LABELS, VALUES, ROW, TOP = 720.0, 232.0, 168.0, 34.0, 70.0


def draw_fluid_balance(row: FluidBalance) -> Picture:
    """The picture of one fluid on one day, with the table of its numbers."""
    ways = list_ways(row)
    return Picture(_draw(row, ways), _lay_out(row, ways))


def _draw(row: FluidBalance, ways: Sequence[WayLine]) -> str:
    day = row.balance.crew_day
    title = f"Where {row.fluid.name} went: crew {day.crew.code}, {day.date}"
    words = wrap_text(_say(row), TEXT_SIZE, WIDTH - 32)
    height = TOP + ROW * len(ways) + 44 + 18 * len(words)
    drawing = Drawing(WIDTH, height, title, _say(row))
    drawing.add_rectangle(0, 0, WIDTH, height, fill="surface")
    drawing.add_text(16, 28, fit_text(title, 17, WIDTH - 32), size=17, is_bold=True)
    note = (
        f"revision {row.balance.revision}, in {unit_label(row.fluid.stock_unit)} at the reference temperature"
    )
    drawing.add_text(16, 48, note, size=SMALL_TEXT, fill="quiet")
    scale = _Scale(ways)
    _draw_grid(drawing, scale, TOP, TOP + ROW * len(ways), row.fluid.stock_unit)
    at = 0
    for number, way in enumerate(ways):
        at = _draw_way(drawing, scale, way, TOP + ROW * number, at, row)
    for number, line in enumerate(words):
        drawing.add_text(16, TOP + ROW * len(ways) + 48 + 18 * number, line)
    return drawing.to_svg()


class _Scale:
    """From millionths to pixels. Bars begin at nothing, and so does the scale unless something lies below."""

    def __init__(self, ways: Sequence[WayLine]) -> None:
        ends, at = [0.0], 0
        for way in ways:
            low, high = interval_of(way.amount, way.standard_uncertainty)
            begin = 0 if way.word in SOURCES else at - way.amount
            ends += [begin + low, begin + high, begin, begin + way.amount]
            at = at + way.amount if way.word in SOURCES else at - way.amount
        self.low, self.high = min(ends), max(max(ends), 1.0)
        self.left, self.right = LABELS, WIDTH - VALUES

    def __call__(self, amount: float) -> float:
        share = (amount - self.low) / (self.high - self.low)
        return self.left + share * (self.right - self.left)

    def ticks(self) -> list[float]:
        """A handful of round numbers."""
        rough = (self.high - self.low) / MILLION / 4
        power = 10.0 ** (ceil(log10(rough)) - 1)
        step = next(power * size for size in (1, 2, 5, 10) if power * size >= rough)
        first = ceil(self.low / MILLION / step)
        return [number * step for number in range(first, int(self.high / MILLION / step) + 1)]


def _draw_grid(drawing: Drawing, scale: _Scale, top: float, bottom: float, unit: str) -> None:
    for tick in scale.ticks():
        x = scale(tick * MILLION)
        drawing.add_line((x, top - 4), (x, bottom + 4), stroke="ink" if not tick else "grid")
        drawing.add_text(x, bottom + 19, f"{tick:g}", size=SMALL_TEXT, anchor="middle", fill="quiet")


def _draw_way(drawing: Drawing, scale: _Scale, way: WayLine, top: float, at: int, row: FluidBalance) -> int:
    """One bar with its interval; returns how much is still to be explained."""
    words, role = WORDS[way.word]
    unit = row.fluid.stock_unit
    begin = at if way.word == "stood" else 0 if way.word == "out" else at - way.amount
    end = begin + way.amount
    left, right = sorted((scale(begin), scale(end)))
    is_open = way.word == "unaccounted"
    low, high = interval_of(way.amount, way.standard_uncertainty)
    if is_open and low <= 0 <= high:
        # Nothing to be alarmed about: the readings cannot tell it from nothing.
        role = "spare"
    middle = top + ROW / 2
    drawing.add_text(16, middle + 5, words, is_bold=is_open)
    hint = f"{words}: {_written(way.amount, unit)}"
    drawing.add_rectangle(
        left, top + 7, max(right - left, 1.5), ROW - 14, fill=role, corner=2, hint=hint, is_hatched=is_open
    )
    if high > low:
        # The end that moves with the amount: the far one of what there was and is left over, the near one of
        # what went.
        is_far = is_open or way.word in SOURCES
        sign, anchor = (1, end) if is_far else (-1, begin)
        whisker = [scale(anchor + sign * (value - way.amount)) for value in (low, high)]
        drawing.add_line((whisker[0], middle), (whisker[1], middle), stroke="ink", width=1.5)
        for x in whisker:
            drawing.add_line((x, middle - 4), (x, middle + 4), stroke="ink", width=1.5)
    text = f"{_decimal(way.amount)} ± {_decimal(high - way.amount)}"
    drawing.add_text(WIDTH - 16, middle + 5, text, anchor="end", is_bold=is_open)
    return at + way.amount if way.word in SOURCES else begin


def _say(row: FluidBalance) -> str:
    """What the balance comes to, in a sentence or two."""
    unit = row.fluid.stock_unit
    if row.unaccounted is None or row.unaccounted_uncertainty is None:
        left_out = ", ".join(row.left_out)
        return f"Too little was read to say what is unaccounted for. Not closed: {left_out}."
    low, high = interval_of(row.unaccounted, row.unaccounted_uncertainty)
    amount = f"{_written(row.unaccounted, unit)}, between {_written(low, unit)} and {_written(high, unit)}"
    if low <= 0 <= high:
        said = f"Unaccounted: {amount}, which the readings cannot tell from nothing."
    elif row.unaccounted > 0:
        said = f"Unaccounted: {amount}. Fluid is missing."
    else:
        said = f"Unaccounted: {amount}. More came back than can be explained."
    if row.suspects:
        said += f" Look first at: {row.suspects[0]['name']}."
    if row.is_above_limit and row.limit is not None:
        said += f" The company's limit is {_written(row.limit, unit)}."
    return said


def _lay_out(row: FluidBalance, ways: Sequence[WayLine]) -> PictureTable:
    unit = row.fluid.stock_unit
    label = unit_label(unit)
    columns = [
        Column("way", "Where"),
        Column("amount", "Amount", label),
        Column("low", "From", label),
        Column("high", "To", label),
    ]
    rows = []
    for way in ways:
        low, high = interval_of(way.amount, way.standard_uncertainty)
        numbers = {"amount": way.amount, "low": low, "high": high}
        rows.append({"way": WORDS[way.word][0], **{key: _decimal(value) for key, value in numbers.items()}})
    caption = f"{row.fluid.name} on the day of crew {row.balance.crew_day.crew.code}; intervals at 95 %"
    return PictureTable(caption, columns, rows)


def _decimal(amount: int) -> str:
    text = f"{amount / MILLION:.2f}"
    return "0.00" if text == "-0.00" else text


def _written(amount: int, unit: str) -> str:
    """Two decimals are finer than anything that is read here."""
    return format_millionths(round(amount, -4), unit)
