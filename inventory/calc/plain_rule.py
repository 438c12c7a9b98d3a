"""The plain rule that the policy is held against, and the safety factor with which it would serve as well."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from inventory.calc.ranges import FloatArray
from inventory.calc.replayed_stock import ReplayResult

HALVINGS = 14
LOWEST_FACTOR, HIGHEST_FACTOR = -1.0, 14.0
Sizes = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class PlainRule:
    """Reorder at mean demand so far over lead time and review plus a safety factor times its deviation.

    `known` gives the history known after a period, shape (n, periods), NaN before a series began; `span` lead
    time and review as known then, shape (n,) [periods]; `sizes` order quantities for rates per period. The
    factor is a number or one for each series.
    """

    known: Callable[[int], FloatArray]
    span: Callable[[int], FloatArray]
    factor: FloatArray | float
    is_whole: npt.NDArray[np.bool_]
    sizes: Sizes
    _seen: dict[int, tuple[FloatArray, FloatArray, FloatArray]] = field(default_factory=dict)

    def __call__(self, period: int) -> tuple[FloatArray, FloatArray]:
        if period not in self._seen:
            self._seen[period] = self._look(period)
        mean, spread, size = self._seen[period]
        level = mean + self.factor * spread
        # Pieces are ordered when the position is below the level: at or below the last piece under it.
        return np.where(self.is_whole, np.ceil(level - 1e-9) - 1, level), size

    def with_factor(self, factor: FloatArray | float) -> "PlainRule":
        """The same with another factor; what was known is not reckoned again."""
        return replace(self, factor=factor)

    def _look(self, period: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        known, span = self.known(period), self.span(period)
        count = np.maximum((~np.isnan(known)).sum(axis=1), 1)
        filled = np.nan_to_num(known)
        mean = filled.sum(axis=1) / count
        away = np.square(filled - mean[:, np.newaxis]).sum(axis=1, where=~np.isnan(known))
        return mean * span, np.sqrt(away / np.maximum(count - 1, 1) * span), self.sizes(mean)


def factor_of_equal_service(
    run: Callable[[FloatArray], ReplayResult],
    *,
    groups: npt.NDArray[np.int_],
    service: FloatArray,
    weights: FloatArray | float = 1.0,
) -> FloatArray:
    """The least safety factor for each group with which a rule fills as much as was filled otherwise.

    The stretch from -1 to 14 is halved fourteen times for all groups at once: no series touches another.

    Parameters
    ----------
    run : callable
        The result of the rule with a factor for each series, shape (n,) [1]
    groups : ndarray
        Group of each series, 0 to k - 1, shape (n,) [-]
    service : ndarray
        Share to be filled in each group, shape (k,) [1]
    weights : array_like
        What a unit counts for, shape (n,) or a number [1 per unit]

    Returns
    -------
    ndarray
        Shape (k,); 14 where not even that fills as much [1]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] Bisection; what is filled does not fall as the factor grows.
    """
    low, high = np.full(len(service), LOWEST_FACTOR), np.full(len(service), HIGHEST_FACTOR)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        found = run(middle[groups])
        rates = np.array([found.fill_rate(groups == group, weights) for group in range(len(service))])
        is_enough = rates >= service - 1e-9
        low, high = np.where(is_enough, low, middle), np.where(is_enough, middle, high)
    return high
