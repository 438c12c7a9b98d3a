"""From what is wanted to written orders: one for each supplier and place, their fixed costs shared."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import inf
from uuid import UUID

from django.db import transaction

from inventory.calc.supplier_choice import MOST_SUPPLIERS, choose_suppliers
from inventory.errors import BadInput, Fault
from inventory.models import Actor, Material, Order, Party, Place, SupplierTerms, SupplyTerms
from inventory.queries.prices import Price, orderable, price_of, with_breaks
from inventory.services.documents import step_id
from inventory.services.orders.lines import MOST_LINES, NoTerms, OrderedLine
from inventory.services.orders.writing import write_order
from inventory.units import Amount, from_millionths


@dataclass(frozen=True)
class Wanted:
    """So much of a material wanted at a place (millionths of the stock unit), from somebody or anybody."""

    place: Place
    material: Material
    quantity: int
    supplier: Party | None = None
    why: str = ""


@transaction.atomic
def write_joint_orders(
    *, id: UUID, by: Actor, occurred_at: datetime, wanted: Sequence[Wanted]
) -> list[Order]:
    """Write what is wanted as few and cheap orders, rounded up to packs and minimums; none is sent.

    Where no supplier is named the lines of a place are spread so that goods and the costs of the orders
    together cost least. Each order's id follows from `id`, its supplier and place: the same again gives the
    same orders, unless terms have changed meanwhile.

    Raises
    ------
    NoTerms
        If somebody named does not sell it on known terms, or nobody does.
    """
    if not 1 <= len(wanted) <= MOST_LINES:
        raise BadInput.of([Fault("/lines", str(len(wanted)), f"must be 1 to {MOST_LINES} lines")])
    offers = _find_offers(wanted)
    fixed = dict(SupplierTerms.objects.values_list("supplier_id", "order_cost"))
    grouped: dict[tuple[str, str], list[tuple[Wanted, SupplyTerms]]] = {}
    for place in {line.place.pk: line.place for line in wanted}.values():
        numbers = [number for number, line in enumerate(wanted) if line.place == place]
        for number, terms in _choose(numbers, wanted, offers, fixed).items():
            grouped.setdefault((terms.supplier.code, place.code), []).append((wanted[number], terms))
    return [
        write_order(
            id=step_id(id, f"{supplier}:{place}"),
            by=by,
            occurred_at=occurred_at,
            supplier=rows[0][1].supplier,
            place=rows[0][0].place,
            lines=[_line(line, terms) for line, terms in rows],
        )
        for (supplier, place), rows in sorted(grouped.items())
    ]


def _line(line: Wanted, terms: SupplyTerms) -> OrderedLine:
    unit = line.material.stock_unit
    quantity = orderable(terms, line.quantity)
    return OrderedLine(line.material, Amount(from_millionths(quantity, unit), unit), why=line.why)


def _find_offers(wanted: Sequence[Wanted]) -> dict[int, list[SupplyTerms]]:
    """For each line, by its number, the terms on which it can be had."""
    known = SupplyTerms.objects.filter(material__in={line.material.pk for line in wanted})
    rows = list(with_breaks(known.select_related("supplier").order_by("supplier__code")))
    found, faults = {}, []
    for number, line in enumerate(wanted):
        if line.quantity <= 0:
            raise BadInput.of([Fault(f"/lines/{number}/amount", str(line.quantity), "must be above nothing")])
        named = None if line.supplier is None else line.supplier.pk
        found[number] = [
            row for row in rows if row.material_id == line.material.pk and named in {None, row.supplier_id}
        ]
        if not found[number]:
            who = (
                f"{line.supplier.name} has no terms for it"
                if line.supplier
                else "no supplier has terms for it"
            )
            faults.append(Fault(f"/lines/{number}/material", line.material.code, f"{who}; set them first"))
    if faults:
        raise NoTerms.of(faults)
    return found


def _choose(
    numbers: Sequence[int],
    wanted: Sequence[Wanted],
    offers: dict[int, list[SupplyTerms]],
    fixed: dict[int, int],
) -> dict[int, SupplyTerms]:
    prices: dict[tuple[int, int], Price] = {}
    for number in numbers:
        for terms in offers[number]:
            quantity = orderable(terms, wanted[number].quantity)
            prices[number, terms.supplier_id] = price_of(terms, quantity)
    suppliers = sorted({supplier for _number, supplier in prices})[:MOST_SUPPLIERS]
    by_supplier = {(number, terms.supplier_id): terms for number in numbers for terms in offers[number]}
    costs = [
        [
            prices[number, supplier].cost + by_supplier[number, supplier].line_cost
            if (number, supplier) in prices
            else inf
            for supplier in suppliers
        ]
        for number in numbers
    ]
    chosen = choose_suppliers(
        line_costs=costs, order_costs=[fixed.get(supplier, 0) for supplier in suppliers]
    )
    return {
        number: by_supplier[number, suppliers[place]] for number, place in zip(numbers, chosen, strict=True)
    }
