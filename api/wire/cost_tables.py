"""A job's cost sheet as the rows of one table, for a workbook: first by material, then cut every other way.

`by` says how a row cuts the cost (material, cause of loss, span, crew, month, cable size), `name` which part
of that cut it is. The rows of one `by` add up to the cost, but for losses, which are part of it.
"""

from collections.abc import Iterable, Iterator

from api.wire.cost_sheets import RECONCILED, WORDS
from inventory.models import Material, Movement, Party
from inventory.money import from_money_millionths
from inventory.units import from_millionths, unit_label
from jobs.queries.cost_sheet import CostLine, CostSheet
from jobs.queries.fluid_figures import FluidSum
from jobs.queries.statement import Amounts, StatedMaterial

VALUED = tuple(word for word in WORDS if word != "stays")
HEADINGS = [
    "by",
    "name",
    "material",
    "owner",
    "unit",
    "estimated",
    *WORDS,
    *(f"{word} cost" for word in VALUED),
    "estimated cost",
    "cost",
    "price difference",
    "quantity difference",
    "recovery difference",
    "later bills",
    "unaccounted",
    "unaccounted at least",
    "unaccounted at most",
    *(word.replace("_", " ") for word in RECONCILED),
    "extracted feet",
    "cost of a foot",
    "currency",
]
Cells = dict[str, str]


def cost_table(sheet: CostSheet) -> tuple[list[str], list[list[str]]]:
    """Headings and rows: a row a material, the sum, core that was sold, then the other cuts of the cost."""
    rows = [
        *_materials(sheet),
        *_sums(sheet),
        *_scrap(sheet),
        *_losses(sheet),
        *_groups(sheet),
        *_sizes(sheet),
    ]
    return HEADINGS, [[row.get(heading, "") for heading in HEADINGS] for row in rows]


def _materials(sheet: CostSheet) -> Iterator[Cells]:
    fluids = {row.fluid.pk: row for row in sheet.unaccounted}
    for line in [*sheet.lines, *sheet.furnished]:
        cells = _amounts("material", "", line, sheet.statement.currency)
        unit, found = line.material.stock_unit, line.differences
        if line.estimate:
            cells["estimated"] = _quantity(line.estimate.quantity, unit)
        if line.owner.is_company:
            cells |= {"estimated cost": _money(line.estimated_cost), "later bills": _money(line.late)}
            cells |= _unaccounted(fluids.get(line.material.pk))
        if found:
            cells["price difference"] = _money(found.price)
            cells["quantity difference"] = _money(found.quantity)
            cells["recovery difference"] = _money(found.recovery)
        if line.reconciled:
            for word in RECONCILED:
                cells[word.replace("_", " ")] = _quantity(getattr(line.reconciled, word), unit)
        yield cells


def _sums(sheet: CostSheet) -> Iterator[Cells]:
    yield {
        "by": "total",
        "name": "all materials",
        "estimated cost": _money(sheet.estimated_cost),
        "cost": _money(sheet.statement.cost),
        "later bills": _money(sheet.late),
        "currency": sheet.statement.currency,
    }


def _scrap(sheet: CostSheet) -> Iterator[Cells]:
    """Each sold lot of core below the sum, and what the job cost less them."""
    statement = sheet.statement
    for row in statement.scrap:
        owed = f", owed to {row.owner.name}: {_money(row.owed)}" if row.owed else ""
        yield {
            "by": "core sold",
            "name": f"core sold, lot {row.lot}{owed}",
            "owner": row.owner.name,
            "cost": _money(0 if row.owed else -row.credited),
            "currency": statement.currency,
        }
    if statement.scrap:
        yield {
            "by": "total",
            "name": "cost less core sold",
            "cost": _money(statement.net_cost),
            "currency": statement.currency,
        }


def _losses(sheet: CostSheet) -> Iterator[Cells]:
    for line in [*sheet.lines, *sheet.furnished]:
        for cause, loss in line.lost.items():
            cells = _named("cause of loss", Movement.Cause(cause).label, line.material, line.owner)
            cells["lost"] = _quantity(loss.quantity, line.material.stock_unit)
            if line.owner.is_company:
                cells |= {"lost cost": _money(loss.value), "currency": sheet.statement.currency}
            yield cells


def _groups(sheet: CostSheet) -> Iterator[Cells]:
    """A row for each material in each span, run, crew and month."""
    currency = sheet.statement.currency
    groups: list[tuple[str, str, Iterable[StatedMaterial]]] = [
        *((part.kind, part.name, part.materials) for part in sheet.statement.parts),
        *(("crew", row.name or "without a crew's report", row.materials) for row in sheet.by_crew),
        *(("month", f"{row.name:%Y-%m}", row.materials) for row in sheet.by_month),
    ]
    for by, name, lines in groups:
        for line in lines:
            yield _amounts(by, name, line, currency)


def _sizes(sheet: CostSheet) -> Iterator[Cells]:
    for row in sheet.by_size:
        yield {
            "by": "cable size",
            "name": row.cable_size or "no size",
            "extracted feet": f"{from_millionths(row.length_um, 'm', '[ft_i]'):.3f}",
            "cost": _money(row.cost),
            "cost of a foot": _money(row.per_foot),
            "currency": sheet.statement.currency,
        }


def _amounts(by: str, name: str, line: CostLine | StatedMaterial, currency: str) -> Cells:
    """Quantity and money of each word; goods of others without money."""
    cells, amounts = _named(by, name, line.material, line.owner), line.amounts
    for word in WORDS:
        cells[word] = _quantity(_of_word(amounts, word), line.material.stock_unit)
    if line.owner.is_company:
        for word in VALUED:
            cells[f"{word} cost"] = _money(amounts.drawn_value if word == "drawn" else amounts.value(word))
        cells |= {"cost": _money(amounts.cost), "currency": currency}
    return cells


def _named(by: str, name: str, material: Material, owner: Party) -> Cells:
    unit = unit_label(material.stock_unit)
    return {"by": by, "name": name, "material": material.name, "owner": owner.name, "unit": unit}


def _of_word(amounts: Amounts, word: str) -> int:
    return {"drawn": amounts.drawn, "stays": amounts.stays}.get(word, amounts.quantity(word))


def _unaccounted(row: FluidSum | None) -> Cells:
    if row is None or row.interval is None:
        return {}
    words = ("unaccounted", "unaccounted at least", "unaccounted at most")
    amounts = (row.unaccounted, *row.interval)
    return {word: _quantity(end, row.fluid.stock_unit) for word, end in zip(words, amounts, strict=True)}


def _quantity(millionths: int, unit: str) -> str:
    return f"{from_millionths(millionths, unit):f}"


def _money(millionths: int | None) -> str:
    return f"{from_money_millionths(millionths):f}" if millionths is not None else ""
