"""Why each number of a sheet's line is what it is, for whoever asks."""

from dataclasses import dataclass

from inventory.units import format_millionths
from jobs.queries.kit_stock import Pick
from jobs.queries.sheet_lines import SheetLine

WHOLE_SHEET = 5


@dataclass(frozen=True)
class Reason:
    """One number of a line, named as the line names it, and what it comes from. In millionths of its unit."""

    number: str
    quantity: int
    why: str


def explain_line(line: SheetLine) -> list[Reason]:
    """The numbers of a line that are not nothing, each with its reason; what is needed comes first."""
    found = [Reason("needed", line.needed, line.why)]
    if line.on_truck:
        found.append(Reason("on_truck", line.on_truck, _say_there(line)))
    if line.to_take:
        rest = "what is needed less what is on the truck" if line.on_truck else "all that is needed"
        found.append(Reason("to_take", line.to_take, f"It is {rest}.{_say_more(line)}"))
    if line.made:
        found.append(Reason("made", line.made, "The parts that are taken along make so many by a recipe."))
    if line.short:
        why = f"What is to be taken less what can be got. {line.help}".strip()
        found.append(Reason("short", line.short, why))
    return found


def _say_there(line: SheetLine) -> str:
    if not line.there:
        return "The book has it on the truck, and nobody else is promised it."
    shown = ", ".join(_say_pick(pick) for pick in line.there[:WHOLE_SHEET])
    more = f" and {len(line.there) - WHOLE_SHEET} more" if len(line.there) > WHOLE_SHEET else ""
    return f"What serves of {shown}{more}."


def _say_pick(pick: Pick) -> str:
    return f"{pick.container or pick.place} ({_show(pick.quantity, pick.unit)})"


def _say_more(line: SheetLine) -> str:
    """Drums go whole, so a kit may carry more than it asks for."""
    taken = sum(pick.quantity for pick in line.picks if pick.unit == line.unit)
    if not line.made and taken > line.to_take:
        return f" {_show(taken, line.unit)} goes along, since containers go whole."
    return ""


def _show(quantity: int, unit: str) -> str:
    return format_millionths(quantity, unit).removesuffix(" each")
