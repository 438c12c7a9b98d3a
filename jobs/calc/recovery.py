"""Recovered over injected: a ratio of two uncertain amounts, with an interval that is honest about both."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit


@dataclass(frozen=True)
class RatioInterval:
    """A ratio, its delta-method standard error and Fieller's interval; None where that has no finite ends."""

    ratio: float
    standard_error: float
    interval: tuple[float, float] | None

    @property
    def kind(self) -> str:
        return "unbounded" if self.interval is None else "finite"


def fieller_ratio(
    *, a: float, b: float, var_a: float, var_b: float, cov: float, critical: float
) -> RatioInterval:
    """Ratio a/b of two normal estimates, with Fieller's interval.

    The interval holds all R with (a - R b)^2 <= c^2 (var_a - 2 R cov + R^2 var_b): the roots of
    (b^2 - c^2 var_b) R^2 - 2 (a b - c^2 cov) R + a^2 - c^2 var_a = 0. Where g = c^2 var_b / b^2 reaches 1 the
    denominator may be zero and no finite interval exists.

    Parameters
    ----------
    a, b : float
        Numerator and denominator, b not 0 [any common unit u, or units of their own]
    var_a, var_b : float
        Their variances, >= 0 [u^2]
    cov : float
        Their covariance, cov^2 <= var_a var_b [u^2]
    critical : float
        Critical value c of the normal or t distribution, >= 0 [-]

    Returns
    -------
    RatioInterval
        Ratio, standard error sqrt(var_a - 2 R cov + R^2 var_b)/|b| and interval [-]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Fieller, E. C., "Some problems in interval estimation", Journal of the Royal Statistical Society
       B 16 (1954) 175-185.
    """
    _check_fieller(a, b, var_a, var_b, cov, critical)
    ratio = a / b
    spread = max(0.0, var_a - 2 * ratio * cov + ratio**2 * var_b)
    squared = critical**2
    leading = b**2 - squared * var_b
    interval = None
    if leading > 0:
        middle = a * b - squared * cov
        # The discriminant written without the difference of large squares; it is positive whenever leading
        # is.
        free = b**2 * spread - squared * (var_a * var_b - cov**2)
        width = critical * math.sqrt(max(0.0, free))
        interval = ((middle - width) / leading, (middle + width) / leading)
    return RatioInterval(ratio=ratio, standard_error=math.sqrt(spread) / abs(b), interval=interval)


def recovery_ratio(
    *, injected: Sequence[float], recovered: Sequence[float], confidence: float
) -> RatioInterval:
    """Recovered over injected from paired readings: the ratio of the totals, with Fieller's interval.

    The means' variances and covariance are those of the sample over n; the critical value is Student's t with
    n - 1 degrees of freedom.

    Parameters
    ----------
    injected : sequence of float (n,)
        Amounts injected, each > 0, two or more [any unit of volume u]
    recovered : sequence of float (n,)
        Amounts that came back, each >= 0 [u]
    confidence : float
        Confidence of the interval, 0 to 1 exclusive [-]

    Returns
    -------
    RatioInterval
        Ratio of the totals, its standard error and interval [-]

    Raises
    ------
    ValueError
        If the lists differ in length, have fewer than two readings or a value is out of range.

    References
    ----------
    .. [1] Cochran, W. G., "Sampling Techniques", 3rd ed., ch. 6: the ratio estimate and its variance.
    .. [2] Fieller, E. C., "Some problems in interval estimation", Journal of the Royal Statistical Society
       B 16 (1954) 175-185.
    """
    x, y = np.asarray(injected, dtype=np.float64), np.asarray(recovered, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2:
        raise ValueError("injected must hold at least two readings; one does not show how they scatter")
    if y.shape != x.shape:
        raise ValueError(f"recovered must have as many readings as injected, {len(x)}, not {y.size}")
    if not np.all(np.isfinite(x) & (x > 0)):
        raise ValueError("injected must be above 0 in every reading")
    if not np.all(np.isfinite(y) & (y >= 0)):
        raise ValueError("recovered must be at least 0 in every reading")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, not {confidence:g}")
    covariance = np.cov(y, x) / len(x)
    return fieller_ratio(
        a=float(y.mean()),
        b=float(x.mean()),
        var_a=float(covariance[0, 0]),
        var_b=float(covariance[1, 1]),
        cov=float(covariance[0, 1]),
        critical=float(stdtrit(len(x) - 1, (1 + confidence) / 2)),
    )


def _check_fieller(a: float, b: float, var_a: float, var_b: float, cov: float, critical: float) -> None:
    if not math.isfinite(a):
        raise ValueError("a must be finite")
    if not math.isfinite(b) or b == 0:
        raise ValueError("b must not be 0: nothing can be divided by it")
    for name, variance in (("var_a", var_a), ("var_b", var_b)):
        if not 0 <= variance < math.inf:
            raise ValueError(f"{name} must be at least 0, not {variance:g}")
    # Readings on one line make the bound an equality, up to rounding.
    if not cov**2 <= var_a * var_b * (1 + 1e-9):
        raise ValueError(f"cov must be at most sqrt(var_a var_b) in size, not {cov:g}")
    if not 0 <= critical < math.inf:
        raise ValueError(f"critical must be at least 0, not {critical:g}")
