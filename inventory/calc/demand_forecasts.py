"""Forecasts of demand that comes now and then, over many series at once.

A history is one row per series, oldest first. A series younger than the others begins with NaN: periods in
which the material did not exist yet, which count for nothing.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from inventory.calc.ranges import FloatArray

CROSTON, SBA, TSB, AUTO = "croston", "sba", "tsb", "auto"
METHODS = (CROSTON, SBA, TSB, AUTO)
AVERAGE = "average"
CANDIDATES = (CROSTON, SBA, TSB, AVERAGE)
# A year of weeks: long enough to be steady, short enough to forget.
AVERAGED_PERIODS = 52
SMOOTH, INTERMITTENT, ERRATIC, LUMPY = "smooth", "intermittent", "erratic", "lumpy"
CLASSES = (SMOOTH, INTERMITTENT, ERRATIC, LUMPY)
INTERVAL_LIMIT = 1.32
SQUARED_CV_LIMIT = 0.49


@dataclass(frozen=True)
class DemandPattern:
    """How often and how evenly demand comes, by series: arrays of shape (n,), NaN where it cannot be told."""

    average_interval: FloatArray
    squared_cv: FloatArray

    @property
    def classes(self) -> npt.NDArray[np.object_]:
        """The class of each series; None where nothing was ever wanted."""
        is_rare = self.average_interval > INTERVAL_LIMIT
        # One demand says nothing of its spread; NaN compares as not above the limit.
        is_uneven = self.squared_cv > SQUARED_CV_LIMIT
        names = np.where(
            is_rare, np.where(is_uneven, LUMPY, INTERMITTENT), np.where(is_uneven, ERRATIC, SMOOTH)
        ).astype(object)
        names[np.isnan(self.average_interval)] = None
        return cast("npt.NDArray[np.object_]", names)


@dataclass(frozen=True)
class DemandForecast:
    """One series: what to expect per period, by which method, and the pattern it was told from."""

    per_period: float
    method: str
    demand_class: str | None
    average_interval: float | None
    squared_cv: float | None


def demand_pattern(history: npt.ArrayLike) -> DemandPattern:
    """Average interval and squared coefficient of variation of each series.

    ADI = (periods from the first demand on) / (periods with demand); CV^2 = s^2 / mean^2 of the demands that
    are not zero, s^2 with n - 1. Strictly above 1.32 or 0.49 a series is intermittent or erratic, above both
    lumpy.

    Parameters
    ----------
    history : array_like
        Demand >= 0 by series and period, shape (n, periods), leading NaN where there was no such material
        yet [units]

    Returns
    -------
    DemandPattern
        average_interval [periods] and squared_cv [1], shape (n,); NaN without demand, squared_cv with one

    Raises
    ------
    ValueError
        If history is empty, negative, or not a number after its first.

    References
    ----------
    .. [1] Syntetos, A. A., Boylan, J. E. & Croston, J. D. (2005), On the categorization of demand patterns,
       Journal of the Operational Research Society 56:495-503.
    """
    demand = np.nan_to_num(_checked(history), nan=0.0)
    is_wanted = demand > 0
    count = is_wanted.sum(axis=1)
    first = np.argmax(is_wanted, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        interval = np.where(count > 0, (demand.shape[1] - first) / count, np.nan)
        mean = demand.sum(axis=1) / count
        deviations = np.where(is_wanted, demand - mean[:, np.newaxis], 0.0)
        variance = np.square(deviations).sum(axis=1) / (count - 1)
        squared_cv = np.where(count > 1, variance / np.square(mean), np.nan)
    return DemandPattern(interval, squared_cv)


def croston_rates(history: npt.ArrayLike, *, smoothing: float = 0.1) -> FloatArray:
    """Croston's rate per period: smoothed demand size over smoothed interval.

    z and p begin at the first demand and its position (counted from 1) and move by smoothing * (new - old)
    with each demand and the periods since the one before; the rate is z / p.

    Parameters
    ----------
    history : array_like
        As for `demand_pattern`, shape (n, periods) [units]
    smoothing : float
        Share of the newest, 0 < smoothing <= 1 [1]

    Returns
    -------
    ndarray
        Rates, shape (n,); 0 for a series without demand [units per period]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Croston, J. D. (1972), Forecasting and stock control for intermittent demands, Operational Research
       Quarterly 23(3):289-303. First size and first interval as in statsforecast.
    """
    demand = _checked(history)
    states = _croston_states(demand, _smoothing("smoothing", smoothing))
    return _rate(*deque(states, maxlen=1).pop())


def sba_rates(history: npt.ArrayLike, *, smoothing: float = 0.1) -> FloatArray:
    """Croston's rate with the bias of Syntetos and Boylan taken off, (1 - smoothing / 2) z / p.

    Parameters
    ----------
    history, smoothing
        As for `croston_rates` [units], [1]

    Returns
    -------
    ndarray
        Rates, shape (n,) [units per period]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Syntetos, A. A. & Boylan, J. E. (2005), The accuracy of intermittent demand estimates,
       International Journal of Forecasting 21:303-314.
    """
    return (1 - smoothing / 2) * croston_rates(history, smoothing=smoothing)


def tsb_rates(
    history: npt.ArrayLike, *, smoothing: float = 0.1, probability_smoothing: float = 0.1
) -> FloatArray:
    """Rate of Teunter, Syntetos and Babai: smoothed chance of demand times smoothed size.

    The chance moves every period, so a material that nobody wants any more fades out; it begins at 1 or 0
    with the first period, the size with the first demand.

    Parameters
    ----------
    history, smoothing
        As for `croston_rates` [units], [1]
    probability_smoothing : float
        Share of the newest period in the chance, 0 < probability_smoothing <= 1 [1]

    Returns
    -------
    ndarray
        Rates, shape (n,) [units per period]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Teunter, R. H., Syntetos, A. A. & Babai, M. Z. (2011), Intermittent demand: linking forecasting to
       inventory obsolescence, European Journal of Operational Research 214:606-615.
    """
    share = _smoothing("smoothing", smoothing)
    chance_share = _smoothing("probability_smoothing", probability_smoothing)
    chance, size = deque(_tsb_states(_checked(history), share, chance_share), maxlen=1).pop()
    return chance * size


def forecast_paths(
    history: npt.ArrayLike, *, method: str, smoothing: float = 0.1, probability_smoothing: float = 0.1
) -> FloatArray:
    """What each method would have forecast after every period, knowing nothing of the later ones.

    Parameters
    ----------
    history, smoothing, probability_smoothing
        As for `tsb_rates` [units], [1], [1]
    method : str
        'croston', 'sba', 'tsb' or 'average', the plain mean of the last 52 periods known

    Returns
    -------
    ndarray
        Rate known after each period, shape (n, periods); the last column is what the method's own function
        gives [units per period]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] As for `croston_rates`, `sba_rates`, `tsb_rates`.
    """
    if method not in CANDIDATES:
        raise ValueError(f"method must be one of {', '.join(CANDIDATES)}, got {method!r}")
    demand = _checked(history)
    if method == AVERAGE:
        return _moving_averages(demand)
    paths, share = np.empty_like(demand), _smoothing("smoothing", smoothing)
    if method == TSB:
        chance_share = _smoothing("probability_smoothing", probability_smoothing)
        for period, (chance, size) in enumerate(_tsb_states(demand, share, chance_share)):
            paths[:, period] = chance * size
        return paths
    for period, (size, interval) in enumerate(_croston_states(demand, share)):
        paths[:, period] = _rate(size, interval)
    return paths * (1 - share / 2) if method == SBA else paths


def forecast_rates(
    history: npt.ArrayLike, *, method: str, smoothing: float = 0.1, probability_smoothing: float = 0.1
) -> tuple[FloatArray, npt.NDArray[np.object_]]:
    """Rates of many series and the method each was forecast by.

    'auto' takes Croston for smooth series, whose intervals are nearly certain, and the unbiased SBA for the
    rest, as the classes were drawn to do.

    Parameters
    ----------
    history, smoothing, probability_smoothing
        As for `tsb_rates` [units], [1], [1]
    method : str
        'croston', 'sba', 'tsb' or 'auto'

    Returns
    -------
    tuple of ndarray
        Rates [units per period] and methods, shape (n,)

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Syntetos, A. A., Boylan, J. E. & Croston, J. D. (2005), On the categorization of demand patterns,
       Journal of the Operational Research Society 56:495-503.
    """
    if method not in METHODS:
        raise ValueError(f"method must be one of {', '.join(METHODS)}, got {method!r}")
    demand = _checked(history)
    methods = np.full(len(demand), method, dtype=object)
    if method == TSB:
        rates = tsb_rates(demand, smoothing=smoothing, probability_smoothing=probability_smoothing)
        return rates, methods
    if method == AUTO:
        methods = np.where(demand_pattern(demand).classes == SMOOTH, CROSTON, SBA).astype(object)
    rates = croston_rates(demand, smoothing=smoothing)
    return np.where(methods == SBA, (1 - smoothing / 2) * rates, rates), methods


def demand_forecast(
    *, history: npt.ArrayLike, method: str, smoothing: float = 0.1, probability_smoothing: float = 0.1
) -> DemandForecast:
    """Forecast of one series, with its class.

    Parameters
    ----------
    history : array_like
        Demand >= 0 by period, oldest first, shape (periods,) [units]
    method, smoothing, probability_smoothing
        As for `forecast_rates` [1]

    Returns
    -------
    DemandForecast
        per_period [units per period], average_interval [periods], squared_cv [1]; None where the history is
        too short of demands to tell

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] As for `forecast_rates`, `croston_rates`, `sba_rates`, `tsb_rates`.
    """
    row = np.array(history, dtype=np.float64).reshape(1, -1)
    if np.isnan(row).any():
        raise ValueError("history must be numbers throughout")
    rates, methods = forecast_rates(
        row, method=method, smoothing=smoothing, probability_smoothing=probability_smoothing
    )
    pattern = demand_pattern(row)
    return DemandForecast(
        per_period=float(rates[0]),
        method=methods[0],
        demand_class=pattern.classes[0],
        average_interval=_known(pattern.average_interval[0]),
        squared_cv=_known(pattern.squared_cv[0]),
    )


def _croston_states(demand: FloatArray, share: float) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Size and interval after each period; the same two arrays, moved on."""
    size, interval, since = np.zeros(len(demand)), np.zeros(len(demand)), np.ones(len(demand))
    has_begun = np.zeros(len(demand), dtype=bool)
    for wanted in np.ascontiguousarray(demand.T):
        comes = wanted > 0
        weight = _weights(comes, has_begun, share)
        size += weight * (np.where(comes, wanted, 0.0) - size)
        interval += weight * (since - interval)
        has_begun |= comes
        since = np.where(comes, 1.0, since + ~np.isnan(wanted))
        yield size, interval


def _tsb_states(
    demand: FloatArray, share: float, chance_share: float
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Chance and size after each period; the same two arrays, moved on."""
    size, chance = np.zeros(len(demand)), np.zeros(len(demand))
    has_begun, is_known = np.zeros(len(demand), dtype=bool), np.zeros(len(demand), dtype=bool)
    for wanted in np.ascontiguousarray(demand.T):
        comes, exists = wanted > 0, ~np.isnan(wanted)
        size += _weights(comes, has_begun, share) * (np.where(comes, wanted, 0.0) - size)
        chance += _weights(exists, is_known, chance_share) * (comes - chance)
        has_begun |= comes
        is_known |= exists
        yield chance, size


def _rate(size: FloatArray, interval: FloatArray) -> FloatArray:
    """Nothing was ever wanted where no interval is known."""
    return np.divide(size, interval, out=np.zeros(len(size)), where=interval > 0)


def _moving_averages(demand: FloatArray) -> FloatArray:
    """Mean of the last periods known, after each period; 0 before there are any."""
    zero = np.zeros((len(demand), 1))
    total = np.cumsum(np.concatenate((zero, np.nan_to_num(demand)), axis=1), axis=1)
    known = np.cumsum(np.concatenate((zero, ~np.isnan(demand)), axis=1), axis=1)
    last = np.arange(1, demand.shape[1] + 1)
    first = np.maximum(last - AVERAGED_PERIODS, 0)
    return np.asarray((total[:, last] - total[:, first]) / np.maximum(known[:, last] - known[:, first], 1))


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _smoothing(name: str, value: float) -> float:
    if not 0 < value <= 1:
        raise ValueError(f"{name} must be above 0 and at most 1, got {value:g}")
    return value


def _weights(comes: npt.NDArray[np.bool_], has_begun: npt.NDArray[np.bool_], share: float) -> FloatArray:
    """Weight of what comes in this period: a first value is taken whole, later ones by the share."""
    return np.where(comes, np.where(has_begun, share, 1.0), 0.0)


def _checked(history: npt.ArrayLike) -> FloatArray:
    demand = np.asarray(history, dtype=np.float64)
    if demand.ndim != 2 or not demand.shape[1]:
        raise ValueError("history must have at least one period")
    if np.any(demand < 0) or np.isinf(demand).any():
        raise ValueError("history must have no negative or infinite demand")
    missing = np.isnan(demand)
    if missing.any() and np.any(missing[:, 1:] & ~missing[:, :-1]):
        raise ValueError("history must have a number in every period after the first one known")
    return demand
