"""How many fittings of each cable size a kit carries."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class FittingsNeed:
    """Fittings of one size and one role (pressure end or exit end), in pieces."""

    in_place: int
    spares: int


def count_fittings(*, spans: int, sets_in_use: int, loss_probability: float, quantile: float) -> FittingsNeed:
    """Fittings of one size and role for a crew-day: the most in place at one time, and spares for losses.

    in_place = min(sets_in_use, spans)
    spares = min(smallest k with P(X <= k) >= quantile, spans - in_place)
    with X ~ Binomial(spans, loss_probability)

    Each span uses a fitting of each role once. There is never more of them than one for every span.

    Parameters
    ----------
    spans : int
        Spans of that size on the day, >= 0 [-]
    sets_in_use : int
        Sets rigged at one time, >= 1 [-]
    loss_probability : float
        Probability that a fitting is lost or worn out in one use, 0 to 1 [-]
    quantile : float
        Probability with which the spares suffice, 0 to 1 exclusive [-]

    Returns
    -------
    FittingsNeed
        Numbers of fittings in place and spare [-]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Johnson, Kemp and Kotz, "Univariate Discrete Distributions", 3rd ed., ch. 3 (binomial).
    """
    if spans < 0:
        raise ValueError(f"spans must be at least 0, not {spans}")
    if sets_in_use < 1:
        raise ValueError(f"sets_in_use must be at least 1, not {sets_in_use}")
    if not 0 <= loss_probability <= 1:
        raise ValueError(f"loss_probability must be 0 to 1, not {loss_probability:g}")
    if not 0 < quantile < 1:
        raise ValueError(f"quantile must be between 0 and 1, not {quantile:g}")
    in_place = min(sets_in_use, spans)
    lost = _binomial_quantile(spans, loss_probability, quantile)
    return FittingsNeed(in_place=in_place, spares=min(lost, spans - in_place))


def _binomial_quantile(trials: int, probability: float, quantile: float) -> int:
    """Smallest count whose distribution function reaches the quantile."""
    if probability in (0, 1) or trials == 0:
        return trials if probability == 1 else 0
    below = 0.0
    for count in range(trials):
        below += math.exp(_log_binomial(trials, count, probability))
        # Rounding in the sum must not push an exact hit, such as 0.5 of a fair coin, to the next count.
        if below >= quantile * (1 - 1e-12):
            return count
    return trials


def _log_binomial(trials: int, count: int, probability: float) -> float:
    ways = math.lgamma(trials + 1) - math.lgamma(count + 1) - math.lgamma(trials - count + 1)
    return ways + count * math.log(probability) + (trials - count) * math.log1p(-probability)
