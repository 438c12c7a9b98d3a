"""A job's cost sheet on paper."""

from datetime import datetime
from typing import Any

from api.wire.papers.paper import Paper
from inventory.models import Movement
from inventory.money import format_money, from_money_millionths
from inventory.units import format_amount, format_millionths, from_millionths
from jobs.queries.cost_groups import CostGroup
from jobs.queries.cost_sheet import CostLine, CostSheet
from jobs.queries.statement import OTHER, StatedPart

MATERIAL_HEADINGS = (
    "Material",
    "Estimate",
    "Drawn",
    "Returned",
    "Recovered",
    "Stays",
    "Est. cost",
    "Cost",
    "by price",
    "by quantity",
    "by recovery",
)

# What each material did, and in the second line of it what that cost.
WORDS = {
    "used": "Used",
    "installed": "Installed",
    "lost": "Lost",
    "returned": "Returned",
    "recovered": "Recovered",
    OTHER: "Corrected",
}


def print_cost_sheet(sheet: CostSheet, *, is_metric: bool, printed_at: datetime) -> bytes:
    """The sheet as PDF, as it stands now; what was issued is shown by its stored content only."""
    job, currency = sheet.statement.job, sheet.statement.currency
    customer = f" for {job.customer.name}" if job.customer else ""
    paper = Paper(
        title=f"Cost of job {job.reference}",
        subtitle=f"{job.name}{customer}; {job.get_state_display()}; money in {currency}",
        paper="a4" if is_metric else "letter",
        is_wide=True,
        printed_at=printed_at,
    )
    _add_summary(paper, sheet)
    _add_materials(paper, sheet)
    _add_words(paper, sheet)
    if sheet.furnished:
        _add_furnished(paper, sheet.furnished)
    _add_lost(paper, sheet)
    _add_unaccounted(paper, sheet)
    _add_scrap(paper, sheet)
    _add_parts(paper, sheet)
    tie = "The cost is what the job's places are worth in the book, to the last digit."
    paper.add_text(tie if sheet.statement.agrees_with_book else "The book differs: run verify_ledger.")
    return paper.to_pdf()


def _add_summary(paper: Paper, sheet: CostSheet) -> None:
    currency = sheet.statement.currency
    rows = [["Cost in the book", _money(sheet.statement.cost, currency)]]
    if sheet.estimated_cost is not None:
        rows.insert(0, ["Estimate at approval", _money(sheet.estimated_cost, currency)])
    scrap = sheet.statement.scrap_credit
    if scrap:
        rows.append(["Core sold, a by-product", _money(-scrap, currency)])
        rows.append(["Cost less core sold", _money(sheet.statement.net_cost, currency)])
    if sheet.late:
        rows.append(["Bills that came after the job was closed", _money(sheet.late, currency)])
        rows.append(["Cost as known now", _money(sheet.cost_as_known, currency)])
    paper.add_table(["", currency], rows, widths=[5, 2], is_number=[False, True], has_total=len(rows) > 1)


def _add_materials(paper: Paper, sheet: CostSheet) -> None:
    currency = sheet.statement.currency
    paper.add_heading("Materials")
    rows = []
    for line in sheet.lines:
        found = line.differences
        rows.append(
            [
                line.material.name,
                _quantity(line, line.estimate.quantity) if line.estimate else "",
                _quantity(line, line.amounts.drawn),
                _quantity(line, line.amounts.quantity("returned")),
                _quantity(line, line.amounts.quantity("recovered")),
                _quantity(line, line.amounts.stays),
                _money(line.estimated_cost, currency),
                _money(line.amounts.cost, currency),
                _money(found.price, currency) if found else "",
                _money(found.quantity, currency) if found else "",
                _money(found.recovery, currency) if found else "",
            ]
        )
    estimated, cost = _money(sheet.estimated_cost, currency), _money(sheet.statement.cost, currency)
    rows.append(["All materials", "", "", "", "", "", estimated, cost, "", "", ""])
    paper.add_table(
        MATERIAL_HEADINGS,
        rows,
        widths=[5, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3],
        is_number=[False] + [True] * 10,
        has_total=True,
    )


def _add_words(paper: Paper, sheet: CostSheet) -> None:
    """Quantity and money of each word, one below the other; goods of others by quantity only."""
    currency = sheet.statement.currency
    rows = []
    for line in [*sheet.lines, *sheet.furnished]:
        amounts = line.amounts
        name = line.material.name if line.owner.is_company else f"{line.material.name} ({line.owner.name})"
        quantities = [amounts.drawn, *(amounts.quantity(word) for word in WORDS), amounts.stays]
        if not any(quantities) and not amounts.cost:
            continue
        rows.append([name, *(_quantity(line, quantity) for quantity in quantities)])
        if line.owner.is_company:
            values = [amounts.drawn_value, *(amounts.value(word) for word in WORDS), amounts.cost]
            rows.append(["", *(_money(value or None, currency) for value in values)])
    if rows:
        paper.add_heading("What became of it, in quantity and money")
        paper.add_table(
            ["Material", "Drawn", *WORDS.values(), "Stays"],
            rows,
            widths=[5] + [3] * (len(WORDS) + 2),
            is_number=[False] + [True] * (len(WORDS) + 2),
        )


def _add_furnished(paper: Paper, lines: list[CostLine]) -> None:
    """What owners brought and where it is now; an owner's other jobs are served from the same goods."""
    paper.add_heading("Furnished by others")
    columns = {
        "delivered": "Delivered",
        "with_job": "With this job",
        "with_other_jobs": "Other jobs",
        "returned_to_owner": "Back to owner",
        "still_held": "Still held",
        "otherwise": "Otherwise",
    }
    rows = [
        [
            f"{line.material.name} ({line.owner.name})",
            *(_quantity(line, getattr(line.reconciled, column)) for column in columns),
        ]
        for line in lines
        if line.reconciled is not None
    ]
    paper.add_table(
        ["Material and owner", *columns.values()],
        rows,
        widths=[5] + [2] * len(columns),
        is_number=[False] + [True] * len(columns),
    )
    paper.add_text("Delivered is the sum of what is with jobs, back, still held and otherwise gone.")


def _add_lost(paper: Paper, sheet: CostSheet) -> None:
    currency = sheet.statement.currency
    rows = [
        [
            line.material.name,
            Movement.Cause(cause).label,
            _quantity(line, loss.quantity),
            _money(loss.value, currency) if line.owner.is_company else "",
        ]
        for line in [*sheet.lines, *sheet.furnished]
        for cause, loss in line.lost.items()
    ]
    if rows:
        paper.add_heading("Lost")
        paper.add_table(
            ["Material", "Cause", "Quantity", currency],
            rows,
            widths=[4, 3, 2, 2],
            is_number=[False, False, True, True],
        )


def _add_unaccounted(paper: Paper, sheet: CostSheet) -> None:
    """What the balances of the job's closed days cannot explain, with its interval at 95 %."""
    if not sheet.unaccounted:
        return
    paper.add_heading("Fluid that cannot be accounted for, beside the cost")
    rows = []
    for row in sheet.unaccounted:
        unit, interval = row.fluid.stock_unit, row.interval
        shown = (
            [_amount(end, unit) for end in (row.unaccounted, *interval)]
            if interval
            else ["not known", "", ""]
        )
        rows.append([row.fluid.name, *shown])
    paper.add_table(
        ["Fluid", "Amount", "At least (95 %)", "At most (95 %)"],
        rows,
        widths=[4, 2, 2, 2],
        is_number=[False, True, True, True],
    )


def _add_scrap(paper: Paper, sheet: CostSheet) -> None:
    if not sheet.statement.scrap:
        return
    currency = sheet.statement.currency
    paper.add_heading("Core sold")
    rows = [
        [
            f"Lot {row.lot}",
            f"{row.sold_at:%Y-%m-%d} to {row.buyer}",
            f"{row.weighed_g / 1000:,.3f} kg",
            _money(row.credited, currency) if row.owner.is_company else "",
            f"{_money(row.owed, currency)} to {row.owner.name}" if row.owed else "",
        ]
        for row in sheet.statement.scrap
    ]
    paper.add_table(
        ["Lot", "Sold", "Mass", "Taken off the cost", "Owed, beside the cost"],
        rows,
        widths=[2, 4, 2, 2, 3],
        is_number=[False, False, True, True, True],
    )


def _add_parts(paper: Paper, sheet: CostSheet) -> None:
    currency = sheet.statement.currency
    if sheet.by_size:
        paper.add_heading("By cable size")
        rows = [
            [
                row.cable_size or "no size",
                format_amount(from_millionths(row.length_um, "m", "[ft_i]"), "[ft_i]"),
                _money(row.cost, currency),
                f"{from_money_millionths(row.per_foot):.4f}" if row.per_foot is not None else "",
            ]
            for row in sheet.by_size
        ]
        paper.add_table(
            ["Size", "Extracted", "Cost", "For a foot"],
            rows,
            widths=[2, 2, 2, 2],
            is_number=[False, True, True, True],
        )
    groups: dict[str, list[tuple[str, StatedPart | CostGroup[Any]]]] = {
        "By month": [(f"{row.name:%Y-%m}", row) for row in sheet.by_month],
        "By crew": [(row.name or "without a crew's report", row) for row in sheet.by_crew],
        "By span and run": [
            (f"{part.kind} {part.name}" if part.name else "the job itself", part)
            for part in sheet.statement.parts
        ],
    }
    for title, named in groups.items():
        if named:
            paper.add_heading(title)
            _add_groups(paper, named, currency)


def _add_groups(paper: Paper, named: list[tuple[str, StatedPart | CostGroup[Any]]], currency: str) -> None:
    """The materials of each part with what stays of them, and below them what the part cost."""
    rows = []
    for name, group in named:
        for place, line in enumerate(group.materials):
            amounts = line.amounts
            quantity = _amount(amounts.stays, line.material.stock_unit) if amounts.stays else ""
            cost = _money(amounts.cost, currency) if line.owner.is_company else ""
            rows.append([name if not place else "", line.material.name, quantity, cost])
        if len(group.materials) > 1:
            rows.append(["", f"all of {name}", "", _money(group.cost, currency)])
    rows.append(["All", "", "", _money(sum(group.cost for _name, group in named), currency)])
    paper.add_table(
        ["", "Material", "Stays", currency],
        rows,
        widths=[4, 4, 2, 2],
        is_number=[False, False, True, True],
        has_total=True,
    )


def _quantity(line: CostLine, millionths: int) -> str:
    if not millionths:
        return ""
    return _amount(millionths, line.material.stock_unit)


def _amount(millionths: int, unit: str) -> str:
    return format_millionths(_to_hundredth(millionths), unit).removesuffix(" each")


def _to_hundredth(millionths: int) -> int:
    """As finely as paper needs it; the exact figure is in the sheet's other forms."""
    return round(millionths / 10_000) * 10_000


def _money(millionths: int | None, currency: str) -> str:
    return format_money(millionths, currency).removesuffix(f" {currency}") if millionths is not None else ""
