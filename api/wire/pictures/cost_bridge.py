"""From estimate to actual: what the job was to cost, what made it dearer or cheaper, what it did cost."""

from dataclasses import dataclass

from api.wire.pictures.axes import Axis, draw_upright_ticks, round_ticks
from api.wire.pictures.drawing import SMALL_TEXT, Column, Drawing, Picture, PictureTable
from api.wire.pictures.style import Role
from inventory.money import format_money, from_money_millionths
from jobs.queries.cost_sheet import CostSheet

LEFT, RIGHT, TOP, STEP, BAR = 168.0, 96.0, 58.0, 30.0, 18.0
WIDTH = 720.0


@dataclass(frozen=True)
class Stage:
    """One bar: from where to where, in millionths of the currency. A whole one starts at nothing."""

    title: str
    start: int
    end: int
    is_whole: bool = False

    @property
    def change(self) -> int:
        return self.end - self.start


def list_stages(sheet: CostSheet) -> list[Stage]:
    """The estimate, each reason's part, the unforeseen, later bills, core sold, and the cost as known now."""
    estimated = sheet.estimated_cost or 0
    found = [line.differences for line in sheet.lines if line.differences is not None]
    unforeseen = sum(line.amounts.cost for line in sheet.lines if line.differences is None)
    parts = [
        ("Prices", sum(part.price for part in found)),
        ("Quantities", sum(part.quantity for part in found)),
        ("Fluid that came back", sum(part.recovery for part in found)),
        ("Not in the estimate", unforeseen),
        ("Bills after closing", sheet.late),
        ("Core sold", -sheet.statement.scrap_credit),
    ]
    stages, level = [Stage("Estimate", 0, estimated, is_whole=True)], estimated
    for title, change in parts:
        if change:
            stages.append(Stage(title, level, level + change))
            level += change
    return [*stages, Stage("Actual", 0, level, is_whole=True)]


def draw_cost_bridge(sheet: CostSheet) -> Picture:
    """Bars from left to right below each other, each beginning where the one above it ended."""
    stages, currency = list_stages(sheet), sheet.statement.currency
    job = sheet.statement.job
    actual = stages[-1].end
    drawing = Drawing(
        width=WIDTH,
        height=TOP + STEP * len(stages) + 34,
        title=f"Job {job.reference}: from estimate to actual",
        description=(
            f"Estimated {format_money(stages[0].end, currency)}, actual {format_money(actual, currency)}; "
            + "; ".join(f"{stage.title.lower()} {_signed(stage.change, currency)}" for stage in stages[1:-1])
            + "."
        ),
    )
    levels = [from_money_millionths(level) for stage in stages for level in (stage.start, stage.end)]
    ticks = round_ticks(min(0.0, float(min(levels))), max(float(max(levels)), 1.0))
    axis = Axis(ticks[0], ticks[-1], LEFT, WIDTH - RIGHT)
    drawing.add_text(0, 18, drawing.title, is_bold=True)
    drawing.add_text(0, 36, currency, size=SMALL_TEXT, fill="quiet")
    draw_upright_ticks(
        drawing, axis, ticks, top=TOP - 12, bottom=TOP + STEP * len(stages), write=lambda tick: f"{tick:,.0f}"
    )
    for number, stage in enumerate(stages):
        _draw_stage(drawing, axis, stage, TOP + STEP * number, currency)
        if number + 1 < len(stages):
            x = axis.place(float(from_money_millionths(stage.end)))
            y = TOP + STEP * number
            drawing.add_line((x, y + BAR), (x, y + STEP), stroke="quiet", dash="2 2")
    return Picture(drawing.to_svg(), _table(stages, currency))


def _draw_stage(drawing: Drawing, axis: Axis, stage: Stage, y: float, currency: str) -> None:
    ends = sorted(axis.place(float(from_money_millionths(level))) for level in (stage.start, stage.end))
    role: Role = "first" if stage.is_whole else "second" if stage.change > 0 else "third"
    shown = format_money(stage.end, currency) if stage.is_whole else _signed(stage.change, currency)
    drawing.add_text(LEFT - 10, y + BAR - 4, stage.title, anchor="end", is_bold=stage.is_whole)
    drawing.add_rectangle(
        ends[0], y, max(ends[1] - ends[0], 1.5), BAR, fill=role, corner=2, hint=f"{stage.title}: {shown}"
    )
    drawing.add_text(ends[1] + 6, y + BAR - 5, shown.removesuffix(f" {currency}"), size=SMALL_TEXT)


def _signed(change: int, currency: str) -> str:
    return f"{'+' if change > 0 else ''}{format_money(change, currency)}"


def _table(stages: list[Stage], currency: str) -> PictureTable:
    columns = [
        Column("stage", "Stage"),
        Column("change", "Change", currency),
        Column("level", "Cost so far", currency),
    ]
    rows = [
        {
            "stage": stage.title,
            "change": "" if stage.is_whole else _signed(stage.change, currency).removesuffix(f" {currency}"),
            "level": format_money(stage.end, currency).removesuffix(f" {currency}"),
        }
        for stage in stages
    ]
    return PictureTable("From estimate to actual", columns, rows)
