"""The lines of an order: amounts read, prices found, packs and minimums kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.errors import BadInput, Fault
from inventory.models import Material, Order, OrderLine, Party, SupplyTerms
from inventory.money import LARGEST_MILLIONTHS, value_of
from inventory.queries.prices import orderable, price_of, with_breaks
from inventory.services.lines import quantity_of
from inventory.units import Amount, format_millionths

MOST_LINES = 500


class NoTerms(BadInput):
    """What the supplier asks for a material is not known, so that an order would have no price."""

    code = "no_terms"


@dataclass(frozen=True)
class OrderedLine:
    """So much of a material to be ordered.

    Without a price it goes on the supplier's terms, in whole packs and at least the minimum; a price of its
    own is an agreement of its own and is not held to them.
    """

    material: Material
    amount: Amount
    unit_cost: int | None = None
    why: str = ""


def make_lines(lines: Sequence[OrderedLine], supplier: Party) -> tuple[list[OrderLine], int]:
    """Return the rows of an order, unsaved, and what the supplier asks for having these lines at all."""
    if not 1 <= len(lines) <= MOST_LINES:
        raise BadInput.of([Fault("/lines", str(len(lines)), f"must be 1 to {MOST_LINES} lines")])
    terms = find_terms(supplier, [line.material for line in lines])
    rows, lacking, faults, cost_of_lines = [], [], [], 0
    for number, line in enumerate(lines):
        pointer = f"/lines/{number}"
        quantity = quantity_of(line.amount, line.material, pointer=f"{pointer}/amount")
        assert isinstance(quantity, int)
        standing = terms.get(line.material.pk)
        if line.unit_cost is None and standing is None:
            message = f"has no terms with {supplier.name}; set them, or give the line a price of its own"
            lacking.append(Fault(f"{pointer}/material", line.material.code, message))
            continue
        faults += _faults_of(line, quantity, standing, pointer)
        cost_of_lines += standing.line_cost if standing else 0
        rows.append(_row(number + 1, line, quantity, standing))
    if lacking:
        raise NoTerms.of([*lacking, *faults])
    if faults:
        raise BadInput.of(faults)
    return rows, cost_of_lines


def find_terms(supplier: Party, materials: Sequence[Material]) -> dict[int, SupplyTerms]:
    """What a supplier asks for each of these materials, by the material's key, with its price breaks."""
    rows = SupplyTerms.objects.filter(supplier=supplier, material__in=materials)
    return {row.material_id: row for row in with_breaks(rows)}


def save_lines(order: Order, rows: Sequence[OrderLine]) -> None:
    for row in rows:
        row.order = order
    OrderLine.objects.bulk_create(rows)


def _row(position: int, line: OrderedLine, quantity: int, terms: SupplyTerms | None) -> OrderLine:
    unit_cost = line.unit_cost
    if unit_cost is None:
        assert terms is not None
        unit_cost = price_of(terms, quantity).unit_cost
    return OrderLine(
        position=position,
        material=line.material,
        quantity=quantity,
        unit_cost=unit_cost,
        entered_value=f"{line.amount.value:f}",
        entered_unit=line.amount.unit,
        why=line.why,
    )


def _faults_of(line: OrderedLine, quantity: int, terms: SupplyTerms | None, pointer: str) -> list[Fault]:
    unit, shown = line.material.stock_unit, str(line.amount)
    if unit == "1" and quantity % 1_000_000:
        return [Fault(f"{pointer}/amount", shown, "must be whole pieces")]
    if line.unit_cost is not None:
        if line.unit_cost < 0:
            return [Fault(f"{pointer}/unit_cost", str(line.unit_cost), "cannot be less than nothing")]
        if value_of(quantity=quantity, unit_cost=line.unit_cost) > LARGEST_MILLIONTHS:
            return [Fault(f"{pointer}/unit_cost", str(line.unit_cost), "comes to more than can be kept")]
        return []
    assert terms is not None
    whole = orderable(terms, quantity)
    if whole != quantity:
        packs = f"sold in packs of {format_millionths(terms.pack, unit)}"
        least = f" and {format_millionths(terms.minimum, unit)} at least" if terms.minimum else ""
        message = f"is {packs}{least}; order {format_millionths(whole, unit)}, or give a price of its own"
        return [Fault(f"{pointer}/amount", shown, message)]
    return []
