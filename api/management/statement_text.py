"""A job's statement for people: by material, furnished goods apart, by span and run."""

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from inventory.money import format_money
from inventory.units import format_millionths
from jobs.queries.statement import OTHER, Amounts, StatedMaterial, StatedPart, Statement


def lay_out_statement(statement: Statement, *, most_parts: int | None = None) -> Group:
    """The statement, one part below the other; of its runs and spans the first few or all."""
    parts: list[RenderableType] = list(_heading(statement))
    if not statement.materials and not statement.furnished:
        parts.append(Text("Nothing has been charged to this job yet."))
        return Group(*parts)
    if statement.materials:
        parts += [_materials(statement), *_notes(statement.materials, statement.currency), *_owed(statement)]
    if statement.furnished:
        parts += [Text(""), _furnished(statement), *_notes(statement.furnished, "")]
    parts += [Text(""), _parts(statement.parts[:most_parts], statement.currency)]
    left = len(statement.parts) - len(statement.parts[:most_parts])
    if left:
        parts.append(Text(f"... and {left} more; see: statement {statement.job.reference}"))
    parts += [Text(""), *_unaccounted(statement), _tie(statement)]
    return Group(*parts)


def _heading(statement: Statement) -> Iterator[Text]:
    job = statement.job
    name = f"  {job.name}" if job.name else ""
    yield Text(f"Job {job.reference}{name}", style="bold")
    customer = f" for {job.customer.name}" if job.customer else ""
    yield Text(f"{job.get_state_display()}{customer}; money in {statement.currency}")
    yield Text("")


def make_table(*columns: str) -> Table:
    """A table of words first and numbers after them, as wide as the terminal."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), expand=True)
    table.add_column(columns[0], ratio=1, overflow="fold")
    for column in columns[1:]:
        table.add_column(column, justify="right", no_wrap=True)
    return table


def _materials(statement: Statement) -> Table:
    table = make_table("Material", "Drawn", "Returned", "Recovered", "Stays", "Cost")
    for line in statement.materials:
        cost = show_money(line.amounts.cost, statement.currency)
        table.add_row(Text(line.material.name), *_quantities(line), Text(cost))
    total = show_money(statement.cost, statement.currency)
    table.add_row(Text("All materials", style="bold"), "", "", "", "", Text(total, style="bold"))
    for row in statement.scrap:
        if row.credited:
            credit = show_money(-row.credited, statement.currency)
            table.add_row(Text(f"Core sold, lot {row.lot}"), "", "", "", "", Text(credit))
    if statement.scrap_credit:
        net = Text(show_money(statement.net_cost, statement.currency), style="bold")
        table.add_row(Text("Cost less core sold", style="bold"), "", "", "", "", net)
    return table


def _owed(statement: Statement) -> Iterator[Text]:
    for row in statement.scrap:
        if row.owed:
            owed = format_money(row.owed, statement.currency)
            yield Text(f"  Core of lot {row.lot}: {owed} owed to {row.owner.name}, beside the cost.")


def _furnished(statement: Statement) -> Table:
    table = make_table("Furnished by others", "Drawn", "Returned", "Recovered", "Stays")
    for line in statement.furnished:
        table.add_row(Text(f"{line.material.name} ({line.owner.name})"), *_quantities(line))
    return table


def _quantities(line: StatedMaterial) -> list[Text]:
    amounts, unit = line.amounts, line.material.stock_unit
    shown = (amounts.drawn, amounts.quantity("returned"), amounts.quantity("recovered"), amounts.stays)
    return [Text(_quantity(quantity, unit)) for quantity in shown]


def _notes(lines: list[StatedMaterial], currency: str) -> Iterator[Text]:
    """What of the drawn was installed or lost, and corrections: said only where there is any."""
    for line in lines:
        said = list(_said(line.amounts, line.material.stock_unit, currency))
        if said:
            yield Text(f"  {line.material.name}: {', '.join(said)}.")


def _said(amounts: Amounts, unit: str, currency: str) -> Iterator[str]:
    for word in ("installed", "lost"):
        if amounts.quantity(word):
            yield f"{_quantity(amounts.quantity(word), unit)} {word}"
    if amounts.quantity(OTHER):
        yield f"{_quantity(amounts.quantity(OTHER), unit)} corrected"
    if amounts.value(OTHER) and currency:
        yield f"cost corrected by {format_money(amounts.value(OTHER), currency)}"


def _parts(parts: Sequence[StatedPart], currency: str) -> Table:
    table = make_table("Where", "What stays there", "Cost")
    table.columns[1].justify = "left"
    table.columns[1].no_wrap = False
    table.columns[1].ratio = 3
    for part in parts:
        table.add_row(
            Text(_name(part)), Text(_content(part, currency)), Text(show_money(part.cost, currency))
        )
    return table


def _name(part: StatedPart) -> str:
    return f"{part.kind} {part.name}" if part.name else "the job itself"


def _content(part: StatedPart, currency: str) -> str:
    """What stays of each material and, where there are several, what each of them cost."""
    own = sum(line.owner.is_company for line in part.materials)
    shown = [
        f"{_quantity(line.amounts.stays, line.material.stock_unit)} {line.material.name}"
        + (f" ({show_money(line.amounts.cost, currency)})" if own > 1 and line.owner.is_company else "")
        for line in part.materials
        if line.amounts.stays
    ]
    return ", ".join(shown) or "nothing"


def _unaccounted(statement: Statement) -> Iterator[Text]:
    """What cannot be accounted for on the job's closed days, with the interval it lies in at 95 %."""
    for found in statement.fluid:
        if found.interval is None:
            continue
        unit = found.fluid.stock_unit
        amount, low, high = (format_millionths(part, unit) for part in (found.unaccounted, *found.interval))
        yield Text(
            f"{found.fluid.name} that cannot be accounted for, beside the cost: {amount} "
            f"(between {low} and {high})."
        )


def _tie(statement: Statement) -> Text:
    if statement.agrees_with_book:
        return Text("The cost is what the job's places are worth in the book, to the last digit.")
    book = format_money(statement.book_value, statement.currency)
    return Text(f"The book says {book}; run verify_ledger.", style="bold red")


def _quantity(millionths: int, unit: str) -> str:
    return format_millionths(millionths, unit).removesuffix(" each") if millionths else "-"


def show_money(millionths: int, currency: str) -> str:
    """Money without its currency, which the heading says once."""
    return format_money(millionths, currency).removesuffix(f" {currency}")
