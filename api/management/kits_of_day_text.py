"""A warehouse's day for the eyes of whoever fetches it: kits side by side, one list by bin, what changed."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from jobs.queries.kits_of_day import BinChange, BinLine, KitsOfDay
from jobs.queries.pull_sheet import PullSheet, show_quantity

SIGNS = {"new": "new", "gone": "leave", "changed": "changed"}


def lay_out_kits_of_day(kits: KitsOfDay) -> RenderableType:
    """The whole list, one part below the other."""
    parts: list[RenderableType] = [
        Text(f"{kits.warehouse} ({kits.warehouse_code})  {kits.date:%A} {kits.date}", style="bold")
    ]
    if not kits.sheets:
        parts.append(Text("No crew fetches a kit here that day."))
        return Group(*parts)
    parts += [Text(_say_print(kits)), Text(""), _lay_out_crews(kits.sheets)]
    if kits.changes:
        parts += [Text(""), _rule("Changed since that print"), *_changes(kits.changes)]
    parts += [Text(""), _rule("To fetch, by place"), *_by_place(kits.lines)]
    return Group(*parts)


def _say_print(kits: KitsOfDay) -> str:
    if kits.printed_at is None:
        return "Not printed yet."
    changed = f"{len(kits.changes)} lines changed since" if kits.changes else "nothing changed since"
    return f"Print {kits.printed_number} of {kits.printed_at:%Y-%m-%d %H:%M}; {changed}."


def _lay_out_crews(sheets: list[PullSheet]) -> Table:
    """One row for each kit: who, which truck, how much of it is to be fetched, what it weighs, what lacks."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("crew", "truck", "kit", "to take", "short", "heaviest"):
        table.add_column(name, justify="right" if name in ("to take", "short", "heaviest") else "left")
    for sheet in sheets:
        to_take = sum(1 for line in sheet.lines if line.to_take and line.picks)
        weight = f"{sheet.load.heaviest_kg:.0f} kg" if sheet.load is not None else ""
        heavy = "bold red" if sheet.load is not None and sheet.load.is_over else ""
        table.add_row(
            sheet.crew_code,
            sheet.vehicle,
            sheet.state,
            str(to_take),
            Text(str(len(sheet.shortages)), style="bold red" if sheet.shortages else ""),
            Text(weight, style=heavy),
        )
    return table


def _by_place(lines: list[BinLine]) -> Iterator[RenderableType]:
    place = ""
    for line in lines:
        if line.place_code != place:
            place = line.place_code
            yield Text(f"\n{line.place}", style="bold")
        yield Padding(_bin_line(line, line.crews), (0, 0, 0, 2))
    if not lines:
        yield Text("Nothing is to be fetched; it is all on the trucks.")


def _bin_line(line: BinLine, crews: dict[str, int], sign: str = "[ ]") -> Table:
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(min_width=10, justify="right", no_wrap=True)
    table.add_column(ratio=1)
    named = f"{line.container}, {line.title}" if line.container else line.title
    parts = ", ".join(f"{code} {show_quantity(amount, line.unit)}" for code, amount in crews.items())
    said = Text(f"{named}: {parts if len(crews) > 1 else next(iter(crews), 'nobody')}")
    if line.caution:
        said.append(f"; {line.caution}", style="bold")
    table.add_row(Text(sign), Text(show_quantity(sum(crews.values()), line.unit)), said)
    return table


def _changes(changes: list[BinChange]) -> Iterator[RenderableType]:
    for change in changes:
        crews = change.now or change.before
        yield Padding(_bin_line(change.line, crews, f"{SIGNS[change.kind]:<7}"), (0, 0, 0, 2))
        if change.kind == "changed":
            was = ", ".join(
                f"{code} {show_quantity(amount, change.line.unit)}" for code, amount in change.before.items()
            )
            yield Padding(Text(f"was: {was}", style="dim"), (0, 0, 0, 12))


def _rule(title: str) -> Rule:
    return Rule(title, align="left", style="none", characters="-")
