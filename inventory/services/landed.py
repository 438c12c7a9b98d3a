"""Freight and duty that are known when goods come, made part of what the goods cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from inventory.calc.landed_costs import Share, landed_costs
from inventory.errors import BadInput, Fault
from inventory.models import InvoiceCharge, Material
from inventory.services.lines import quantity_of
from inventory.services.receipts import ReceiptLine
from inventory.units import conversion_factor

ShareBy = InvoiceCharge.ShareBy


@dataclass(frozen=True)
class Charge:
    """Freight, duty or the like, in millionths of the currency, and what it is shared by."""

    name: str
    amount: int
    share_by: str = ShareBy.VALUE


def land(lines: Sequence[ReceiptLine], charges: Sequence[Charge]) -> list[ReceiptLine]:
    """The same lines, each at its price with its share of the charges (IAS 2.11).

    Raises
    ------
    BadInput
        If a charge is nothing or less, or cannot be shared by what it names.
    """
    if not charges:
        return list(lines)
    quantities = [
        int(str(quantity_of(line.amount, line.material, pointer=f"/lines/{number}/amount")))
        for number, line in enumerate(lines)
    ]
    materials = [line.material for line in lines]
    prices = [line.cost for line in lines]
    landed = landed_costs(prices=prices, charges=share_charges(charges, materials, quantities, prices))
    return [replace(line, cost=cost) for line, cost in zip(lines, landed, strict=True)]


def share_charges(
    charges: Sequence[Charge], materials: Sequence[Material], quantities: Sequence[int], prices: Sequence[int]
) -> list[Share]:
    """Each charge with its weights, line by line; where all weigh nothing it is shared evenly."""
    faults: list[Fault] = []
    lines = list(zip(materials, quantities, prices, strict=True))
    shares = [
        share
        for number, charge in enumerate(charges)
        if (share := weigh_charge(charge, lines, pointer=f"/charges/{number}", faults=faults)) is not None
    ]
    if faults:
        raise BadInput.of(faults)
    return shares


def weigh_charge(
    charge: Charge, lines: Sequence[tuple[Material, int, int]], *, pointer: str, faults: list[Fault]
) -> Share | None:
    """One charge with the weight of each line (material, quantity, value); None with a fault."""
    if charge.amount <= 0:
        faults.append(Fault(f"{pointer}/amount", str(charge.amount), "must be more than nothing"))
    if charge.share_by not in ShareBy.values:
        message = f"is none of: {', '.join(ShareBy.values)}"
        faults.append(Fault(f"{pointer}/share_by", charge.share_by, message))
        return None
    weights = [_weigh(charge.share_by, *line) for line in lines]
    unknown = next((line[0] for line, weight in zip(lines, weights, strict=True) if weight is None), None)
    if unknown is not None:
        message = f"cannot be shared by weight: what {unknown} weighs is not known"
        faults.append(Fault(f"{pointer}/share_by", charge.share_by, message))
        return None
    known = [weight or Fraction(0) for weight in weights]
    return Share(charge.amount, known if any(known) else [Fraction(1)] * len(known))


def _weigh(share_by: str, material: Material, quantity: int, price: int) -> Fraction | None:
    if share_by == ShareBy.VALUE:
        return Fraction(price)
    if share_by == ShareBy.COUNT:
        return Fraction(quantity)
    if material.mass_kg_per_unit:
        return Fraction(material.mass_kg_per_unit) * quantity
    if material.density_kg_per_m3:
        return Fraction(material.density_kg_per_m3) * conversion_factor(material.stock_unit, "m3") * quantity
    return None
