"""Balances rounded to whole coins so that debit and credit still agree."""

from collections.abc import Sequence


def round_balances(*, balances: Sequence[int], unit: int) -> list[int]:
    """Round balances that sum to zero to whole units that sum to zero, each within one unit.

    Every balance is rounded down, and what that takes too much is given back, one unit each, to the
    largest remainders, ties to the first.

    Parameters
    ----------
    balances : sequence of int
        Exact balances that sum to 0, shape (n,) [millionths of the currency]
    unit : int
        What the smallest coin is worth, >= 1 [millionths of the currency]

    Returns
    -------
    list of int
        Rounded balances that sum to 0, each less than one unit from its exact one [smallest coins]

    Raises
    ------
    ValueError
        If the balances do not sum to 0 or the unit is not positive.

    References
    ----------
    .. [1] Balinski, M. L. & Young, H. P. (2001), Fair Representation, 2nd ed., appendix A
       (Hamilton's method: quotas rounded down, the rest by largest remainder).
    """
    if unit < 1:
        raise ValueError(f"unit must be 1 or more, got {unit}")
    if sum(balances):
        raise ValueError(f"balances must sum to 0, got {sum(balances)}")
    rounded = [balance // unit for balance in balances]
    remainders = [balance % unit for balance in balances]
    by_remainder = sorted(range(len(balances)), key=lambda number: -remainders[number])
    for number in by_remainder[: -sum(rounded)]:
        rounded[number] += 1
    return rounded
