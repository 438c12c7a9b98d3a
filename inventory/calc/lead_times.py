"""How long a supplier takes: what it states, corrected by what it has shown."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from inventory.calc.ranges import as_not_negative, as_positive

# A stated lead time weighs as much as two deliveries, its spread as much as four: enough that one odd
# delivery does not overturn it, little enough that half a dozen do (a choice, no source).
PRIOR_DELIVERIES = 2.0
PRIOR_FREEDOM = 4.0


@dataclass(frozen=True)
class LearntLeadTime:
    """Mean and spread of the next delivery, and on how many it rests."""

    mean_days: float
    sd_days: float
    deliveries: int


def learn_lead_time(
    *, prior_mean_days: float, prior_sd_days: float, observed_days: Sequence[float] = ()
) -> LearntLeadTime:
    """Mean and standard deviation of the next lead time, normal with unknown mean and variance.

    Prior: normal-scaled-inverse-chi-squared with k0 = 2, v0 = 4, whose predictive has the stated mean m0 and
    deviation; s0^2 = sd^2 (v0 - 2) / v0 / (1 + 1 / k0). With n deliveries of mean x and variance s^2,
    k = k0 + n, v = v0 + n, m = (k0 m0 + n x) / k, v S^2 = v0 s0^2 + (n - 1) s^2 + k0 n (x - m0)^2 / k; the
    next one is Student-t about m with variance S^2 (1 + 1 / k) v / (v - 2). Without deliveries it is as
    stated.

    Parameters
    ----------
    prior_mean_days : float
        Stated lead time, >= 0 [d]
    prior_sd_days : float
        Stated spread, or what is taken for it, > 0 [d]
    observed_days : sequence of float of shape (n,)
        From sending to receipt, each >= 0 [d]

    Returns
    -------
    LearntLeadTime
        mean_days [d], sd_days [d], deliveries [1]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Gelman, A. et al., Bayesian Data Analysis, 3rd ed., section 3.3 (normal data with a conjugate
       prior).
    """
    stated = as_not_negative("prior_mean_days", prior_mean_days)
    spread = as_positive("prior_sd_days", prior_sd_days)
    days = np.array(
        [as_not_negative(f"observed_days[{number}]", value) for number, value in enumerate(observed_days)],
        dtype=np.float64,
    )
    weight, freedom = PRIOR_DELIVERIES + len(days), PRIOR_FREEDOM + len(days)
    squares = spread**2 * (PRIOR_FREEDOM - 2) / (1 + 1 / PRIOR_DELIVERIES)
    mean = stated
    if len(days):
        shown = float(days.mean())
        mean = (PRIOR_DELIVERIES * stated + len(days) * shown) / weight
        squares += float(((days - shown) ** 2).sum())
        squares += PRIOR_DELIVERIES * len(days) / weight * (shown - stated) ** 2
    return LearntLeadTime(mean, sqrt(squares * (1 + 1 / weight) / (freedom - 2)), len(days))
