"""Quantities and money as they go over the wire, the same at every door.

A quantity has six decimals and the UCUM code of its unit. Money has two decimals, and up to six where it is
finer than a hundredth, since a price per foot is; what is sent may have as many.
"""

from inventory.money import from_money_millionths
from inventory.units import from_millionths


def quantity_json(millionths: int, stock_unit: str, unit: str | None = None) -> dict[str, str]:
    """A stored quantity: a decimal string of six decimals and a UCUM code."""
    shown = unit or stock_unit
    return {"value": f"{from_millionths(millionths, stock_unit, shown):.6f}", "unit": shown}


def money_json(millionths: int, currency: str) -> dict[str, str]:
    """Stored money, exactly: at least two decimals, as many as six where there is more to say."""
    exact = from_money_millionths(millionths)
    text = f"{exact:.6f}".rstrip("0")
    whole, _point, decimals = text.partition(".")
    return {"value": f"{whole}.{decimals.ljust(2, '0')}", "currency": currency}
