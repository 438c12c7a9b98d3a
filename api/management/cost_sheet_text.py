"""A job's cost sheet for people: the statement, how it stands against the estimate, by cable size."""

from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from api.management.statement_text import lay_out_statement, make_table, show_money
from api.wire.statements import WORDS
from inventory.models import Movement
from inventory.money import format_money, from_money_millionths
from inventory.units import format_amount, format_millionths, from_millionths
from jobs.queries.cost_groups import CostGroup
from jobs.queries.cost_sheet import CostSheet
from jobs.queries.statement import OTHER


def lay_out_cost_sheet(sheet: CostSheet) -> Group:
    """The statement and what the estimate, the causes of losses and the cable sizes add to it."""
    parts: list[RenderableType] = [lay_out_statement(sheet.statement)]
    blocks = (
        _in_money(sheet),
        _lost(sheet),
        _reconciled(sheet),
        _against_estimate(sheet),
        _by_size(sheet),
        _by_crew(sheet),
        _by_month(sheet),
    )
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


def _in_money(sheet: CostSheet) -> Iterator[RenderableType]:
    """What each word of a material cost; a word that nothing came under has no column."""
    words = [word for word in WORDS if any(line.amounts.value(word) for line in sheet.lines)]
    if not words:
        return
    currency = sheet.statement.currency
    names = ("corrected" if word == OTHER else word for word in words)
    table = make_table("In money", *(name.capitalize() for name in names), "Cost")
    for line in sheet.lines:
        values = (*(line.amounts.value(word) for word in words), line.amounts.cost)
        if any(values):
            shown = (show_money(value, currency) if value else "-" for value in values)
            table.add_row(Text(line.material.name), *map(Text, shown))
    yield table


def _lost(sheet: CostSheet) -> Iterator[RenderableType]:
    for line in [*sheet.lines, *sheet.furnished]:
        causes = []
        for cause, loss in line.lost.items():
            amount = format_millionths(loss.quantity, line.material.stock_unit).removesuffix(" each")
            money = (
                f" ({format_money(loss.value, sheet.statement.currency)})" if line.owner.is_company else ""
            )
            causes.append(f"{amount}{money} by {Movement.Cause(cause).label}")
        if causes:
            yield Text(f"Lost {line.material.name}: {', '.join(causes)}.")


def _reconciled(sheet: CostSheet) -> Iterator[RenderableType]:
    """Of goods of others: what was delivered, and where it is now."""
    for line in sheet.furnished:
        found = line.reconciled
        if found is None:
            continue
        amounts = {
            "with this job": found.with_job,
            "with other jobs": found.with_other_jobs,
            "back to its owner": found.returned_to_owner,
            "still held": found.still_held,
            "otherwise": found.otherwise,
        }
        unit = line.material.stock_unit
        said = [f"{format_millionths(amount, unit)} {where}" for where, amount in amounts.items() if amount]
        delivered = format_millionths(found.delivered, unit)
        gap = "" if found.ties else " This does not add up; run verify_ledger."
        yield Text(
            f"{line.owner.name} delivered {delivered} of {line.material.name}: {', '.join(said)}.{gap}"
        )


def _by_size(sheet: CostSheet) -> Iterator[RenderableType]:
    if not any(row.per_foot is not None for row in sheet.by_size):
        return
    currency = sheet.statement.currency
    table = make_table("Cable size", "Extracted", "Cost", "Cost of a foot")
    for row in sheet.by_size:
        length = format_amount(from_millionths(row.length_um, "m", "[ft_i]"), "[ft_i]")
        # A foot costs cents; to the cent its sizes would look alike.
        per_foot = f"{from_money_millionths(row.per_foot):.4f}" if row.per_foot is not None else "-"
        size = row.cable_size or "no size"
        table.add_row(size, Text(length), Text(show_money(row.cost, currency)), Text(per_foot))
    yield table


def _by_crew(sheet: CostSheet) -> Iterator[RenderableType]:
    """Every part of the cost in the book: also what came to the job without a crew's report."""
    if sheet.by_crew:
        named = [(row.name or "without a crew's report", row) for row in sheet.by_crew]
        yield _group("Crew", named, sheet.statement.currency)


def _by_month(sheet: CostSheet) -> Iterator[RenderableType]:
    if sheet.by_month:
        named = [(f"{row.name:%Y-%m}", row) for row in sheet.by_month]
        yield _group("Month", named, sheet.statement.currency)


def _group(title: str, named: Sequence[tuple[str, CostGroup[Any]]], currency: str) -> RenderableType:
    """What each part cost, below it what stays of its materials."""
    table = make_table(title, "Stays", "Cost")
    for name, group in named:
        table.add_row(Text(name), "", Text(show_money(group.cost, currency)))
        for line in group.materials:
            amounts = line.amounts
            stays = format_millionths(amounts.stays, line.material.stock_unit).removesuffix(" each")
            cost = show_money(amounts.cost, currency) if line.owner.is_company else ""
            table.add_row(Text(f"  {line.material.name}"), Text(stays), Text(cost), style="dim")
    total = Text(show_money(sum(group.cost for _name, group in named), currency), style="bold")
    table.add_row(Text("All", style="bold"), "", total)
    return table
