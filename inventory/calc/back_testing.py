"""Looking back: which forecast would have done best, and how far demand strays from it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.calc.demand_forecasts import CANDIDATES, demand_pattern, forecast_paths
from inventory.calc.ranges import FloatArray

# A series' own errors count for as much as those of all series together once it has so many of them.
PRIOR_PERIODS = 50
COMBINED = "combined"
# Below so many series there is nothing to learn from the others.
LEAST_POOLED = 10
# Periods beyond these no longer make a rate surer, since use changes.
MOST_SURE_PERIODS = 26
# A forecast from fewer periods than these would be a guess.
LEAST_FORESEEN_FROM = 4
AUTO, NO_FORECAST = "auto", "none"


@dataclass(frozen=True)
class BackTest:
    """Of many series: rate and method, and the rates known after every period, of the method chosen."""

    rates: FloatArray
    methods: npt.NDArray[np.object_]
    paths: FloatArray


@dataclass(frozen=True)
class ForeseenUse:
    """Of many series, shape (n,): rate, spread and error of the rate per period, method, class or None."""

    rates: FloatArray
    spreads: FloatArray
    errors: FloatArray
    methods: npt.NDArray[np.object_]
    classes: npt.NDArray[np.object_]


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
    return np.stack(errors), np.asarray(came.any(axis=1))


def _mean_error(errors: FloatArray, came: npt.NDArray[np.bool_]) -> FloatArray:
    """By method, shape (methods, 1)."""
    return np.asarray(errors[:, came].mean(axis=1, keepdims=True) if came.any() else np.zeros((1, 1)))


def demand_spreads(history: npt.ArrayLike, *, pool: npt.ArrayLike | None = None) -> FloatArray:
    """Standard deviation of demand per period, each series' own drawn to that of series of its size.

    s^2 with n - 1 is averaged with exp(a + b ln mean + v / 2), the power law fitted to all series by least
    squares of the logarithms with residual variance v; the law counts for four periods.

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
    .. [1] Taylor, L. R. (1961), Aggregation, variance and the mean, Nature 189:732-735 (the power law).
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
    """Mean, variance with n - 1, and periods known, by series."""
    is_known = ~np.isnan(demand)
    count = is_known.sum(axis=1)
    filled = np.nan_to_num(demand)
    mean = filled.sum(axis=1) / np.maximum(count, 1)
    away = np.square(filled - mean[:, np.newaxis]).sum(axis=1, where=is_known)
    return mean, away / np.maximum(count - 1, 1), count


def foresee_use(
    history: npt.ArrayLike,
    *,
    methods: Sequence[str] = CANDIDATES,
    pool: npt.ArrayLike | None = None,
    since_classed: int = 0,
) -> ForeseenUse:
    """What is foreseen of each series from all that is known of it: the live policy and its replay ask here.

    The error of a rate is s / sqrt(n), n the periods known, 26 at most, since use changes. A class stands for
    a while, so that no single demand moves a series between classes that are kept apart.

    Parameters
    ----------
    history : array_like
        As for `demand_pattern`, shape (n, periods) [units]
    methods, pool
        As for `back_tested_rates` [-], [units]
    since_classed : int
        Periods since classes were told, >= 0: they are told from what was known before them, or from all
        that is known where a series had no demand by then [periods]

    Returns
    -------
    ForeseenUse
        Shape (n,) [units per period], [units per sqrt(period)]

    Raises
    ------
    ValueError
        If the history is out of range.

    References
    ----------
    .. [1] As for `back_tested_rates`, `demand_spreads` and `demand_pattern`.
    """
    demand = np.asarray(history, dtype=np.float64)
    tested = back_tested_rates(demand, methods=methods, pool=pool)
    spreads = demand_spreads(demand, pool=pool)
    known = np.minimum((~np.isnan(demand)).sum(axis=1), MOST_SURE_PERIODS)
    errors = spreads / np.sqrt(np.maximum(known, 1))
    classes = demand_pattern(demand).classes
    if 0 < since_classed < demand.shape[1]:
        earlier = demand_pattern(demand[:, : demand.shape[1] - since_classed]).classes
        classes = np.where(earlier == None, classes, earlier)  # noqa: E711
    return ForeseenUse(tested.rates, spreads, errors, tested.methods, classes)


def foresee_by_method(
    history: npt.ArrayLike,
    *,
    methods: npt.NDArray[np.object_] | None = None,
    pool: npt.ArrayLike | None = None,
    since_classed: int = 0,
) -> ForeseenUse:
    """What is foreseen of each series by the method that is wanted for it.

    Parameters
    ----------
    history, pool, since_classed
        As for `foresee_use` [units], [periods]
    methods : ndarray, optional
        'auto' for what does best in looking back, 'none' for no forecast, or one of `forecast_paths`, shape
        (n,); 'auto' for all where left out [-]

    Returns
    -------
    ForeseenUse
        As there; nothing, and no class (''), where none is wanted or fewer than 4 periods are known [units
        per period], [units per sqrt(period)]

    Raises
    ------
    ValueError
        If the history is out of range or there is no such method.

    References
    ----------
    .. [1] As for `foresee_use`.
    """
    demand = np.asarray(history, dtype=np.float64)
    count = len(demand)
    rates, spreads, errors = np.zeros(count), np.zeros(count), np.zeros(count)
    chosen, classes = np.full(count, "", dtype=object), np.full(count, "", dtype=object)
    wanted = np.full(count, AUTO, dtype=object) if methods is None else methods
    is_known = ((~np.isnan(demand)).sum(axis=1) >= LEAST_FORESEEN_FROM) & (wanted != NO_FORECAST)
    for method in sorted(set(wanted[is_known])):
        rows = np.flatnonzero(is_known & (wanted == method))
        use = foresee_use(
            demand[rows],
            methods=CANDIDATES if method == AUTO else (method,),
            pool=demand if pool is None else pool,
            since_classed=since_classed,
        )
        rates[rows], spreads[rows], errors[rows] = use.rates, use.spreads, use.errors
        chosen[rows], classes[rows] = use.methods, np.where(use.classes == None, "", use.classes)  # noqa: E711
    return ForeseenUse(rates, spreads, errors, chosen, classes)


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
