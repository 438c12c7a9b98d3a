"""Balances rounded to whole coins so that debit and credit still agree."""

from collections.abc import Sequence


def round_balances(*, balances: Sequence[int], unit: int, standing: Sequence[int | None] = ()) -> list[int]:
    """Round balances that sum to zero to whole units that sum to zero, each within one unit.

    Every balance is rounded down, and what that takes too much is given back, one unit each, to the
    largest remainders, ties to the first. What stands is kept; where that leaves more or less to give than
    one unit for each of the others, these stray further.

    Parameters
    ----------
    balances : sequence of int
        Exact balances that sum to 0, shape (n,) [millionths of the currency]
    unit : int
        What the smallest coin is worth, >= 1 [millionths of the currency]
    standing : sequence of int or None
        What a balance was rounded to before and stays at, None where it is rounded now, shape (n,) or
        empty for none [smallest coins]

    Returns
    -------
    list of int
        Rounded balances that sum to 0, with nothing standing each less than one unit from its exact one
        [smallest coins]

    Raises
    ------
    ValueError
        If the balances do not sum to 0, the unit is not positive, `standing` has another length, or all
        stand and do not sum to 0.

    References
    ----------
    .. [1] Balinski, M. L. & Young, H. P. (2001), Fair Representation, 2nd ed., appendix A
       (Hamilton's method: quotas rounded down, the rest by largest remainder).
    """
    if unit < 1:
        raise ValueError(f"unit must be 1 or more, got {unit}")
    if sum(balances):
        raise ValueError(f"balances must sum to 0, got {sum(balances)}")
    kept = standing or [None] * len(balances)
    if len(kept) != len(balances):
        raise ValueError(f"standing must have {len(balances)} values or none, got {len(kept)}")
    rounded = [
        balance // unit if whole is None else whole for balance, whole in zip(balances, kept, strict=True)
    ]
    free = [number for number, whole in enumerate(kept) if whole is None]
    missing = -sum(rounded)
    if not free:
        if missing:
            raise ValueError(f"what stands must sum to 0, got {-missing}")
        return rounded
    for_each, left = divmod(missing, len(free))
    by_remainder = sorted(free, key=lambda number: -(balances[number] % unit))
    for place, number in enumerate(by_remainder):
        rounded[number] += for_each + (place < left)
    return rounded
