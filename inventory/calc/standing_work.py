"""Which of the planned uses of a material would stand if nothing more were ordered."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from inventory.calc.ranges import FloatArray, as_not_negative
from inventory.calc.shortage_chances import Arrivals, Receipt, exceeding_chance

# A use that lacks goods more likely than not stands, so it takes nothing and brings nothing back.
STANDS_ABOVE = 0.5


@dataclass(frozen=True)
class PlannedUse:
    """What one use takes on a day counted from 0, and what of it is back by each day, with variances.

    `back` and `back_variance` are cumulative, shape (days,) [units], [units^2].
    """

    day: int
    mean: float
    variance: float
    back: FloatArray
    back_variance: FloatArray

    def __add__(self, other: "PlannedUse") -> "PlannedUse":
        return PlannedUse(
            max(self.day, other.day),
            self.mean + other.mean,
            self.variance + other.variance,
            self.back + other.back,
            self.back_variance + other.back_variance,
        )


def standing_chances(
    *,
    on_hand: float,
    uses: Sequence[PlannedUse],
    other: FloatArray,
    other_variance: FloatArray,
    receipts: Sequence[Receipt],
    is_whole: bool,
) -> list[float]:
    """Chance that each use finds too little, P(uses served before + this + others > stock + receipts).

    Uses are served in the order given. One that lacks goods more likely than not stands: what is there is
    left for those behind it, and nothing of it comes back. What a use brings back serves no sooner than the
    next one.

    Parameters
    ----------
    on_hand : float
        Stock, >= 0 [units]
    uses : sequence of PlannedUse
        By day, then in order of rank [units]
    other, other_variance : ndarray
        What else is taken until each day, cumulative, shape (days,) [units], [units^2]
    receipts : sequence of Receipt
        What is to come; which series they name is left aside [units]
    is_whole : bool
        Whether there are pieces [-]

    Returns
    -------
    list of float
        One chance for each use [1]

    Raises
    ------
    ValueError
        If stock or a variance is negative.

    References
    ----------
    .. [1] The rule is this project's; the chances are those of `exceeding_chance`.
    """
    stock, days = float(as_not_negative("on_hand", on_hand)), len(other)
    arrivals = Arrivals.of([replace(receipt, series=0) for receipt in receipts], 1, days)
    cases = np.arange(len(arrivals.row))
    there, weights = stock + arrivals.brought(cases), arrivals.weights(cases)
    taken, variance = 0.0, 0.0
    back, back_variance = np.zeros(days), np.zeros(days)
    found = []
    for use in uses:
        spread = max(variance + use.variance + float(back_variance[use.day]), 0.0)
        chances = exceeding_chance(
            there=there[:, use.day],
            mean=np.full(len(there), taken + use.mean - back[use.day] + other[use.day]),
            variance=np.full(len(there), spread + other_variance[use.day]),
            is_whole=is_whole,
        )
        chance = float(chances @ weights[:, use.day])
        found.append(chance)
        if chance <= STANDS_ABOVE:
            taken, variance = taken + use.mean, variance + use.variance
            back, back_variance = back + use.back, back_variance + use.back_variance
    return found
