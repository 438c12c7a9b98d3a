"""How much comes back by cable size: each rate with the interval in which it lies."""

from collections.abc import Sequence

from api.wire.pictures.axes import Axis, draw_upright_ticks, round_ticks
from api.wire.pictures.drawing import SMALL_TEXT, Column, Drawing, Picture, PictureTable
from api.wire.pictures.style import Role
from jobs.models import RecoveryRate
from jobs.queries.recovery_rates import RatedGroup

# Narrow, so that its words can be read on a phone.
WIDTH, LEFT, RIGHT, TOP, STEP = 400.0, 58.0, 140.0, 66.0, 38.0
# A rate outside these is a reading gone wrong; the table still tells it.
LEAST, MOST = 0.0, 1.5
# A wider interval says little and would make all others too small to see: its bar leaves the sheet.
WIDEST = 0.5
TITLE = "Fluid that comes back, by cable size"


def draw_recovery(rows: Sequence[RatedGroup]) -> Picture:
    """A line for each size: a dot at recovered over injected and a bar over its interval.

    A size that begins to differ has a hollow dot and says so; a rate without an interval has a dot only.
    """
    ticks = round_ticks(*_range(rows), most=5)
    axis = Axis(ticks[0], ticks[-1], LEFT, WIDTH - RIGHT)
    bottom = TOP + STEP * max(len(rows), 1)
    drawing = Drawing(width=WIDTH, height=bottom + 28, title=TITLE, description=_describe(rows))
    drawing.add_text(0, 18, TITLE, is_bold=True)
    confidence = rows[0].rate.confidence if rows else 0.95
    drawing.add_text(
        0, 36, f"recovered over injected, with {confidence:.0%} intervals", size=SMALL_TEXT, fill="quiet"
    )
    draw_upright_ticks(drawing, axis, ticks, top=TOP - 12, bottom=bottom, write=lambda tick: f"{tick:.0%}")
    if axis.low <= 1 <= axis.high:
        drawing.add_line((axis.place(1), TOP - 12), (axis.place(1), bottom), stroke="quiet", dash="3 3")
    if not rows:
        drawing.add_text(LEFT, TOP + 14, "No span was fully extracted yet.", size=SMALL_TEXT, fill="quiet")
    for number, row in enumerate(rows):
        _draw_row(drawing, axis, row, TOP + STEP * number)
    return Picture(drawing.to_svg(), _table(rows))


def _range(rows: Sequence[RatedGroup]) -> tuple[float, float]:
    values = [1.0]
    for rate in (row.rate for row in rows):
        values.append(rate.ratio)
        if rate.low is not None and rate.high is not None and rate.high - rate.low <= WIDEST:
            values += [rate.low, rate.high]
    kept = [min(max(value, LEAST), MOST) for value in values]
    return min(*kept, 0.8), max(kept)


def _draw_row(drawing: Drawing, axis: Axis, row: RatedGroup, y: float) -> None:
    rate, middle = row.rate, y + 10
    role: Role = "alarm" if row.drifts or row.remark else "first"
    if rate.low is not None and rate.high is not None:
        ends = [_place(axis, value) for value in (rate.low, rate.high)]
        drawing.add_line((ends[0], middle), (ends[1], middle), stroke=role, width=3)
        for value, x in zip((rate.low, rate.high), ends, strict=True):
            # A bar that goes on beyond the sheet has no end there.
            if axis.low <= value <= axis.high:
                drawing.add_line((x, middle - 6), (x, middle + 6), stroke=role, width=2)
    is_hollow = bool(row.drifts)
    drawing.add_circle(
        (_place(axis, rate.ratio), middle),
        4,
        fill="surface" if is_hollow else role,
        stroke=role if is_hollow else "surface",
        hint=f"{_name(rate)}: {_shown(rate)}",
    )
    drawing.add_text(LEFT - 10, middle + 4, _name(rate), anchor="end", is_bold=rate.group == "all")
    drawing.add_text(WIDTH - RIGHT + 12, middle, _shown(rate), size=SMALL_TEXT)
    note, colour = _note(row)
    drawing.add_text(WIDTH - RIGHT + 12, middle + 14, note, size=SMALL_TEXT, fill=colour)


def _place(axis: Axis, value: float) -> float:
    return axis.place(min(max(value, axis.low), axis.high))


def _name(rate: RecoveryRate) -> str:
    return rate.name or "all"


def _shown(rate: RecoveryRate) -> str:
    if rate.low is None or rate.high is None:
        return f"{rate.ratio:.1%}, no interval"
    return f"{rate.ratio:.1%} ({rate.low:.0%} to {rate.high:.0%})"


def _note(row: RatedGroup) -> tuple[str, Role]:
    if row.drifts:
        return "begins to differ", "alarm"
    if row.remark:
        return "out of bounds", "alarm"
    readings = row.rate.readings
    return f"{readings} reading{'' if readings == 1 else 's'}", "quiet"


def _describe(rows: Sequence[RatedGroup]) -> str:
    if not rows:
        return "No span was fully extracted yet, so nothing is known of what comes back."
    parts = [f"{_name(row.rate)} {_shown(row.rate)}" for row in rows]
    differing = [_name(row.rate) for row in rows if row.drifts]
    more = f" Begins to differ: {', '.join(differing)}." if differing else ""
    return f"Of what was injected came back: {'; '.join(parts)}.{more}"


def _table(rows: Sequence[RatedGroup]) -> PictureTable:
    columns = [
        Column("size", "Cable size"),
        Column("ratio", "Came back", "%"),
        Column("low", "at least", "%"),
        Column("high", "at most", "%"),
        Column("readings", "Readings"),
        Column("spans", "Spans"),
        Column("injected", "Injected", "L"),
        Column("remark", "Remark"),
    ]
    return PictureTable(TITLE, columns, [_table_row(row) for row in rows])


def _table_row(row: RatedGroup) -> dict[str, str]:
    rate = row.rate
    remarks = ["begins to differ"] if row.drifts else []
    return {
        "size": _name(rate),
        "ratio": f"{100 * rate.ratio:.1f}",
        "low": f"{100 * rate.low:.1f}" if rate.low is not None else "",
        "high": f"{100 * rate.high:.1f}" if rate.high is not None else "",
        "readings": str(rate.readings),
        "spans": str(rate.spans),
        "injected": f"{1000 * rate.injected_m3:,.0f}",
        "remark": "; ".join([*remarks, row.remark] if row.remark else remarks),
    }
