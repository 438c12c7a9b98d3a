"""Picture of one material's stock in the days ahead: its band, receipts, planned steps, reorder point."""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date

from api.wire.pictures.axes import Axis, draw_level_lines, round_ticks
from api.wire.pictures.drawing import SMALL_TEXT, Anchor, Column, Drawing, Picture, PictureTable, Point
from api.wire.pictures.style import fit_text, wrap_text
from inventory.queries.projected_stock import ProjectedStock
from inventory.units import format_amount, unit_label

WIDTH, HEIGHT = 760.0, 400.0
LEFT, RIGHT, TOP, BOTTOM = 70.0, 24.0, 104.0, 62.0
MOST_LABELS, MOST_LINES = 8, 3


def draw_projected_stock(stock: ProjectedStock) -> Picture:
    """The stock if nothing more is ordered, and the table of the same numbers."""
    drawing = Drawing(WIDTH, HEIGHT, _title(stock), _say(stock))
    across = Axis(0.0, max(len(stock.days) - 1.0, 1.0), LEFT, WIDTH - RIGHT)
    up = _level_axis(stock)
    write = _writer(stock)
    drawing.add_rectangle(0, 0, WIDTH, HEIGHT, fill="surface")
    _draw_head(drawing, stock)
    draw_level_lines(
        drawing,
        up,
        round_ticks(up.low, up.high),
        left=LEFT,
        right=WIDTH - RIGHT,
        write=lambda tick: f"{tick:g}",
    )
    _draw_band(drawing, stock, across, up)
    _draw_nothing_left(drawing, across, up)
    _draw_reorder_point(drawing, stock, up, write)
    _draw_steps(drawing, stock, across, up, write)
    _draw_receipts(drawing, stock, across, up, write)
    _draw_run_out(drawing, stock, across)
    _draw_days(drawing, stock, across)
    drawing.add_legend(
        LEFT,
        HEIGHT - 10,
        [
            ("first", "stock, mean and band of 9 in 10"),
            ("second", "planned to be taken"),
            ("third", "on order"),
            ("alarm", "may run out from here"),
        ],
    )
    return Picture(drawing.to_svg(), _table(stock, write))


def _title(stock: ProjectedStock) -> str:
    return f"{stock.material.name}, {stock.place.name}"


def _say(stock: ProjectedStock) -> str:
    if stock.line is None:
        last = stock.days[-1].day
        return f"If nothing more is ordered the stock does until {last:%d %b} at {stock.service:.0%} service."
    word = "runs out" if stock.line.is_likely else "may run out"
    return f"If nothing more is ordered it {word} on {stock.line.run_out_date:%a %d %b}. {stock.line.why}"


def _level_axis(stock: ProjectedStock) -> Axis:
    lows = [min(day.level, max(day.low, -day.high)) for day in stock.days]
    highs = [max(day.high, day.level) for day in stock.days]
    ticks = round_ticks(min(0.0, *lows), max(stock.reorder_point, 1.0, *highs))
    return Axis(ticks[0], ticks[-1], HEIGHT - BOTTOM, TOP)


def _writer(stock: ProjectedStock) -> Callable[[float], str]:
    def write(amount: float) -> str:
        written = format_amount(round(amount, 2), stock.material.stock_unit)
        return written.removesuffix(f" {unit_label('1')}")

    return write


def _draw_head(drawing: Drawing, stock: ProjectedStock) -> None:
    drawing.add_text(LEFT, 26, fit_text(_title(stock), 17, WIDTH - LEFT - RIGHT), size=17, is_bold=True)
    lines = wrap_text(_say(stock), 12.5, WIDTH - LEFT - RIGHT)
    unit = stock.material.stock_unit
    drawing.add_text(
        LEFT - 8,
        TOP - 8,
        "pieces" if unit == "1" else unit_label(unit),
        size=SMALL_TEXT,
        anchor="end",
        fill="quiet",
    )
    if len(lines) > MOST_LINES:
        # The page beside the picture says all of it; here it ends where the room does.
        rest = " ".join(lines[MOST_LINES - 1 :])
        lines[MOST_LINES - 1 :] = [fit_text(rest, 12.5, WIDTH - LEFT - RIGHT)]
    for number, text in enumerate(lines):
        drawing.add_text(LEFT, 46 + 16 * number, text, size=12.5, fill="quiet")


def _draw_band(drawing: Drawing, stock: ProjectedStock, across: Axis, up: Axis) -> None:
    upper = _steps([day.high for day in stock.days], across, up)
    lower = _steps([max(day.low, up.low) for day in stock.days], across, up)
    drawing.add_path([*upper, *reversed(lower)], stroke="none", fill="first", opacity=0.18, is_closed=True)
    drawing.add_path(_steps([day.level for day in stock.days], across, up), stroke="first", width=2.2)


def _steps(values: Sequence[float], across: Axis, up: Axis) -> list[Point]:
    """A stock stays as it is until something happens: steps and not slopes."""
    points: list[Point] = []
    for number, value in enumerate(values):
        if points:
            points.append((across.place(number), points[-1][1]))
        points.append((across.place(number), up.place(value)))
    return points


def _draw_nothing_left(drawing: Drawing, across: Axis, up: Axis) -> None:
    y = up.place(0.0)
    drawing.add_line((across.start, y), (across.end, y), stroke="ink", width=1.4)


def _draw_reorder_point(
    drawing: Drawing, stock: ProjectedStock, up: Axis, write: Callable[[float], str]
) -> None:
    if stock.reorder_point <= 0:
        return
    y = up.place(stock.reorder_point)
    drawing.add_line((LEFT, y), (WIDTH - RIGHT, y), stroke="quiet", width=1.2, dash="6 4")
    words = f"order at {write(stock.reorder_point)}"
    drawing.add_text(WIDTH - RIGHT, y - 5, words, size=SMALL_TEXT, anchor="end", fill="quiet")


def _draw_steps(
    drawing: Drawing, stock: ProjectedStock, across: Axis, up: Axis, write: Callable[[float], str]
) -> None:
    """Bars down from the line of nothing left, as long as what a day takes."""
    zero = up.place(0.0)
    for number, day in enumerate(stock.days):
        if day.scheduled_out <= 0:
            continue
        height = min(up.place(0.0) - up.place(day.scheduled_out), zero - TOP)
        hint = f"{day.day:%a %d %b}: {write(day.scheduled_out)} planned to be taken"
        drawing.add_rectangle(
            across.place(number) - 4, zero - height, 8, height, fill="second", corner=1.5, hint=hint
        )


def _draw_receipts(
    drawing: Drawing, stock: ProjectedStock, across: Axis, up: Axis, write: Callable[[float], str]
) -> None:
    written: Counter[int] = Counter()
    for receipt in stock.receipts:
        number = (receipt.day - stock.as_of).days
        if not 0 <= number < len(stock.days):
            continue
        x = across.place(number)
        # What comes on one day is written one below the other.
        y = TOP + 12 + 13 * written[number]
        written[number] += 1
        drawing.add_line((x, up.start), (x, TOP), stroke="third", width=1.4, dash="2 3")
        words = f"+{write(receipt.quantity)}" + (f", {receipt.doubt}" if receipt.doubt else "")
        anchor: Anchor = "end" if x > WIDTH - 120 else "start"
        drawing.add_text(
            x + (-5 if anchor == "end" else 5), y, words, size=SMALL_TEXT, anchor=anchor, fill="third"
        )


def _draw_run_out(drawing: Drawing, stock: ProjectedStock, across: Axis) -> None:
    if stock.line is None:
        return
    number = (stock.line.run_out_date - stock.as_of).days
    if number >= len(stock.days):
        return
    x = across.place(number)
    drawing.add_line((x, HEIGHT - BOTTOM), (x, TOP), stroke="alarm", width=1.6)
    drawing.add_circle((x, HEIGHT - BOTTOM), 4, fill="alarm")


def _draw_days(drawing: Drawing, stock: ProjectedStock, across: Axis) -> None:
    every = max(1, -(-len(stock.days) // MOST_LABELS))
    for number in range(0, len(stock.days), every):
        x, day = across.place(number), stock.days[number].day
        drawing.add_line((x, HEIGHT - BOTTOM), (x, HEIGHT - BOTTOM + 4), stroke="quiet")
        drawing.add_text(
            x, HEIGHT - BOTTOM + 18, f"{day:%d %b}", size=SMALL_TEXT, anchor="middle", fill="quiet"
        )


def _table(stock: ProjectedStock, write: Callable[[float], str]) -> PictureTable:
    unit = "" if stock.material.stock_unit == "1" else unit_label(stock.material.stock_unit)
    columns = (
        Column("day", "Day"),
        Column("taken", "Planned to be taken", unit),
        Column("back", "Back", unit),
        Column("order", "On order", unit),
        Column("stock", "Stock", unit),
        Column("low", "At least, 19 in 20", unit),
        Column("chance", "Chance of running short"),
    )
    awaited: dict[date, float] = {}
    for receipt in stock.receipts:
        awaited[receipt.day] = awaited.get(receipt.day, 0.0) + receipt.quantity
    rows = [
        {
            "day": f"{day.day:%a %d %b}",
            "taken": _bare(day.scheduled_out),
            "back": _bare(day.scheduled_back),
            "order": _bare(awaited.get(day.day, 0.0)),
            "stock": f"{day.level:.2f}".rstrip("0").rstrip("."),
            "low": f"{day.low:.2f}".rstrip("0").rstrip("."),
            "chance": f"{day.chance_short:.0%}",
        }
        for day in stock.days
    ]
    caption = f"{_title(stock)}: stock if nothing more is ordered; order at {write(stock.reorder_point)}"
    return PictureTable(caption, columns, rows)


def _bare(amount: float) -> str:
    return f"{amount:.2f}".rstrip("0").rstrip(".") if amount else ""
