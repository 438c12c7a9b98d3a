"""A job's cost sheet for people: the statement, how it stands against the estimate, by cable size."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.text import Text

from api.management.statement_text import lay_out_statement, make_table, show_money
from inventory.models import Movement
from inventory.money import from_money_millionths
from inventory.units import format_amount, format_millionths, from_millionths
from jobs.queries.cost_sheet import CostSheet


def lay_out_cost_sheet(sheet: CostSheet) -> Group:
    """The statement and what the estimate, the causes of losses and the cable sizes add to it."""
    parts: list[RenderableType] = [lay_out_statement(sheet.statement)]
    blocks = (_lost(sheet), _against_estimate(sheet), _by_size(sheet), _by_crew(sheet))
    for block in map(list, blocks):
        if block:
            parts += [Text(""), *block]
    return Group(*parts)


def _against_estimate(sheet: CostSheet) -> Iterator[RenderableType]:
    if sheet.estimate is None or sheet.estimated_cost is None:
        return
    currency = sheet.statement.currency
    table = make_table("Against the estimate", "Estimate", "Actual", "Price", "Quantity", "Recovery")
    for line in sheet.lines:
        found = line.differences
        if line.estimated_cost is None or found is None:
            continue
        amounts = (line.estimated_cost, line.amounts.cost, found.price, found.quantity, found.recovery)
        table.add_row(Text(line.material.name), *(Text(show_money(amount, currency)) for amount in amounts))
    unforeseen = sum(line.amounts.cost for line in sheet.lines if line.differences is None)
    if unforeseen:
        table.add_row("not in the estimate", "", Text(show_money(unforeseen, currency)), "", "", "")
    total = (show_money(sheet.estimated_cost, currency), show_money(sheet.statement.cost, currency))
    table.add_row(Text("All", style="bold"), *(Text(amount, style="bold") for amount in total), "", "", "")
    yield table
    yield Text(
        f"Estimate of {sheet.estimate.frozen_at:%Y-%m-%d}, when the job was approved. "
        "Above zero costs more than estimated.",
        style="dim",
    )
    if sheet.late:
        late, known = show_money(sheet.late, currency), show_money(sheet.cost_as_known, currency)
        yield Text(f"Bills that came after the job was closed: {late}; cost as known now {known}.")


def _lost(sheet: CostSheet) -> Iterator[RenderableType]:
    for line in [*sheet.lines, *sheet.furnished]:
        causes = [
            f"{format_millionths(amount, line.material.stock_unit).removesuffix(' each')} "
            f"by {Movement.Cause(cause).label}"
            for cause, amount in sorted(line.lost.items())
        ]
        if causes:
            yield Text(f"Lost {line.material.name}: {', '.join(causes)}.")


def _by_size(sheet: CostSheet) -> Iterator[RenderableType]:
    sizes = [row for row in sheet.by_size if row.per_foot is not None]
    if not sizes:
        return
    currency = sheet.statement.currency
    table = make_table("Cable size", "Extracted", "Cost", "Cost of a foot")
    for row in sizes:
        length = format_amount(from_millionths(row.length_um, "m", "[ft_i]"), "[ft_i]")
        # A foot costs cents; to the cent its sizes would look alike.
        per_foot = f"{from_money_millionths(row.per_foot or 0):.4f}"
        table.add_row(row.cable_size, Text(length), Text(show_money(row.cost, currency)), Text(per_foot))
    yield table


def _by_crew(sheet: CostSheet) -> Iterator[RenderableType]:
    """Every part of the cost in the book: also what came to the job without a crew's report."""
    if not sheet.by_crew:
        return
    currency = sheet.statement.currency
    table = make_table("Crew", "Cost")
    for crew, cost in sheet.by_crew:
        table.add_row(Text(crew or "without a crew's report"), Text(show_money(cost, currency)))
    total = Text(show_money(sum(cost for _crew, cost in sheet.by_crew), currency), style="bold")
    table.add_row(Text("All", style="bold"), total)
    yield table
