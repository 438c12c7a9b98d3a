"""How many projectiles clean the runs of a day."""

import math
from collections.abc import Sequence

import numpy as np


def count_projectiles(*, runs: int, passes: Sequence[float], quantile: float) -> int:
    """Projectiles that suffice for so many runs with the probability `quantile`.

    The smallest n with P(N_1 + ... + N_runs <= n) >= quantile, the N_i independent with
    P(N = i + 1) = passes[i]; the distribution of the sum is the convolution of the single ones.

    Parameters
    ----------
    runs : int
        Runs of one bore on the day, >= 0 [-]
    passes : sequence of float
        Probabilities of 1, 2, 3, ... projectiles for a run, each >= 0, their sum 1 [-]
    quantile : float
        Probability with which the projectiles suffice, 0 to 1 exclusive [-]

    Returns
    -------
    int
        Number of projectiles [-]

    Raises
    ------
    ValueError
        If a parameter is out of range or the probabilities do not add up to 1.

    References
    ----------
    .. [1] Grimmett and Stirzaker, "Probability and Random Processes", 3rd ed., 3.8: sums of random variables.
    """
    if runs < 0:
        raise ValueError(f"runs must be at least 0, not {runs}")
    if not passes or min(passes) < 0 or not math.isclose(math.fsum(passes), 1.0, abs_tol=1e-9):
        raise ValueError("passes must be probabilities that add up to 1")
    if not 0 < quantile < 1:
        raise ValueError(f"quantile must be between 0 and 1, not {quantile:g}")
    total = np.ones(1)
    for _ in range(runs):
        total = np.convolve(total, np.asarray(passes, dtype=np.float64))
    # Rounding in the sum must not push an exact hit to the next count.
    above = int(np.searchsorted(np.cumsum(total), quantile * (1 - 1e-12)))
    return runs + above


def passes_moments(*, passes: Sequence[float]) -> tuple[float, float]:
    """Mean and variance of the projectiles that clean one run, sum i p_i and sum (i - mean)^2 p_i.

    Parameters
    ----------
    passes : sequence of float
        Probabilities of 1, 2, 3, ... projectiles for a run, each >= 0, their sum 1 [-]

    Returns
    -------
    tuple of float
        Mean [-] and variance [-]

    Raises
    ------
    ValueError
        If the probabilities do not add up to 1.

    References
    ----------
    .. [1] Grimmett and Stirzaker, "Probability and Random Processes", 3rd ed., 3.3: expectation.
    """
    if not passes or min(passes) < 0 or not math.isclose(math.fsum(passes), 1.0, abs_tol=1e-9):
        raise ValueError("passes must be probabilities that add up to 1")
    mean = math.fsum(number * chance for number, chance in enumerate(passes, start=1))
    variance = math.fsum((number - mean) ** 2 * chance for number, chance in enumerate(passes, start=1))
    return mean, variance
