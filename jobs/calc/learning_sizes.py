"""What each size's readings say by themselves, and how far the sizes differ by the classical estimators."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jobs.calc.learning_grids import summarise_readings
from jobs.calc.learning_readings import Readings
from jobs.calc.pooling import dersimonian_laird_variance, paule_mandel_variance, reml_variance

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SizeEstimates:
    """The sizes that have readings, their own means and the sampling variances of those [-]."""

    sizes: NDArray[np.int64]
    estimates: Floats
    variances: Floats


def estimate_sizes(*, readings: Readings, within_variance: float) -> SizeEstimates:
    """Each size's mean by generalised least squares over single readings and shared totals, without pooling.

    theta = (X' W X)^-1 X' W y, W = 1 / (c sigma^2 + m); its variances are the diagonal of (X' W X)^-1.

    Parameters
    ----------
    readings : Readings
        Readings of `gather_readings`, ratios [-]
    within_variance : float
        Variance sigma^2 of the spans of one size, > 0 [-]

    Returns
    -------
    SizeEstimates
        Indices of the sizes that have readings [-], estimates [-] and variances [-] (sizes seen,)

    Raises
    ------
    ValueError
        If the variance is not above 0, or totals leave a difference of sizes open.

    References
    ----------
    .. [1] Searle, Casella and McCulloch, "Variance Components", ch. 6.
    """
    summary = summarise_readings(readings, np.array([within_variance]), 0.0)
    seen = np.flatnonzero(np.diagonal(summary.precisions[0]) > 0)
    precision = summary.precisions[0][np.ix_(seen, seen)]
    if len(seen) and np.linalg.cond(precision) > 1e10:
        raise ValueError("the totals never tell some of the sizes apart")
    covariance = np.linalg.inv(precision) if len(seen) else precision
    estimates: Floats = covariance @ summary.moments[0][seen]
    return SizeEstimates(seen.astype(np.int64), estimates, np.diagonal(covariance).copy())


def between_variances(*, readings: Readings, within_variance: float) -> dict[str, float]:
    """Between-size variance by DerSimonian and Laird, by Paule and Mandel and by restricted likelihood.

    The estimators of `jobs.calc.pooling` on the sizes' own means; shown beside the fit, whose own
    between-size variance is integrated and not a single value.

    Parameters
    ----------
    readings : Readings
        Readings of `gather_readings`, ratios [-]
    within_variance : float
        Variance sigma^2 of the spans of one size, > 0 [-]

    Returns
    -------
    dict
        Variances [-] by the estimator's name; empty where fewer than two sizes have readings

    Raises
    ------
    ValueError
        If the variance is not above 0.

    References
    ----------
    .. [1] Viechtbauer, W., "Bias and efficiency of meta-analytic variance estimators in the random-effects
       model", Journal of Educational and Behavioral Statistics 30 (2005) 261-293.
    """
    try:
        found = estimate_sizes(readings=readings, within_variance=within_variance)
    except ValueError:
        if not within_variance > 0:
            raise
        return {}
    if len(found.sizes) < 2:
        return {}
    y, v = found.estimates, found.variances
    return {
        "dersimonian_laird": dersimonian_laird_variance(estimates=y, variances=v),
        "paule_mandel": paule_mandel_variance(estimates=y, variances=v),
        "reml": reml_variance(estimates=y, variances=v),
    }
