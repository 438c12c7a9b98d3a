"""How much cable a run takes."""

import math
from collections.abc import Sequence


def cable_length_m(
    *,
    span_lengths_m: Sequence[float],
    slack_m: Sequence[float] = (),
    tails_m: Sequence[float] = (),
    allowance_fraction: float = 0.0,
) -> float:
    """Length of cable for a run in one piece, (spans + slack + tails) (1 + allowance).

    Any one unit of length may stand for the metre.

    Parameters
    ----------
    span_lengths_m : sequence of float
        Lengths of the run's spans, each > 0 [m]
    slack_m : sequence of float
        Slack loops and vault perimeter shares, each >= 0 [m]
    tails_m : sequence of float
        Tails at the ends, each >= 0 [m]
    allowance_fraction : float
        Allowance on all of it, >= 0 [-]

    Returns
    -------
    float
        Length to be cut [m]

    Raises
    ------
    ValueError
        If there is no span or a value is out of range.

    References
    ----------
    .. [1] MIL-HDBK-1012/3, outside plant estimating: slack coils in manholes and a share of the manhole's
       perimeter are added to the route.
    """
    if not span_lengths_m:
        raise ValueError("span_lengths_m must name at least one span")
    if not all(0 < length < math.inf for length in span_lengths_m):
        raise ValueError("span_lengths_m must all be above 0")
    if not all(0 <= length < math.inf for length in slack_m):
        raise ValueError("slack_m must all be at least 0")
    if not all(0 <= length < math.inf for length in tails_m):
        raise ValueError("tails_m must all be at least 0")
    if not 0 <= allowance_fraction < math.inf:
        raise ValueError(f"allowance_fraction must be at least 0, not {allowance_fraction:g}")
    return math.fsum([*span_lengths_m, *slack_m, *tails_m]) * (1 + allowance_fraction)
