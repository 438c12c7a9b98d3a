"""Numbers of money and goods kept exact: what was typed is what is reckoned with."""

from decimal import Decimal
from fractions import Fraction
from math import isfinite

Exact = Fraction | Decimal | int | float | str


def as_exact(name: str, value: Exact) -> Fraction:
    """The value as an exact fraction; a float stands for the shortest decimal that reads back as it."""
    if isinstance(value, float | Decimal) and not isfinite(value):
        raise ValueError(f"{name} must be a finite number, got {value}")
    try:
        return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name} must be a number, got {value!r}") from error


def as_exact_not_negative(name: str, value: Exact) -> Fraction:
    """The value as an exact fraction, refused when below 0."""
    number = as_exact(name, value)
    if number < 0:
        raise ValueError(f"{name} must be 0 or more, got {float(number):g}")
    return number
