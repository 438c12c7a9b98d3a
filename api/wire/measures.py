"""Quantities, money and moments as they stand on the wire, the same at every door.

A quantity is `{"value": "55.000000", "unit": "[gal_us]"}`: six decimals, the stock unit's UCUM code. Where it
was entered by someone, the amount as entered stands beside it. Money is `{"value": "1234.56", "currency":
"USD"}`: two decimals, up to six where the amount is finer than a hundredth, since a price per foot is; what
is sent may have as many. Moments are RFC 3339 with an offset; what is written is in UTC.
"""

from datetime import UTC, datetime
from decimal import Decimal

from inventory.units import DECIMALS

QuantityJson = dict[str, str]
MoneyJson = dict[str, str]
HUNDREDTH = 10_000


def quantity_json(millionths: int, unit: str) -> QuantityJson:
    """A stored quantity."""
    return {"value": _decimal(millionths, DECIMALS), "unit": unit}


def entered_json(value: str, unit: str) -> QuantityJson | None:
    """An amount as somebody entered it; nothing where nobody did."""
    return {"value": value, "unit": unit} if unit else None


def money_json(millionths: int | None, currency: str) -> MoneyJson | None:
    """Stored money; nothing where there is none or the reader may not see it."""
    if millionths is None:
        return None
    if millionths % HUNDREDTH == 0:
        return {"value": _decimal(millionths, 2), "currency": currency}
    return {"value": _decimal(millionths, DECIMALS).rstrip("0"), "currency": currency}


def moment_json(moment: datetime | None) -> str | None:
    """A moment in UTC."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z") if moment else None


def _decimal(millionths: int, decimals: int) -> str:
    return f"{Decimal(millionths).scaleb(-DECIMALS):.{decimals}f}"
