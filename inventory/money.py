"""Money as whole millionths of the company's currency.

Millionths, because a price per foot or per litre is finer than a cent, and whole, because a sum of shares
must give back the whole. Only what leaves the house is rounded to the currency's smallest coin.
"""

from decimal import Decimal, InvalidOperation
from fractions import Fraction

from iso4217 import Currency

from inventory.errors import BadInput

MILLION = 10**6
LARGEST_MILLIONTHS = 10**18


class BadMoney(BadInput):
    """An amount of money cannot be taken as it was given."""

    code = "bad_money"


def to_money_millionths(value: str | int | Decimal) -> int:
    """Read money given as a decimal; refuse what is finer than a millionth, negative or out of range."""
    try:
        number = Decimal(value) if not isinstance(value, float) else Decimal("NaN")
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite():
        raise BadMoney(f"{str(value)[:40]} is not an amount of money; give a decimal such as 12.50")
    if number < 0:
        raise BadMoney(f"{str(value)[:40]} is negative; give a cost of zero or more")
    if number > LARGEST_MILLIONTHS // MILLION:
        raise BadMoney(f"{str(value)[:40]} is out of range; the largest is {LARGEST_MILLIONTHS // MILLION}")
    exact = Fraction(number) * MILLION
    if exact.denominator != 1:
        raise BadMoney(f"{str(value)[:40]} has more than six decimals; round it to a millionth")
    return int(exact)


def from_money_millionths(millionths: int) -> Decimal:
    """Return stored money as a decimal, exactly."""
    return Decimal(millionths).scaleb(-6)


def is_currency(code: str) -> bool:
    """Whether ISO 4217 lists the code as money that is paid with; metals and test codes are not."""
    return _find_currency(code) is not None


def minor_digits(code: str) -> int:
    """Decimals of the currency's smallest coin by ISO 4217: 2 for USD, 0 for JPY, 3 for KWD."""
    found = _find_currency(code)
    if found is None or found.exponent is None:
        raise BadMoney(f"{code[:40]} is not a currency of ISO 4217; give a code such as USD")
    return found.exponent


def _find_currency(code: str) -> Currency | None:
    try:
        found = Currency(code)
    except ValueError:
        return None
    return found if found.exponent is not None else None


def value_of(*, quantity: int, unit_cost: int) -> int:
    """Cost of a quantity (millionths of a unit) at a unit cost (millionths of the currency), half-even."""
    return round(Fraction(quantity * unit_cost, MILLION))


def format_money(millionths: int, currency: str) -> str:
    """Write money as people do, to the currency's smallest coin: '1,234.56 USD', '1,235 JPY'."""
    digits = minor_digits(currency)
    coins = round(Fraction(millionths, 10 ** (6 - digits)))
    whole, part = divmod(abs(coins), 10**digits)
    sign = "-" if coins < 0 else ""
    return f"{sign}{whole:,}{f'.{part:0{digits}d}' if digits else ''} {currency}"
