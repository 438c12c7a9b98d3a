"""Freight, duty and the like shared over the goods they were paid for."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.calc.allocation import allocate_money
from inventory.calc.exact_numbers import Exact


@dataclass(frozen=True)
class Share:
    """One cost to be shared and what it is shared by."""

    amount: int
    weights: Sequence[Exact]


def landed_costs(*, prices: Sequence[int], charges: Sequence[Share]) -> list[int]:
    """Price of each line with its share of every charge; together they are all that was billed.

    Parameters
    ----------
    prices : sequence of int
        >= 0, shape (n,) [smallest unit of money, such as cents or millionths]
    charges : sequence of Share
        Amount >= 0 [same unit] and weights >= 0, shape (n,) [any unit: value, weight or count of the lines]

    Returns
    -------
    list of int
        Landed cost of each line, shape (n,) [same unit]

    Raises
    ------
    ValueError
        If a price is negative, or a charge has not one weight for each line, or none above 0.

    References
    ----------
    .. [1] IAS 2 Inventories, paragraph 11 (costs of purchase comprise price, duties, transport, handling).
    .. [2] Balinski, M. L. & Young, H. P. (2001), Fair Representation, 2nd ed., appendix A, for the shares.
    """
    if any(price < 0 for price in prices):
        raise ValueError(f"prices must be 0 or more, got {min(prices)}")
    landed = list(prices)
    for number, charge in enumerate(charges):
        if len(charge.weights) != len(prices):
            raise ValueError(f"charges[{number}] must have {len(prices)} weights, got {len(charge.weights)}")
        shares = allocate_money(total_minor_units=charge.amount, weights=charge.weights)
        landed = [cost + share for cost, share in zip(landed, shares, strict=True)]
    return landed


def part_of(*, whole_value: int, whole_quantity: int, before: int, upto: int) -> int:
    """Value of the part of a quantity from `before` to `upto`, so that all parts add up to the whole.

    Parameters
    ----------
    whole_value : int
        [smallest unit of money]
    whole_quantity : int
        > 0 [any unit]
    before, upto : int
        0 <= before <= upto <= whole_quantity [same unit]

    Returns
    -------
    int
        Value of the part, half-even on running totals [smallest unit of money]

    Raises
    ------
    ValueError
        If the part does not lie within the whole.

    References
    ----------
    .. [1] Rounded running totals, whose differences add up to the rounded total by construction.
    """
    if not 0 <= before <= upto <= whole_quantity or not whole_quantity:
        raise ValueError(f"the part {before} to {upto} must lie within 0 to {whole_quantity}")
    return round_quotient(whole_value * upto, whole_quantity) - round_quotient(
        whole_value * before, whole_quantity
    )


def round_quotient(dividend: int, divisor: int) -> int:
    """Quotient of two whole numbers to the nearest whole one, halves to the even.

    What a rounded fraction gives, without looking for its common divisor: that would be most of the time
    where goods are followed through a hundred thousand movements.

    Parameters
    ----------
    dividend : int
        [any unit]
    divisor : int
        > 0 [any unit]

    Returns
    -------
    int
        [unit of the dividend by that of the divisor]

    Raises
    ------
    ZeroDivisionError
        If the divisor is 0.

    References
    ----------
    .. [1] IEEE 754-2019, 4.3.1, roundTiesToEven.
    """
    quotient, rest = divmod(dividend, divisor)
    return quotient + (2 * rest > divisor or (2 * rest == divisor and quotient % 2 == 1))
