"""A stock day by day: what known needs take, what comes back, and the risk of not having enough."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

FloatArray = NDArray[np.float64]


def projected_levels(*, on_hand: float, outflow: ArrayLike, inflow: ArrayLike) -> FloatArray:
    """Mean stock at the end of each day, `level_t = on_hand + sum_{s<=t} inflow_s - sum_{s<=t} outflow_s`.

    Parameters
    ----------
    on_hand : float
        Stock before the first day, >= 0 [any unit u]
    outflow : array_like, shape (days,)
        Mean taken on each day, >= 0 [u]
    inflow : array_like, shape (days,)
        Mean that comes back or in on each day, >= 0; usable from that day on [u]

    Returns
    -------
    ndarray, shape (days,)
        Mean stock after each day; negative where it does not suffice [u]

    Raises
    ------
    ValueError
        If a parameter is negative or the shapes differ.

    References
    ----------
    .. [1] Conservation of stock; Silver, Pyke, Peterson, Inventory Management and Production Planning and
       Scheduling, 3rd ed., 1998, section 15.2 (the netting of time-phased requirements).
    """
    taken, brought = _days(outflow=outflow, inflow=inflow)
    if on_hand < 0:
        raise ValueError(f"on_hand is {on_hand}; it must not be negative")
    return np.asarray(on_hand + np.cumsum(brought - taken), dtype=float)


def chance_of_shortage(*, levels: ArrayLike, variances: ArrayLike, step: float = 0.0) -> FloatArray:
    """Probability that stock falls below nothing, `Phi((-step/2 - level_t) / sqrt(var_t))`.

    Goods counted in pieces are short from one whole piece on; `step` then brings the normal
    approximation its continuity correction.

    Parameters
    ----------
    levels : array_like, shape (days,)
        Mean stock after each day [any unit u]
    variances : array_like, shape (days,)
        Variance of all needs and returns up to each day, >= 0 [u^2]
    step : float
        Smallest amount that counts: 1 for pieces, 0 for what can be divided, >= 0 [u]

    Returns
    -------
    ndarray, shape (days,)
        Probability, normal approximation; 0 or 1 where nothing is uncertain, 0 at a level of exactly
        nothing [-]

    Raises
    ------
    ValueError
        If a variance or the step is negative or the shapes differ.

    References
    ----------
    .. [1] Sum of independent demands, central limit theorem; NIST/SEMATECH e-Handbook of Statistical
       Methods, section 1.3.6.6.1 (normal distribution) and, for the correction, section 1.3.6.6.18
       (normal approximation of the binomial).
    """
    level, variance = _moments(levels, variances, step)
    sd = np.sqrt(variance)
    certain = sd == 0
    ratio = np.divide(-step / 2 - level, sd, out=np.zeros_like(level), where=~certain)
    return np.where(certain, (level < 0).astype(float), stats.norm.cdf(ratio))


def cover_needed(*, levels: ArrayLike, variances: ArrayLike, service: float, step: float = 0.0) -> FloatArray:
    """Stock lacking on each day for the wanted service, `max(0, z sqrt(var_t) - step/2 - level_t)`.

    Parameters
    ----------
    levels : array_like, shape (days,)
        Mean stock after each day [any unit u]
    variances : array_like, shape (days,)
        Variance of all needs and returns up to each day, >= 0 [u^2]
    service : float
        Wanted probability of not running short, 0.5 <= service < 1 [-]
    step : float
        Smallest amount that counts: 1 for pieces, 0 for what can be divided, >= 0 [u]

    Returns
    -------
    ndarray, shape (days,)
        What more would have to be there by each day [u]

    Raises
    ------
    ValueError
        If the service is out of range, a variance or the step is negative, or the shapes differ.

    References
    ----------
    .. [1] Silver, Pyke, Peterson, Inventory Management and Production Planning and Scheduling, 3rd ed.,
       1998, section 7.4 (safety stock k sigma for a specified probability of no stockout).
    """
    if not 0.5 <= service < 1:
        raise ValueError(f"service is {service}; it must be at least 0.5 and below 1")
    level, variance = _moments(levels, variances, step)
    slack = np.where(variance > 0, step / 2, 0.0)
    return np.maximum(0.0, stats.norm.ppf(service) * np.sqrt(variance) - slack - level)


def _moments(levels: ArrayLike, variances: ArrayLike, step: float) -> tuple[FloatArray, FloatArray]:
    level, variance = np.asarray(levels, dtype=float), np.asarray(variances, dtype=float)
    if level.shape != variance.shape:
        raise ValueError(f"levels and variances differ in shape: {level.shape} and {variance.shape}")
    if np.any(variance < 0):
        raise ValueError("variances must not be negative")
    if step < 0:
        raise ValueError(f"step is {step}; it must not be negative")
    return level, variance


def _days(*, outflow: ArrayLike, inflow: ArrayLike) -> tuple[FloatArray, FloatArray]:
    taken, brought = np.asarray(outflow, dtype=float), np.asarray(inflow, dtype=float)
    if taken.shape != brought.shape or taken.ndim != 1:
        raise ValueError(f"outflow and inflow differ in shape: {taken.shape} and {brought.shape}")
    for name, values in (("outflow", taken), ("inflow", brought)):
        if np.any(values < 0) or not np.all(np.isfinite(values)):
            raise ValueError(f"{name} must be finite and not negative")
    return taken, brought
