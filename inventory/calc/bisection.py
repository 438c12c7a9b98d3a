"""Searches that cannot fail on a monotonic question, over whole arrays at once."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from inventory.calc.ranges import FloatArray, Numbers

# A level reaches a chance when it misses it by no more than the rounding of the sums involved: ten times 0.1
# must reach 1, and 8 of them 0.8.
ROUNDING = 1e-9
# Two numbers this close, as a share of the bracket's ends, are neighbours.
RESOLUTION = 1e-14
# Halving the widest bracket of doubles this often leaves neighbouring numbers.
MOST_HALVINGS = 2100


def reaches(chance: Numbers, wanted: Numbers) -> npt.NDArray[np.bool_]:
    """Whether a chance comes up to the wanted one, rounding forgiven."""
    return np.asarray(1 - chance <= (1 - wanted) * (1 + ROUNDING))


def least_whole(
    is_enough: Callable[[FloatArray], npt.NDArray[np.bool_]], *, low: FloatArray, high: FloatArray
) -> Numbers:
    """The least whole number that is enough, by doubling and halving.

    Parameters
    ----------
    is_enough : callable
        Of an array of whole numbers, same shape as low; false below the answer, true from there on
    low, high : ndarray
        Whole numbers; the answer is looked for above low, and beyond high where high is not enough [any unit]

    Returns
    -------
    float or ndarray
        The least whole number that is enough; a float for arrays without dimension [same unit]

    Raises
    ------
    ValueError
        If no number is enough.

    References
    ----------
    .. [1] Bisection; Press et al., Numerical Recipes, section 9.1.
    """
    low, high = low.copy(), np.maximum(high, low + 1)
    while not (found := is_enough(high)).all():
        if np.any(high[~found] > 1e300):
            raise ValueError("no level is enough")
        low, high = np.where(found, low, high), np.where(found, high, high + 2 * (high - low))
    while np.any(high - low > 1):
        middle = np.floor((low + high) / 2)
        # Beyond 2**53 whole numbers are no longer a step of 1 apart.
        if np.all((middle == low) | (middle == high)):
            break
        found = is_enough(middle)
        low, high = np.where(found, low, middle), np.where(found, middle, high)
    return high if high.ndim else float(high)


def root_between(
    rising: Callable[[FloatArray], Numbers],
    slope: Callable[[FloatArray], Numbers],
    *,
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Root of a rising function: Newton's step where it stays inside the bracket, halving where it does not.

    Parameters
    ----------
    rising, slope : callable
        The function and its derivative of an array, same shape as low
    low, high : ndarray
        The function is at most 0 at low and at least 0 at high [any unit]

    Returns
    -------
    ndarray
        Where the function crosses 0, to the last digits [same unit]

    Raises
    ------
    ValueError
        Never; the callers know their brackets.

    References
    ----------
    .. [1] Press et al., Numerical Recipes, section 9.4 (safe Newton).
    """
    low, high = low.astype(np.float64), high.astype(np.float64)
    here, last_step, step_before = (low + high) / 2, high - low, high - low
    negligible = RESOLUTION * np.maximum(np.abs(low), np.abs(high))
    is_found = np.zeros(here.shape, dtype=bool)
    for _ in range(MOST_HALVINGS):
        value = np.asarray(rising(here))
        low, high = np.where(value < 0, here, low), np.where(value < 0, high, here)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            newton = -value / np.asarray(slope(here))
        # Newton's step must stay inside, but for rounding, and halve the step before the last; or halving is
        # surer.
        target, rounding = here + newton, ROUNDING * (high - low)
        is_inside = (target >= low - rounding) & (target <= high + rounding)
        is_safe = is_inside & (np.abs(newton) <= step_before / 2)
        step = np.where(is_safe, np.clip(target, low, high), (low + high) / 2) - here
        # What is found stays put: more steps would only follow the rounding of the function.
        step = np.where(is_found | (value == 0), 0.0, step)
        here, last_step, step_before = here + step, np.abs(step), last_step
        is_found |= (np.abs(step) <= negligible) | (high - low <= negligible)
        if is_found.all():
            break
    return np.asarray(here)
