"""A sum of money shared out so that every smallest coin is given away once."""

from collections.abc import Sequence

from inventory.calc.exact_numbers import Exact, as_exact, as_exact_not_negative


def allocate_money(*, total_minor_units: int, weights: Sequence[Exact]) -> list[int]:
    """Shares in proportion to the weights by the largest remainder, ties to the first.

    Each share is first rounded down; the coins left over go one each to the largest remainders.

    Parameters
    ----------
    total_minor_units : int
        The sum; a negative one is shared like its opposite and turned round [minor units, such as cents]
    weights : sequence of number
        >= 0, shape (n,), not all 0 unless the sum is [any unit]

    Returns
    -------
    list of int
        Shares that add up to the sum exactly, each within one of its exact quota [minor units]

    Raises
    ------
    ValueError
        If a weight is negative, there are none, or all are 0 while the sum is not.

    References
    ----------
    .. [1] Balinski, M. L. & Young, H. P. (2001), Fair Representation, 2nd ed., appendix A
       (Hamilton's method).
    """
    total = as_exact("total_minor_units", total_minor_units)
    if total.denominator != 1:
        raise ValueError(f"total_minor_units must be a whole number, got {float(total):g}")
    shares = [as_exact_not_negative(f"weights[{number}]", weight) for number, weight in enumerate(weights)]
    whole = sum(shares)
    if not whole:
        if total or not shares:
            raise ValueError("weights must have at least one above 0")
        return [0] * len(shares)
    amount = abs(int(total))
    quotas = [amount * share / whole for share in shares]
    given = [int(quota) for quota in quotas]
    by_remainder = sorted(range(len(quotas)), key=lambda number: given[number] - quotas[number])
    for number in by_remainder[: amount - sum(given)]:
        given[number] += 1
    return given if total >= 0 else [-share for share in given]
