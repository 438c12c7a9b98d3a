"""Reconciling measurements of one fluid with its conservation: weighted least squares and its tests.

The unmeasured streams are projected out of the balances by one orthogonal factorisation, the weighted
problem is solved by a second, so widely different uncertainties do no harm. Only where a network is large and
well conditioned are normal equations formed instead of the second, which is several times quicker.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import qr, solve_triangular
from scipy.linalg.lapack import dpocon, dpotrf
from scipy.special import chdtri, ndtri

Floats = NDArray[np.float64]
Correlation = tuple[int, int, float]

# Relative sizes below which a direction is rounding and not information.
RANK_TOLERANCE = 1e-9
REDUNDANCY_TOLERANCE = 1e-11
EXACT_TOLERANCE = 1e-13
CONTRADICTION_TOLERANCE = 1e-7
# Statistics that differ by less are a tie, which the order of the streams decides.
TIE_DECIMALS = 7
# From so many balances on, normal equations are tried, and taken where their reciprocal condition is above
# this: then they cost six digits of sixteen at most.
GRAM_FROM = 150
LEAST_RCOND = 1e-6


@dataclass(frozen=True)
class Reconciliation:
    """Reconciled streams and tests. All arrays are (streams,); what does not exist is nan.

    Attributes
    ----------
    reconciled, standard_uncertainty : array
        Best values and their standard uncertainties; nan for a stream the balances do not determine
    adjustment : array
        Reconciled less measured; nan for an unmeasured stream
    test_statistic : array
        |adjustment| over its standard deviation; nan where nothing else determines the stream
    global_statistic : float
        Weighted sum of squared adjustments, chi-square with `degrees_of_freedom`
    degrees_of_freedom : int
        Number of independent balances among measured streams
    critical_value : float
        Quantile of the chi-square distribution; nan without degrees of freedom
    is_consistent : bool
        Whether the global statistic is at most the critical value
    suspects : list of int
        Indices of streams whose own test fails, the largest statistic first
    """

    reconciled: Floats
    standard_uncertainty: Floats
    adjustment: Floats
    test_statistic: Floats
    global_statistic: float
    degrees_of_freedom: int
    critical_value: float
    is_consistent: bool
    suspects: list[int]


def reconcile(
    *,
    measured: ArrayLike,
    standard_uncertainty: ArrayLike,
    balances: ArrayLike,
    correlations: Sequence[Correlation] = (),
    confidence: float = 0.95,
) -> Reconciliation:
    """Adjust measured streams as little as their uncertainties ask so that every balance closes.

    Minimise (x - y)' S^-1 (x - y) subject to A x = 0 over measured x and free unmeasured streams. With the
    unmeasured projected out, G x = 0, r = G y: adjustment v = -S G' (G S G')^-1 r with covariance
    S G' (G S G')^-1 G S, global statistic r' (G S G')^-1 r ~ chi-square with rank(G) degrees of freedom,
    single statistics |v_i| / sd(v_i).

    A stream is suspect when its single statistic exceeds the two-sided normal quantile at the level
    1 - confidence^(1/m) for m tested streams; where the global test fails and no single one does, the
    largest.

    Parameters
    ----------
    measured : array_like (streams,)
        Measured amounts, nan for an unmeasured stream [any one unit u]
    standard_uncertainty : array_like (streams,)
        Standard uncertainties, >= 0, 0 for an exact amount; ignored for unmeasured streams [u]
    balances : array_like (balances, streams)
        Coefficients of the balances, each summing to 0 [-]
    correlations : sequence of (int, int, float)
        Pairs of measured streams and the correlation of their errors, -1 to 1 [-]
    confidence : float
        Confidence of the tests, 0 to 1 exclusive [-]

    Returns
    -------
    Reconciliation
        Arrays (streams,) in [u], statistics in [-]

    Raises
    ------
    ValueError
        If shapes differ, a value is out of range, the correlations contradict each other, or balances
        contradict amounts that are stated to be exact.

    References
    ----------
    .. [1] Narasimhan, S. and Jordache, C., "Data Reconciliation and Gross Error Detection", Gulf (2000),
       ch. 3 (projection of unmeasured variables) and 7 (global and measurement tests).
    .. [2] VDI 2048 Part 1, "Control and quality improvement of process data by means of correction
       calculation".
    .. [3] Mah, R. S. H. and Tamhane, A. C., "Detection of gross errors in process data", AIChE Journal 28
       (1982) 828-830: the level of the single tests.
    """
    y, sd, matrix = _check(measured, standard_uncertainty, balances, confidence)
    known, unknown = np.flatnonzero(~np.isnan(y)), np.flatnonzero(np.isnan(y))
    root = _Root(sd[known], _among(known, correlations))
    unmeasured = _Unmeasured(matrix[:, unknown])
    fit = _Fit(unmeasured.project(matrix[:, known]), y[known], root)
    found = _answer(y, known, fit, confidence)
    _fill_unmeasured(found, unknown, unmeasured, matrix[:, known], fit)
    return found


class _Root:
    """A square root L of the covariance, S = L L', kept as the sds and a factor for the correlated block."""

    def __init__(self, sd: Floats, correlations: Sequence[Correlation]) -> None:
        self.sd = sd
        self._block = np.unique([i for pair in correlations for i in pair[:2]]).astype(int)
        self._factor = _correlation_factor(self._block, correlations)

    def after(self, matrix: Floats) -> Floats:
        """matrix @ L"""
        scaled = matrix * self.sd
        if len(self._block):
            scaled[:, self._block] = scaled[:, self._block] @ self._factor
        return scaled

    def before(self, matrix: Floats) -> Floats:
        """L @ matrix"""
        turned = matrix.copy()
        if len(self._block):
            turned[self._block] = self._factor @ turned[self._block]
        return turned * self.sd[:, None]


def _correlation_factor(block: NDArray[np.int64], correlations: Sequence[Correlation]) -> Floats:
    place = {int(stream): index for index, stream in enumerate(block)}
    matrix = np.eye(len(block))
    for first, second, value in correlations:
        i, j = place[first], place[second]
        matrix[i, j] = matrix[j, i] = value
    values, vectors = np.linalg.eigh(matrix)
    if len(values) and values[0] < -1e-9:
        raise ValueError("correlations contradict each other: no set of errors has all of them at once")
    return np.asarray(vectors * np.sqrt(np.clip(values, 0, None)))


class _Unmeasured:
    """The unmeasured streams' part of the balances, factored to be projected out and to be solved for."""

    def __init__(self, matrix: Floats) -> None:
        # Balances that no unmeasured stream takes part in stay as they are.
        is_touched = np.any(matrix != 0, axis=1)
        self._is_empty = not is_touched.any()
        if self._is_empty:
            return
        self._touched, self._others = np.flatnonzero(is_touched), np.flatnonzero(~is_touched)
        self._q, triangle, self._order = qr(matrix[self._touched], pivoting=True)
        diagonal = np.abs(np.diag(triangle))
        self._rank = int((diagonal > RANK_TOLERANCE * max(diagonal[0], 1e-300)).sum()) if diagonal.size else 0
        self._basic = triangle[: self._rank, : self._rank]
        self._free = triangle[: self._rank, self._rank :]

    def project(self, matrix: Floats) -> Floats:
        """The balances that remain among measured streams when the unmeasured ones are free."""
        if self._is_empty:
            return matrix
        return np.vstack([matrix[self._others], self._q[:, self._rank :].T @ matrix[self._touched]])

    def solve(self, matrix: Floats) -> tuple[NDArray[np.int64], Floats]:
        """The unmeasured streams that are determined, and their coefficients on the measured ones."""
        if self._is_empty or self._rank == 0:
            return np.array([], dtype=np.int64), np.empty((0, matrix.shape[1]))
        turned = self._q[:, : self._rank].T @ matrix[self._touched]
        coefficients = -solve_triangular(self._basic, turned)
        ties = np.abs(solve_triangular(self._basic, self._free)) if self._free.shape[1] else np.zeros((1, 1))
        is_determined = np.broadcast_to(ties.max(axis=1) <= RANK_TOLERANCE, (self._rank,))
        return self._order[: self._rank][is_determined], coefficients[is_determined]


class _Fit:
    """The weighted problem among measured streams: adjustments, and a basis of what was adjusted."""

    def __init__(self, balances: Floats, y: Floats, root: _Root) -> None:
        self._root = root
        self.basis, scores = _factor_gram(balances, y, root) or _factor_rows(balances, y, root)
        self.rooted_basis = root.before(self.basis)
        self.adjustment = -self.rooted_basis @ scores
        self.value = y + self.adjustment
        self.adjustment_variance = (self.rooted_basis**2).sum(axis=1)
        self.statistic = float(scores @ scores)
        self.rank = self.basis.shape[1]

    def variance_of(self, coefficients: Floats) -> Floats:
        """Variances of linear combinations of the reconciled streams."""
        rooted = self._root.after(coefficients)
        return np.clip((rooted**2).sum(axis=1) - ((rooted @ self.basis) ** 2).sum(axis=1), 0, None)

    @property
    def variance(self) -> Floats:
        return np.clip(self._root.sd**2 - self.adjustment_variance, 0, None)


def _factor_gram(balances: Floats, y: Floats, root: _Root) -> tuple[Floats, Floats] | None:
    """The basis and scores of many balances by the Cholesky factor of W'W, W being the weighted balances.

    Several times quicker than a QR factor and as good where W is well conditioned; None where it is not, or
    where the balances are few. That W'W is far from singular says as well that the balances are independent.
    """
    rows = balances[np.any(balances != 0, axis=1)]
    if len(rows) < GRAM_FROM:
        return None
    weighted = root.after(rows).T
    norms = np.linalg.norm(weighted, axis=0)
    if not norms.all():
        return None
    weighted /= norms
    gram = weighted.T @ weighted
    triangle, failed = dpotrf(gram)
    if failed or dpocon(triangle, np.abs(gram).sum(axis=0).max(), uplo="U")[0] < LEAST_RCOND:
        return None
    basis = solve_triangular(triangle, weighted.T, trans="T", overwrite_b=True, check_finite=False).T
    return basis, solve_triangular(triangle, rows @ y / norms, trans="T", check_finite=False)


def _factor_rows(balances: Floats, y: Floats, root: _Root) -> tuple[Floats, Floats]:
    """The basis and scores by QR, which keeps the digits of small uncertainties beside large ones."""
    independent = balances[_independent_rows(balances)]
    weighted = root.after(independent).T
    norms = np.linalg.norm(weighted, axis=0)
    norms[norms == 0] = 1.0
    return _factor(
        weighted / norms,
        independent @ y / norms,
        _rounding(independent, y) / norms,
        bool((root.sd == 0).any()),
    )


def _rounding(balances: Floats, y: Floats) -> Floats:
    """How far from closing a balance may be for reasons of rounding in the readings."""
    return CONTRADICTION_TOLERANCE * (np.abs(balances) @ np.abs(y))


def _independent_rows(balances: Floats) -> NDArray[np.int64]:
    """Balances that say something new, by their bare coefficients: uncertainties would blur the rank."""
    norms = np.linalg.norm(balances, axis=1)
    rows = np.flatnonzero(norms > RANK_TOLERANCE * norms.max(initial=0.0))
    scaled = (balances[rows] / norms[rows, None]).T
    if not scaled.size:
        return rows
    if scaled.shape[0] >= scaled.shape[1]:
        (triangle,) = qr(scaled, mode="r", check_finite=False)
        if np.abs(np.diag(triangle)).min() > RANK_TOLERANCE:
            return rows
    triangle, order = qr(scaled, mode="r", pivoting=True, check_finite=False)
    rank = int((np.abs(np.diag(triangle)) > RANK_TOLERANCE).sum())
    return np.sort(rows[order[:rank]])


def _factor(weighted: Floats, imbalance: Floats, rounding: Floats, has_exact: bool) -> tuple[Floats, Floats]:
    """Basis Q and scores z = R'^-1 r of the weighted balances (streams, balances).

    Rows in falling order of size and pivoted columns keep the small uncertainties' digits beside large ones
    (Cox and Higham 1998). Only exact streams can make independent balances dependent here.
    """
    if not weighted.size:
        return np.empty((weighted.shape[0], 0)), np.empty(0)
    falling = np.argsort(-np.abs(weighted).max(axis=1), kind="stable")
    sorted_basis, triangle, order = qr(weighted[falling], mode="economic", pivoting=True, check_finite=False)
    rank = int((np.abs(np.diag(triangle)) > EXACT_TOLERANCE).sum()) if has_exact else len(order)
    ordered = imbalance[order]
    scores = solve_triangular(triangle[:rank, :rank], ordered[:rank], trans="T") if rank else np.empty(0)
    left = ordered[rank:] - triangle[:rank, rank:].T @ scores
    _refuse_contradiction(left, rounding[order][rank:])
    basis = np.empty((weighted.shape[0], rank))
    basis[falling] = sorted_basis[:, :rank]
    return basis, scores


def _refuse_contradiction(left: Floats, rounding: Floats) -> None:
    if np.any(np.abs(left) > rounding):
        raise ValueError("balances contradict amounts that are stated without uncertainty")


def _answer(y: Floats, known: NDArray[np.int64], fit: _Fit, confidence: float) -> Reconciliation:
    statistic = np.full(len(known), np.nan)
    is_tested = fit.adjustment_variance > REDUNDANCY_TOLERANCE * np.maximum(
        fit.variance, fit.adjustment_variance
    )
    is_tested &= fit.adjustment_variance > 0
    statistic[is_tested] = np.abs(fit.adjustment[is_tested]) / np.sqrt(fit.adjustment_variance[is_tested])
    critical = float(chdtri(fit.rank, 1 - confidence)) if fit.rank else np.nan
    is_consistent = not fit.rank or fit.statistic <= critical
    return Reconciliation(
        reconciled=_spread(y, known, fit.value),
        standard_uncertainty=_spread(y, known, np.sqrt(fit.variance)),
        adjustment=_spread(y, known, fit.adjustment),
        test_statistic=_spread(y, known, statistic),
        global_statistic=fit.statistic,
        degrees_of_freedom=fit.rank,
        critical_value=critical,
        is_consistent=is_consistent,
        suspects=[int(known[i]) for i in _rank_suspects(statistic, confidence, is_consistent)],
    )


def _rank_suspects(statistic: Floats, confidence: float, is_consistent: bool) -> list[int]:
    tested = np.flatnonzero(~np.isnan(statistic))
    if not len(tested):
        return []
    rounded = np.round(statistic[tested], TIE_DECIMALS)
    limit = float(ndtri((1 + confidence ** (1 / len(tested))) / 2))
    if not is_consistent:
        limit = min(limit, float(rounded.max()) * (1 - 1e-12))
    ranked = tested[np.argsort(-rounded, kind="stable")]
    return [int(i) for i in ranked if round(float(statistic[i]), TIE_DECIMALS) > limit]


def _fill_unmeasured(
    found: Reconciliation,
    unknown: NDArray[np.int64],
    unmeasured: _Unmeasured,
    measured_matrix: Floats,
    fit: _Fit,
) -> None:
    determined, coefficients = unmeasured.solve(measured_matrix)
    found.reconciled[unknown[determined]] = coefficients @ fit.value
    found.standard_uncertainty[unknown[determined]] = np.sqrt(fit.variance_of(coefficients))


def _spread(y: Floats, known: NDArray[np.int64], values: Floats) -> Floats:
    spread = np.full(len(y), np.nan)
    spread[known] = values
    return spread


def _among(known: NDArray[np.int64], correlations: Sequence[Correlation]) -> list[Correlation]:
    """The correlations with their streams counted among the measured ones."""
    place = {int(stream): index for index, stream in enumerate(known)}
    seen: set[tuple[int, int]] = set()
    for first, second, value in correlations:
        if first not in place or second not in place or first == second:
            raise ValueError("correlations must join two different measured streams")
        if not -1 <= value <= 1:
            raise ValueError(f"correlations must be -1 to 1, not {value:g}")
        pair = (min(first, second), max(first, second))
        if pair in seen:
            raise ValueError("correlations must name a pair of streams once")
        seen.add(pair)
    return [(place[first], place[second], value) for first, second, value in correlations]


def _check(
    measured: ArrayLike, standard_uncertainty: ArrayLike, balances: ArrayLike, confidence: float
) -> tuple[Floats, Floats, Floats]:
    y = np.asarray(measured, dtype=np.float64)
    sd = np.asarray(standard_uncertainty, dtype=np.float64)
    matrix = np.atleast_2d(np.asarray(balances, dtype=np.float64))
    if y.ndim != 1 or sd.shape != y.shape:
        raise ValueError("standard_uncertainty must have one value for every measured one")
    if matrix.shape[1] != len(y):
        raise ValueError(f"balances must have one coefficient for each of {len(y)} streams")
    is_known = ~np.isnan(y)
    if np.any(np.isinf(y)) or not np.all(np.isfinite(matrix)):
        raise ValueError("balances and measured amounts must be finite")
    if not np.all((sd[is_known] >= 0) & np.isfinite(sd[is_known])):
        raise ValueError("standard_uncertainty must be at least 0 for every measured stream")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, not {confidence:g}")
    return y, sd, matrix
