"""Looking back: which forecast would have done best, how far demand strays, what safety that takes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import CANDIDATES, forecast_paths
from inventory.calc.ranges import FloatArray, as_open_fraction

# A series' own errors count for as much as those of all series together once it has so many of them.
PRIOR_PERIODS = 50
COMBINED = "combined"
# Below so many series there is nothing to learn from the others.
LEAST_POOLED = 10
# The safety stock of a class is scaled by what looking back asks for, within these.
LEAST_FACTOR, MOST_FACTOR = 0.25, 6.0
HALVINGS = 24


@dataclass(frozen=True)
class BackTest:
    """Of many series: rate and method, and the rates known after every period, of the method chosen."""

    rates: FloatArray
    methods: npt.NDArray[np.object_]
    paths: FloatArray


def back_tested_rates(
    history: npt.ArrayLike,
    *,
    horizon: int = 4,
    methods: Sequence[str] = CANDIDATES,
    pool: npt.ArrayLike | None = None,
) -> BackTest:
    """Forecast each series by the method whose errors over the horizon would have been least so far.

    e_m is the mean square of (demand of the next h periods - h times the rate known before them) over the
    latter two thirds of the history, as a share of the series' own mean square. Since one short series tells
    little, it is drawn towards the mean of all series, (T e + 50 e_all) / (T + 50).

    Parameters
    ----------
    history : array_like
        As for `demand_pattern`, shape (n, periods) [units]
    horizon : int
        Periods h to look ahead, >= 1 [periods]
    methods : sequence of str
        Candidates, of those of `forecast_paths` [-]; where there are several, their mean ('combined') is one
    pool : array_like, optional
        All series of e_all, as `history`, shape (k, periods); the history itself where left out [units]

    Returns
    -------
    BackTest
        rates [units per period] and methods, shape (n,); paths, shape (n, periods) [units per period]

    Raises
    ------
    ValueError
        If the horizon is below 1 or the history is out of range.

    References
    ----------
    .. [1] Tashman, L. J. (2000), Out-of-sample tests of forecasting accuracy: an analysis and review,
       International Journal of Forecasting 16:437-450 (rolling origin).
    """
    if horizon < 1:
        raise ValueError(f"horizon must be 1 or more, got {horizon}")
    demand = np.asarray(history, dtype=np.float64)
    paths = _paths(demand, methods)
    names = list(paths)
    origins = np.arange(demand.shape[1] // 3, demand.shape[1] - horizon)
    chosen = np.zeros(len(demand), dtype=int)
    if len(names) > 1 and len(origins):
        errors, came = _errors(demand, paths, origins, horizon)
        if pool is not None:
            others = np.asarray(pool, dtype=np.float64)
            of_others, they_came = _errors(others, _paths(others, methods), origins, horizon)
            of_all = _mean_error(of_others, they_came)
        else:
            of_all = _mean_error(errors, came)
        chosen = np.argmin(len(origins) * errors + PRIOR_PERIODS * of_all, axis=0)
    best = paths[names[0]].copy()
    for number, method in enumerate(names[1:], start=1):
        best[chosen == number] = paths[method][chosen == number]
    return BackTest(best[:, -1], np.array(names, dtype=object)[chosen], best)


def _paths(demand: FloatArray, methods: Sequence[str]) -> dict[str, FloatArray]:
    paths = {method: forecast_paths(demand, method=method) for method in methods}
    if len(methods) > 1:
        paths[COMBINED] = np.mean(list(paths.values()), axis=0)
    return paths


def _errors(
    demand: FloatArray, paths: dict[str, FloatArray], origins: npt.NDArray[np.int_], horizon: int
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Errors by method and series, and which series had any demand to be wrong about."""
    total = np.cumsum(np.pad(np.nan_to_num(demand), ((0, 0), (1, 0))), axis=1)
    came = total[:, origins + horizon + 1] - total[:, origins + 1]
    scale = np.square(came).mean(axis=1)
    scale[scale == 0] = 1.0
    errors = [np.square(came - horizon * path[:, origins]).mean(axis=1) / scale for path in paths.values()]
    return np.stack(errors), came.any(axis=1)


def _mean_error(errors: FloatArray, came: npt.NDArray[np.bool_]) -> FloatArray:
    """By method, shape (methods, 1)."""
    return np.asarray(errors[:, came].mean(axis=1, keepdims=True) if came.any() else np.zeros((1, 1)))


def demand_spreads(history: npt.ArrayLike, *, pool: npt.ArrayLike | None = None) -> FloatArray:
    """Standard deviation of demand per period, told from the mean absolute deviation of each series.

    s = sqrt(pi / 2) mean |D - mean|, the standard deviation of a normal with that deviation: one odd period
    moves it less than it moves a sample variance. s^2 is then averaged with exp(a + b ln mean + v / 2), the
    power law fitted to all series by least squares of the logarithms with residual variance v; the law counts
    for four periods.

    Parameters
    ----------
    history : array_like
        As for `demand_pattern`, shape (n, periods) [units]
    pool : array_like, optional
        The series that the law is fitted to, as `history`; the history itself where left out [units]

    Returns
    -------
    ndarray
        Shape (n,); below 10 pooled series with any spread their own alone [units per sqrt(period)]

    Raises
    ------
    ValueError
        Never.

    References
    ----------
    .. [1] Geary, R. C. (1935), The ratio of the mean deviation to the standard deviation as a test of
       normality, Biometrika 27:310-332 (sqrt(2 / pi) for a normal).
    .. [2] Taylor, L. R. (1961), Aggregation, variance and the mean, Nature 189:732-735 (the power law).
    """
    mean, own, count = _deviations(np.asarray(history, dtype=np.float64))
    if pool is None:
        law = _law(mean, own)
    else:
        law = _law(*_deviations(np.asarray(pool, dtype=np.float64))[:2])
    if law is None:
        return np.sqrt(own)
    level, slope = law
    of_law = np.zeros_like(own)
    wanted = mean > 0
    of_law[wanted] = np.exp(level + slope * np.log(mean[wanted]))
    return np.asarray(np.sqrt((count * own + 4 * of_law) / (count + 4)))


def _deviations(demand: FloatArray) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int_]]:
    """Mean, variance told from the mean absolute deviation, and periods known, by series."""
    is_known = ~np.isnan(demand)
    count = is_known.sum(axis=1)
    filled = np.nan_to_num(demand)
    mean = filled.sum(axis=1) / np.maximum(count, 1)
    away = np.abs(filled - mean[:, np.newaxis]).sum(axis=1, where=is_known) / np.maximum(count, 1)
    return mean, np.pi / 2 * np.square(away), count


def _law(mean: FloatArray, own: FloatArray) -> tuple[float, float] | None:
    """a + v / 2 and b of the power law; None where too few series tell anything."""
    tells = (mean > 0) & (own > 0)
    if np.count_nonzero(tells) < LEAST_POOLED:
        return None
    size, spread = np.log(mean[tells]), np.log(own[tells])
    centred = size - size.mean()
    among = float(np.square(centred).sum())
    slope = float((centred * spread).sum()) / among if among > 0 else 1.0
    level = float(spread.mean()) - slope * float(size.mean())
    return level + float(np.var(spread - level - slope * size)) / 2, slope


def safety_factor(
    *,
    needed: npt.ArrayLike,
    needed_before: npt.ArrayLike,
    levels: npt.ArrayLike,
    safety: npt.ArrayLike,
    fill_rate: float,
    is_whole: bool = False,
    weights: npt.ArrayLike = 1.0,
) -> float:
    """By how much safety stocks must be multiplied so that looking back reaches the fill rate.

    With levels S = m + f s the share filled in the last period before the next order comes is
    1 - sum w [(D - S)+ - (D' - S)+] / sum w (D - D'), D the demand until then and D' that up to the period
    before. It rises with f.

    Parameters
    ----------
    needed, needed_before : array_like
        D and D' as they came, of all series and periods looked back on, shape (k,) [units]
    levels, safety : array_like
        Mean m foreseen at the time and safety stock s as it was reckoned, shape (k,) [units]
    fill_rate : float
        Share wanted, between 0 and 1 [1]
    is_whole : bool
        Whether levels are rounded up to whole pieces
    weights : array_like
        What a unit counts for, > 0, shape (k,) or a number [1 per unit]

    Returns
    -------
    float
        f, from 0.25 to 6; 1 where nothing was demanded [1]

    Raises
    ------
    ValueError
        If the fill rate is out of range.

    References
    ----------
    .. [1] Bisection of an empirical fill rate; Snyder, L. V. & Shen, Z.-J. M. (2019), Fundamentals of Supply
       Chain Theory, 2nd ed., section 5.3.2 (type-2 service).
    """
    target = float(as_open_fraction("fill_rate", fill_rate))
    whole, before = np.asarray(needed, dtype=np.float64), np.asarray(needed_before, dtype=np.float64)
    base, extra = np.asarray(levels, dtype=np.float64), np.asarray(safety, dtype=np.float64)
    counts = np.asarray(weights, dtype=np.float64)
    total = float(np.sum(counts * (whole - before)))
    if total <= 0:
        return 1.0
    low, high = LEAST_FACTOR, MOST_FACTOR
    for _ in range(HALVINGS):
        factor = (low + high) / 2
        level = base + factor * extra
        level = np.ceil(level - 1e-9) if is_whole else level
        missed = np.maximum(whole - level, 0.0) - np.maximum(before - level, 0.0)
        if 1 - float(np.sum(counts * missed)) / total < target:
            low = factor
        else:
            high = factor
    return high
