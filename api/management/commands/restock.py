"""`restock`: what to order, when, how much, from whom, and why."""

from datetime import timedelta
from typing import Any

from django.core.management.base import CommandParser
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from api.management.base import SpanstockCommand, iso_date
from api.wire.restock import restock_json
from inventory.money import format_money
from inventory.queries.company import get_company, get_today
from inventory.queries.places import get_place
from inventory.queries.restock import RestockLine, RestockList, list_restock
from inventory.units import format_millionths


class Command(SpanstockCommand):
    help = "What to order for the work that is planned: when it runs out, how much, from whom, and why."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--place", help="code of one warehouse; all of them without")
        parser.add_argument("--date", type=iso_date, help="as seen on this day; today without")
        parser.add_argument("--days", type=int, default=28, help="how far to look ahead (28)")
        parser.add_argument(
            "--service", type=float, default=0.95, help="wanted chance of not running short (0.95)"
        )

    def answer(self, options: dict[str, Any]) -> RestockList:
        return list_restock(
            as_of=options["date"] or get_today(),
            place=get_place(options["place"]) if options["place"] else None,
            horizon_days=options["days"],
            cover_days=min(14, max(1, options["days"])),
            service=options["service"],
        )

    def to_json(self, answer: RestockList) -> Any:
        return restock_json(answer, currency=get_company().currency)

    def to_text(self, answer: RestockList) -> RenderableType:
        currency = get_company().currency
        until = answer.as_of + timedelta(days=answer.horizon_days - 1)
        parts: list[RenderableType] = [
            Text(f"To order, as of {answer.as_of:%a %d %b %Y}", style="bold"),
            Text(
                f"for the work planned until {until:%a %d %b}, at {answer.service:.0%} service", style="dim"
            ),
        ]
        place = None
        for line in sorted(answer.lines, key=lambda line: line.place.name):
            if line.place != place:
                place = line.place
                parts.append(Text(f"\n{place.name}", style="bold underline"))
            parts.append(_line_text(line, currency))
        parts.append(Text(f"\n{_closing(answer, currency)}", style="dim"))
        return Group(*parts)


def _line_text(line: RestockLine, currency: str) -> RenderableType:
    head = Text()
    may = "runs out" if line.is_likely else "may run out"
    head.append(f"{may} {line.run_out_date:%a %d %b}", style="bold")
    head.append(f"  {line.material.name}", style="bold")
    unit = line.material.stock_unit
    amount = format_millionths(line.quantity, unit).removesuffix(" each")
    if line.terms is not None and line.cost is not None:
        order = f"order {amount} from {line.terms.supplier.name} for {format_money(line.cost, currency)} "
    else:
        order = f"get {amount} from {line.owner.name} " if not line.owner.is_company else f"get {amount} "
    body = Text(order)
    if line.is_late:
        body.append(f"now: {line.order_by_date:%a %d %b} would have been in time", style="bold red")
    else:
        body.append(f"by {line.order_by_date:%a %d %b}", style="bold")
    stands = line.needs_at_risk
    risk = Text(
        f"{_chance(line.chance_short)} of running short if nothing is done; "
        f"{stands} planned {'day' if stands == 1 else 'days'} would stand.",
        style="dim",
    )
    return Group(Text(), head, Padding(Group(body, Text(line.why), risk), (0, 0, 0, 2)))


def _chance(chance: float) -> str:
    if chance > 0.995:
        return "Near certainty"
    return f"A chance of {chance:.0%}"


def _closing(answer: RestockList, currency: str) -> str:
    enough = f"{answer.enough} planned {'material has' if answer.enough == 1 else 'materials have'} enough."
    if not answer.lines:
        return f"Nothing to order. {enough}"
    costs = [line.cost for line in answer.lines if line.cost is not None]
    unknown = len(answer.lines) - len(costs)
    without = f" and {unknown} without a known price" if unknown else ""
    return f"{len(costs)} to order for {format_money(sum(costs), currency)}{without}. {enough}"
