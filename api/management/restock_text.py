"""The restock list for people: by warehouse, led by when it runs out and why."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from inventory.money import format_money
from inventory.queries.order_proposals import OrderProposal
from inventory.queries.restock import RestockList
from inventory.queries.restock_lines import RestockLine
from inventory.units import format_millionths
from jobs.queries.requirement_names import name_requirements

MOST_NAMED = 4


def lay_out_restock(answer: RestockList, currency: str) -> Group:
    """The whole list, warehouse by warehouse."""
    until = answer.as_of + timedelta(days=answer.horizon_days - 1)
    names = name_requirements(name for line in answer.lines for name in line.at_risk)
    parts: list[RenderableType] = [
        Text(f"To order, as of {answer.as_of:%a %d %b %Y}", style="bold"),
        Text(
            f"for the work planned until {until:%a %d %b} and use besides, at {answer.service:.0%} service",
            style="dim",
        ),
    ]
    place = None
    for line in sorted(answer.lines, key=lambda line: line.place.name):
        if line.place != place:
            place = line.place
            parts.append(Text(f"\n{place.name}", style="bold underline"))
        parts.append(_line_text(line, currency, names))
    together = [order for order in answer.orders if len(order.lines) > 1 or order.missing_value]
    if together:
        parts.append(Text("\nTogether on one order", style="bold underline"))
        parts += [_order_text(order, currency) for order in together]
    moved = [row for row in answer.placements if not row.is_usual]
    if moved:
        parts.append(Text("\nBetter kept elsewhere", style="bold underline"))
    for row in moved:
        parts += [Text(f"\n{row.material.name}, {row.warehouse.name}", style="bold"), Text(f"  {row.why}")]
    parts.append(Text(f"\n{_closing(answer, currency)}", style="dim"))
    return Group(*parts)


def _line_text(line: RestockLine, currency: str, names: Mapping[str, str]) -> RenderableType:
    head = Text()
    may = "runs out" if line.is_likely else "may run out"
    head.append(f"{may} {line.run_out_date:%a %d %b}", style="bold")
    head.append(f"  {line.material.name}", style="bold")
    unit = line.material.stock_unit
    amount = _amount(line.quantity, unit)
    if line.terms is not None and line.cost is not None:
        order = f"order {amount} from {line.terms.supplier.name} for {format_money(line.cost, currency)} "
    else:
        order = f"get {amount} from {line.owner.name} " if not line.owner.is_company else f"get {amount} "
    body = Text(order)
    if line.is_late:
        body.append(f"now: {line.order_by_date:%a %d %b} would have been in time", style="bold red")
    else:
        body.append(f"by {line.order_by_date:%a %d %b}", style="bold")
    risk = Text(
        f"{_chance(line.chance_short)} of running short if nothing is done{_stands(line, names)}", style="dim"
    )
    return Group(Text(), head, Padding(Group(body, Text(line.why), risk), (0, 0, 0, 2)))


def _order_text(order: OrderProposal, currency: str) -> RenderableType:
    head = Text(f"\n{order.supplier.name}, to {order.place.name}, ")
    if order.is_late:
        head.append("now", style="bold red")
    else:
        head.append(f"by {order.order_by_date:%a %d %b}", style="bold")
    head.append(f": {format_money(order.total, currency)}")
    if order.order_cost:
        head.append(f", of which {format_money(order.order_cost, currency)} for the order itself")
    things = ", ".join(
        f"{row.line.material.name} {_amount(row.quantity, row.line.material.stock_unit)}"
        for row in order.lines
    )
    parts = [Text(things)]
    if order.missing_value:
        least, missing = (format_money(value, currency) for value in (order.least_value, order.missing_value))
        parts.append(
            Text(
                f"{order.supplier.name} delivers from {least} on: {missing} more is to be ordered.",
                style="red",
            )
        )
    if order.saving_per_year and order.cycle_days:
        saving = format_money(order.saving_per_year, currency)
        often = _days(order.cycle_days)
        text = f"One order every {often} saves about {saving} a year against ordering each alone."
        parts.append(Text(text, style="dim"))
    return Group(head, Padding(Group(*parts), (0, 0, 0, 2)))


def _days(days: float) -> str:
    return f"{days / 7:.0f} weeks" if days >= 21 else f"{max(1, round(days))} days"


def _amount(millionths: int, unit: str) -> str:
    return format_millionths(millionths, unit).removesuffix(" each")


def _stands(line: RestockLine, names: Mapping[str, str]) -> str:
    doubtful = [name for name in line.at_risk if name not in line.standing]
    parts = [
        f"{len(found)} planned {'day' if len(found) == 1 else 'days'} {word} stand: {_named(found, names)}"
        for word, found in (("would", line.standing), ("might", doubtful))
        if found
    ]
    return f"; {'; '.join(parts) or 'no day that is planned so far hangs on it'}."


def _named(references: Sequence[str], names: Mapping[str, str]) -> str:
    shown = ", ".join(names.get(name, name) for name in references[:MOST_NAMED])
    more = len(references) - MOST_NAMED
    return f"{shown} and {more} more" if more > 0 else shown


def _chance(chance: float) -> str:
    if chance > 0.995:
        return "Near certainty"
    return f"A chance of {chance:.0%}"


def _closing(answer: RestockList, currency: str) -> str:
    enough = f"{answer.enough} other {'material has' if answer.enough == 1 else 'materials have'} enough."
    if not answer.lines and not answer.enough:
        return "Nothing is planned in these days and nothing was used before them, so nothing is needed."
    if not answer.lines:
        return f"Nothing to order. {enough}"
    costs = [line.cost for line in answer.lines if line.cost is not None]
    unknown = len(answer.lines) - len(costs)
    without = f" and {unknown} without a known price" if unknown else ""
    return f"{len(costs)} to order for {format_money(sum(costs), currency)}{without}. {enough}"
