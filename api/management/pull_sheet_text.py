"""A pull sheet for the eyes of a crew: steps, what to take and from where, what is short, cautions."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import PlannedCrewDay, PullSheet, SheetLine, show_quantity
from jobs.queries.sheet_lines import CutList
from jobs.queries.sheet_reasons import explain_line

NUMBERS = {"on_truck": "on the truck", "to_take": "to take"}


def lay_out_pull_sheet(sheet: PullSheet, *, with_reasons: bool = False) -> Group:
    """The whole sheet, one part below the other; on demand with the reason of each number."""
    parts: list[RenderableType] = [*_heading(sheet), lay_out_steps(sheet)]
    if sheet.remarks:
        parts.append(_list("Look at the plan", sheet.remarks))
    if sheet.lines:
        parts += [Text(""), Rule("To load", align="left", style="none", characters="-")]
        parts += _groups(sheet.lines, with_reasons=with_reasons)
        parts += _cut_lists(sheet.cut_lists)
    if sheet.load is not None and sheet.lines:
        style = "bold red" if sheet.load.is_over else "bold"
        parts.append(Group(Text(""), Text("The load", style=style), Text(sheet.load.sentence)))
    parts += _shortages(sheet)
    parts += _check_list(sheet)
    parts.append(_list("Cautions", sheet.cautions))
    return Group(*parts)


def _heading(sheet: PullSheet) -> Iterator[Text]:
    yield Text(f"{sheet.crew_name} ({sheet.crew_code})  {sheet.date:%A} {sheet.date}", style="bold")
    yield Text(f"{sheet.vehicle}, kit from {sheet.warehouse}; {sheet.state}")
    yield Text("")


def lay_out_steps(day: PlannedCrewDay) -> Table:
    """The steps of a day as a table; those that are not to be done are dim."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right")
    table.add_column(no_wrap=False)
    table.add_column(ratio=1)
    table.add_column()
    for step in day.steps:
        style = "dim" if step.is_stopped else ""
        row = (str(step.position), step.title, step.detail, step.job)
        table.add_row(*(Text(cell, style=style) for cell in row))
    return table


def _groups(lines: list[SheetLine], *, with_reasons: bool) -> Iterator[RenderableType]:
    """The lines under the places along the cable where they are used."""
    group = ""
    for line in lines:
        if line.group != group:
            group = line.group
            yield Text(f"\n{group.capitalize()}", style="bold underline")
        yield from _line(line, with_reasons=with_reasons)


def _check_list(sheet: PullSheet) -> Iterator[RenderableType]:
    """Boxes to tick, in two columns where there is room for them."""
    for title, is_protective in (("Protection to put on", True), ("Gear to look for", False)):
        items = [item for item in sheet.check_list if item.is_protective == is_protective]
        if items:
            yield Group(Text(""), Text(title, style="bold"))
            for item in items:
                detail = f"  {item.detail}" if item.detail else ""
                yield Padding(Text.assemble(f"[ ] {item.name}", (detail, "dim")), (0, 0, 0, 2))


def _line(line: SheetLine, *, with_reasons: bool) -> Iterator[RenderableType]:
    head = Table.grid(expand=True, padding=(0, 1))
    head.add_column(ratio=1)
    head.add_column(justify="right", no_wrap=True)
    said = f"needs {show_quantity(line.needed, line.unit)}"
    if line.on_truck:
        said += f", {show_quantity(line.on_truck, line.unit)} on the truck"
    head.add_row(Text(line.title, style="bold"), Text(said))
    yield head
    for pick in line.there:
        yield Padding(_pick(pick, sign="is there"), (0, 0, 0, 2))
    for pick in line.picks:
        yield Padding(_pick(pick), (0, 0, 0, 2))
    for pick in line.elsewhere:
        yield Padding(_pick(pick, sign="[ ] bring"), (0, 0, 0, 2))
    for tag in line.tags:
        yield Padding(Text(f"tag {tag}"), (0, 0, 0, 2))
    if line.short:
        yield Padding(Text(f"short {show_quantity(line.short, line.unit)}", style="bold red"), (0, 0, 0, 2))
    elif not line.to_take:
        yield Padding(Text("nothing to take; it is on the truck"), (0, 0, 0, 2))
    if line.help:
        yield Padding(Text(line.help), (0, 0, 0, 4))
    for reason in explain_line(line) if with_reasons else ():
        number = NUMBERS.get(reason.number, reason.number)
        said = f"{number} {show_quantity(reason.quantity, line.unit)}: {reason.why}"
        yield Padding(Text(said, style="dim"), (0, 0, 0, 4))


def _cut_lists(cut_lists: list[CutList]) -> Iterator[RenderableType]:
    """The cuts of each reel by its marks."""
    for cut_list in cut_lists:
        yield Text(f"\nCuts of reel {cut_list.reel}: {cut_list.left}", style="bold")
        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 2))
        for cut in cut_list.cuts:
            marks = f"mark {cut.mark_from or '____'} to {cut.mark_to or '____'}"
            table.add_row(cut.title, cut.length, marks)
        yield table


def _pick(pick: Pick, *, sign: str = "[ ] take") -> Table:
    table = Table.grid(padding=(0, 1))
    table.add_column(min_width=8, no_wrap=True)
    table.add_column(min_width=9, justify="right", no_wrap=True)
    table.add_column()
    named = f"{pick.container} ({pick.short_code})" if pick.short_code else pick.container
    where = f"{named}, {pick.place}" if pick.container else pick.place
    note = f" ({pick.note})" if pick.note else ""
    said = Text(f"{where}{note}")
    if pick.caution and sign != "is there":
        said.append(f"; {pick.caution}", style="bold")
    table.add_row(Text(sign), Text(show_quantity(pick.quantity, pick.unit)), said)
    return table


def _shortages(sheet: PullSheet) -> Iterator[RenderableType]:
    if not sheet.lines:
        return
    if not sheet.shortages:
        yield Text("")
        yield Text("Nothing is short.", style="bold")
        return
    said = [
        f"{line.title}: {show_quantity(line.short, line.unit)}. {line.help}".strip()
        for line in sheet.shortages
    ]
    yield _list("Short", said, style="bold red")


def _list(title: str, sentences: list[str], style: str = "bold") -> Group:
    table = Table.grid(padding=(0, 1))
    table.add_column()
    table.add_column(ratio=1)
    for sentence in sentences:
        table.add_row(Text("-"), Text(sentence))
    return Group(Text(""), Text(title, style=style), table)
