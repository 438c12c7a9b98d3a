"""What a quantity costs on a supplier's terms."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Prefetch, QuerySet

from inventory.models import PriceBreak, SupplyTerms
from inventory.money import value_of
from inventory.units import MILLION


@dataclass(frozen=True)
class Price:
    """The cost of a quantity, in millionths of the currency, and what a stock unit of it comes to."""

    quantity: int
    cost: int
    unit_cost: int


def with_breaks(rows: QuerySet[SupplyTerms]) -> QuerySet[SupplyTerms]:
    """Read the price breaks with the terms, as a plain list: there are terms by the hundred thousand."""
    return rows.prefetch_related(Prefetch("breaks", to_attr="known_breaks"))


def price_breaks(terms: SupplyTerms) -> Sequence[PriceBreak]:
    """The breaks of these terms, rising, without asking where they were read with them."""
    known: Sequence[PriceBreak] | None = getattr(terms, "known_breaks", None)
    return list(terms.breaks.all()) if known is None else known


def price_of(terms: SupplyTerms, quantity: int) -> Price:
    """Return what a quantity costs, in whole millionths throughout.

    With a discount on all units the whole quantity has the price of the break it reaches; with an
    incremental one each part has its own and the unit cost is the average, rounded half-even, so it may
    miss the cost by a millionth per unit.
    """
    steps = [(0, terms.unit_cost), *((row.from_quantity, row.unit_cost) for row in price_breaks(terms))]
    if terms.discount == SupplyTerms.Discount.ALL_UNITS:
        unit_cost = max(step for step in steps if step[0] <= quantity)[1]
        return Price(quantity, value_of(quantity=quantity, unit_cost=unit_cost), unit_cost)
    ends = [*(start for start, _cost in steps[1:]), quantity]
    total = sum(
        Fraction(max(0, min(end, quantity) - start) * unit_cost, MILLION)
        for (start, unit_cost), end in zip(steps, ends, strict=True)
    )
    cost = round(total)
    return Price(quantity, cost, round(Fraction(cost * MILLION, quantity)) if quantity else terms.unit_cost)


def orderable(terms: SupplyTerms, quantity: int) -> int:
    """Return the least quantity that can be ordered of what is wanted: whole packs, at least the minimum."""
    wanted = max(quantity, terms.minimum, 1)
    return -(-wanted // terms.pack) * terms.pack
