"""What is to be ordered together: the lines of one supplier for one warehouse share the cost of an order."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, sqrt

from inventory.calc.joint_orders import JointOrder, joint_order
from inventory.models import Party, Place, SupplierTerms, SupplyTerms
from inventory.queries.prices import orderable, price_breaks, price_of
from inventory.queries.restock_lines import RestockLine
from inventory.units import MILLION

DAYS_A_YEAR = 365.0


@dataclass(frozen=True)
class ProposedLine:
    """So much of a line's material within the order: its own quantity, or less since it shares the order."""

    line: RestockLine
    quantity: int
    unit_cost: int
    cost: int


@dataclass(frozen=True)
class OrderProposal:
    """One order to a supplier for a warehouse. Money in millionths of the currency.

    `order_cost` is what the supplier asks for the order and its lines, `goods` what the goods cost.
    `missing_value` is what the goods lack to the least value that it delivers. `cycle_days` is how often such
    an order is best sent and `saving_per_year` what that saves against ordering each material by itself; None
    where a single material or nothing foreseen makes no cycle.
    """

    place: Place
    supplier: Party
    order_by_date: date
    is_late: bool
    lines: tuple[ProposedLine, ...]
    goods: int
    order_cost: int
    least_value: int
    missing_value: int
    cycle_days: float | None = None
    saving_per_year: int | None = None

    @property
    def total(self) -> int:
        return self.goods + self.order_cost


@dataclass(frozen=True)
class _Asks:
    order_cost: int = 0
    least_value: int = 0


def propose_orders(lines: Iterable[RestockLine]) -> tuple[OrderProposal, ...]:
    """Orders for these lines, the soonest first; lines that nobody sells are left out. One query."""
    grouped: dict[tuple[int, int], list[RestockLine]] = {}
    for line in lines:
        if line.terms is not None:
            grouped.setdefault((line.place.pk, line.terms.supplier_id), []).append(line)
    suppliers = {supplier for _place, supplier in grouped}
    asked = {
        row.supplier_id: _Asks(row.order_cost, row.least_order_value)
        for row in SupplierTerms.objects.filter(supplier__in=suppliers)
    }
    found = [_propose(rows, asked.get(key[1], _Asks())) for key, rows in grouped.items()]
    return tuple(sorted(found, key=lambda row: (row.order_by_date, row.supplier.code, row.place.code)))


def _propose(lines: Sequence[RestockLine], asks: _Asks) -> OrderProposal:
    terms = lines[0].terms
    assert terms is not None
    cycle = _find_cycle(lines, asks.order_cost) if len(lines) > 1 else None
    proposed = tuple(
        _propose_line(line, cycle.order_quantities[number] if cycle else None)
        for number, line in enumerate(lines)
    )
    goods = sum(row.cost for row in proposed)
    return OrderProposal(
        place=lines[0].place,
        supplier=terms.supplier,
        order_by_date=min(line.order_by_date for line in lines),
        is_late=any(line.is_late for line in lines),
        lines=proposed,
        goods=goods,
        order_cost=asks.order_cost + sum(_terms(line).line_cost for line in lines),
        least_value=asks.least_value,
        missing_value=max(0, asks.least_value - goods),
        cycle_days=cycle.cycle_time if cycle else None,
        saving_per_year=_saving(lines, asks.order_cost, cycle) if cycle else None,
    )


def _find_cycle(lines: Sequence[RestockLine], order_cost: int) -> JointOrder | None:
    """How often to order what together; None where an order costs nothing or no use is foreseen."""
    own = [_terms(line).line_cost / MILLION for line in lines]
    foreseen = [cost for cost, line in zip(own, lines, strict=True) if line.daily > 0]
    if not foreseen or order_cost / MILLION + min(foreseen) <= 0:
        return None
    return joint_order(
        shared_fixed_cost=order_cost / MILLION,
        individual_fixed_costs=own,
        holding_costs=[_holding_cost(line) for line in lines],
        demand_rates=[line.daily for line in lines],
    )


def _propose_line(line: RestockLine, shared: float | None) -> ProposedLine:
    terms, quantity = _terms(line), line.quantity
    # What a price break asks for is not given up, and what keeps for less time is cut already.
    if shared is not None and line.daily > 0 and not price_breaks(terms):
        together = orderable(terms, max(line.least_quantity, ceil(round(shared * MILLION, 3))))
        quantity = min(quantity, together)
    price = price_of(terms, quantity)
    return ProposedLine(line, quantity, price.unit_cost, price.cost)


def _saving(lines: Sequence[RestockLine], order_cost: int, cycle: JointOrder) -> int:
    """Ordering and holding of each by itself, sqrt(2 (K + k) h d), less that of the common cycle."""
    alone = sum(
        sqrt(2 * (order_cost + _terms(line).line_cost) / MILLION * _holding_cost(line) * line.daily)
        for line in lines
    )
    return round(max(0.0, alone - cycle.cost_per_time) * DAYS_A_YEAR * MILLION)


def _holding_cost(line: RestockLine) -> float:
    """Of one stock unit for one day."""
    return max(line.holding_rate / DAYS_A_YEAR * _terms(line).unit_cost / MILLION, 1e-9)


def _terms(line: RestockLine) -> SupplyTerms:
    assert line.terms is not None
    return line.terms
