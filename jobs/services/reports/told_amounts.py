"""Amounts as they were told, in the units in which they are kept."""

from decimal import Decimal
from typing import Any

from inventory.errors import Fault
from inventory.models import Material
from inventory.services.lines import BadLine, stored_quantity
from inventory.units import MILLION, Amount, convert, naming_the_amount, require_dimension

UM_PER_M = 1_000_000


def read_um(amount: Amount | None, pointer: str) -> int | None:
    """A length in whole micrometres."""
    if amount is None:
        return None
    with naming_the_amount(pointer, str(amount)):
        require_dimension(amount.unit, "length")
    found = round(convert(amount.value, amount.unit, "m") * UM_PER_M)
    if found < 0:
        raise BadLine.of([Fault(pointer, str(amount), "cannot be less than nothing")])
    return found


def read_kg(amount: Amount | None, pointer: str) -> float | None:
    if amount is None:
        return None
    with naming_the_amount(pointer, str(amount)):
        require_dimension(amount.unit, "mass")
    return float(convert(amount.value, amount.unit, "kg"))


def read_mark(amount: Amount | None, unit: str, dimension: str, pointer: str) -> int | None:
    """What a meter or a mark shows, in millionths of the unit both are kept in."""
    if amount is None:
        return None
    with naming_the_amount(pointer, str(amount)):
        require_dimension(amount.unit, dimension)
    return round(convert(amount.value, amount.unit, unit) * MILLION)


def read_some(amount: Amount, material: Material, pointer: str) -> int:
    quantity = stored_quantity(amount, material.stock_unit, pointer=pointer)
    if quantity <= 0:
        raise BadLine.of([Fault(pointer, str(amount), "must be more than nothing, or left out")])
    return quantity


def read_optional(amount: Amount | None, material: Material, pointer: str) -> int | None:
    return None if amount is None else read_some(amount, material, pointer)


def as_entered(amount: Amount | None) -> dict[str, Any]:
    if amount is None:
        return {}
    value: Decimal = amount.value
    return {"entered_value": f"{value:f}", "entered_unit": amount.unit}
