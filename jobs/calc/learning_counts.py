"""What field reports teach about counts: projectiles a run takes, fittings lost in use.

Each cable size has probabilities of its own that scatter about common ones. How much they scatter is weighed
over a grid, so a size with two reports borrows from the others and one with two hundred stands on its own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln

Floats = NDArray[np.float64]
CONCENTRATIONS = np.geomspace(1.0, 1000.0, 16)
MEANS, BASES = 48, 48
DRAWS, SEED = 512, 20
NEGLIGIBLE_WEIGHT = 1e-6


@dataclass(frozen=True)
class PassesFit:
    """Dirichlet parameters (nodes, sizes + 1, passes), the nodes' weights; the last size is one unseen."""

    weights: Floats
    parameters: Floats


@dataclass(frozen=True)
class LossFit:
    """Beta parameters (nodes, sizes + 1) with the nodes' weights; the last size is one unseen."""

    weights: Floats
    lost: Floats
    kept: Floats


def fit_passes(*, runs: ArrayLike, prior: ArrayLike, prior_runs: float) -> PassesFit:
    """Fit the distribution of projectiles per run, for each size and for one unseen.

    p_i ~ Dirichlet(a b), b ~ Dirichlet(prior n0); given the runs of the size p_i ~ Dirichlet(a b + runs_i).
    a runs over a logarithmic grid, b over draws with a fixed seed; they are weighed by the
    Dirichlet-multinomial likelihood, sum_i [ln G(a) - ln G(a + n_i) + sum_j (ln G(a b_j + runs_ij) -
    ln G(a b_j))], and each draw of b by its prior over the density it was drawn from.

    Parameters
    ----------
    runs : array_like (sizes, passes)
        Runs of each size that took 1, 2, 3, ... projectiles, >= 0 [-]
    prior : array_like (passes,)
        Probabilities of 1, 2, 3, ... projectiles before any report, each > 0, their sum 1 [-]
    prior_runs : float
        Runs that this is worth, > 0 [-]

    Returns
    -------
    PassesFit
        Weights (nodes,) and parameters (nodes, sizes + 1, passes) [-]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 3.4 (multinomial and Dirichlet).
    """
    counts, thought = np.asarray(runs, dtype=np.float64), np.asarray(prior, dtype=np.float64)
    _check_passes(counts, thought, prior_runs)
    nodes = np.repeat(CONCENTRATIONS, BASES)
    base, log_weight = _draw_bases(counts, thought * prior_runs, nodes)
    before = nodes[:, None, None] * base[:, None, :]
    after = before + counts
    reported = gammaln(nodes)[:, None] - gammaln(nodes[:, None] + counts.sum(axis=1))
    log_weight += reported.sum(axis=1) + (gammaln(after) - gammaln(before)).sum(axis=(1, 2))
    weights, kept = _keep_what_matters(log_weight)
    return PassesFit(weights, np.concatenate([after[kept], before[kept]], axis=1))


def fit_losses(*, uses: ArrayLike, lost: ArrayLike, prior_mean: float, prior_uses: float) -> LossFit:
    """Fit the probability that a fitting is lost in one use, for each size and for one unseen.

    p_i ~ Beta(c m, c (1 - m)); given the size's reports Beta(c m + lost_i, c (1 - m) + uses_i - lost_i).
    m over a grid under Beta(m0 n0, (1 - m0) n0), c over a logarithmic one, weighed by the beta-binomial
    likelihood.

    Parameters
    ----------
    uses : array_like (sizes,)
        Uses reported of each size, >= 0 [-]
    lost : array_like (sizes,)
        How many of them ended in a loss, 0 to the uses [-]
    prior_mean : float
        Probability of a loss before any report, 0 to 1 exclusive [-]
    prior_uses : float
        Uses that this is worth, > 0 [-]

    Returns
    -------
    LossFit
        Weights (nodes,) and parameters (nodes, sizes + 1) [-]

    Raises
    ------
    ValueError
        If a value is out of range.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.1 to 5.3 (beta and binomial).
    """
    n, y = np.asarray(uses, dtype=np.float64), np.asarray(lost, dtype=np.float64)
    _check_losses(n, y, prior_mean, prior_uses)
    # Even steps of an angle, the probability being the fourth power of its sine, are densest near 0.
    steps = (np.arange(MEANS) + 0.5) / MEANS
    means = np.sin(steps * np.pi / 2) ** 4
    jacobian = np.sin(steps * np.pi / 2) ** 3 * np.cos(steps * np.pi / 2)
    log_prior = (prior_mean * prior_uses - 1) * np.log(means) + np.log(jacobian)
    log_prior += ((1 - prior_mean) * prior_uses - 1) * np.log1p(-means)
    a = (means[:, None] * CONCENTRATIONS).ravel()[:, None]
    b = ((1 - means)[:, None] * CONCENTRATIONS).ravel()[:, None]
    log_weight = np.repeat(log_prior, len(CONCENTRATIONS))
    log_weight = log_weight + (betaln(a + y, b + n - y) - betaln(a, b)).sum(axis=1)
    weights, kept = _keep_what_matters(log_weight)
    a, b = a[kept], b[kept]
    return LossFit(weights, np.hstack([a + y, a]), np.hstack([b + n - y, b]))


def predict_passes(fit: PassesFit, *, size: int | None, runs: int) -> Floats:
    """Distribution of the projectiles that so many runs of one size take together.

    P(one run takes j) is the mean of the Dirichlet mixture. For several runs the probabilities are the same
    unknown ones for all: the convolution of p with itself is averaged over draws of p, with a fixed seed.

    Parameters
    ----------
    fit : PassesFit
        Fit of `fit_passes`
    size : int or None
        Index of the cable size; None for one never seen [-]
    runs : int
        Runs of the day, >= 0 [-]

    Returns
    -------
    array (1 + runs * passes,)
        Probabilities of a total of 0, 1, 2, ... [-]

    Raises
    ------
    ValueError
        If the size is unknown or the runs are below 0.

    References
    ----------
    .. [1] Gelman et al., "Bayesian Data Analysis", 3rd ed., section 3.4.
    """
    parameters = fit.parameters[:, _place(size, fit.parameters.shape[1])]
    _check_number("runs", runs)
    length = 1 + runs * parameters.shape[1]
    if runs < 2:
        means = parameters / parameters.sum(axis=1, keepdims=True)
        return np.concatenate([[0.0], fit.weights @ means]) if runs else np.ones(1)
    random = np.random.default_rng(SEED)
    # Systematic sampling gives each node its share of the draws but for one.
    nodes = np.searchsorted(np.cumsum(fit.weights), (np.arange(DRAWS) + 0.5) / DRAWS * (1 - 1e-12))
    drawn = random.standard_gamma(parameters[nodes])
    single = np.pad(drawn / drawn.sum(axis=1, keepdims=True), ((0, 0), (1, 0)))
    totals = np.fft.irfft((np.fft.rfft(single, 2 * length) ** runs).mean(axis=0), 2 * length)[:length]
    positive = np.maximum(totals, 0.0)
    summed: Floats = positive / positive.sum()
    return summed


def predict_losses(fit: LossFit, *, size: int | None, uses: int) -> Floats:
    """Distribution of the fittings lost in so many uses of one size.

    A mixture of beta-binomial distributions, P(k) = C(n, k) B(a + k, b + n - k) / B(a, b).

    Parameters
    ----------
    fit : LossFit
        Fit of `fit_losses`
    size : int or None
        Index of the cable size; None for one never seen [-]
    uses : int
        Uses of the day, >= 0 [-]

    Returns
    -------
    array (1 + uses,)
        Probabilities of 0, 1, 2, ... lost [-]

    Raises
    ------
    ValueError
        If the size is unknown or the uses are below 0.

    References
    ----------
    .. [1] Johnson, Kemp and Kotz, "Univariate Discrete Distributions", 3rd ed., section 6.2.2.
    """
    place = _place(size, fit.lost.shape[1])
    _check_number("uses", uses)
    a, b = fit.lost[:, place, None], fit.kept[:, place, None]
    k = np.arange(uses + 1)
    ways = gammaln(uses + 1) - gammaln(k + 1) - gammaln(uses - k + 1)
    found: Floats = fit.weights @ np.exp(ways + betaln(a + k, b + uses - k) - betaln(a, b))
    return found


def upper_limit(probabilities: ArrayLike, *, quantile: float) -> int:
    """Smallest count that is not passed with the probability `quantile`.

    min n with P(0) + ... + P(n) >= quantile

    Parameters
    ----------
    probabilities : array_like (counts,)
        Probabilities of 0, 1, 2, ..., their sum 1 [-]
    quantile : float
        Probability with which the count suffices, 0 to 1 exclusive [-]

    Returns
    -------
    int
        Count [-]

    Raises
    ------
    ValueError
        If the quantile is out of range or the probabilities do not add up to 1.

    References
    ----------
    .. [1] Grimmett and Stirzaker, "Probability and Random Processes", 3rd ed., 2.1: distribution functions.
    """
    p = np.asarray(probabilities, dtype=np.float64)
    if not 0 < quantile < 1:
        raise ValueError(f"quantile must be between 0 and 1, not {quantile:g}")
    if p.ndim != 1 or not np.isclose(p.sum(), 1.0, rtol=0, atol=1e-8) or p.min() < 0:
        raise ValueError("probabilities must be at least 0 and add up to 1")
    # Rounding in the sum must not push an exact hit to the next count.
    return int(np.searchsorted(np.cumsum(p), quantile * (1 - 1e-12)))


def _draw_bases(counts: Floats, prior: Floats, nodes: Floats) -> tuple[Floats, Floats]:
    """Common probabilities near what the reports say, and the logarithm of prior over density for each."""
    n = counts.sum(axis=1)
    # Runs of one size say less of the common probabilities the more the sizes differ.
    worth = (nodes[:, None] + 1) / (nodes[:, None] + n)
    drawn_from = prior + worth @ counts
    # A draw of exactly 0 would have no logarithm.
    drawn = np.random.default_rng(SEED).standard_gamma(drawn_from) + 1e-12
    base = drawn / drawn.sum(axis=1, keepdims=True)
    log_ratio = ((prior - drawn_from) * np.log(base)).sum(axis=1)
    log_ratio += gammaln(drawn_from).sum(axis=1) - gammaln(drawn_from.sum(axis=1))
    return base, log_ratio


def _keep_what_matters(log_weight: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Weights of the nodes that are not negligible, their sum 1, and where these are."""
    weights = np.exp(log_weight - log_weight.max())
    kept = np.flatnonzero(weights > NEGLIGIBLE_WEIGHT * weights.sum())
    return weights[kept] / weights[kept].sum(), kept


def _place(size: int | None, places: int) -> int:
    if size is None:
        return places - 1
    if not 0 <= size < places - 1:
        raise ValueError(f"size must be 0 to {places - 2}, or None for one never seen, not {size}")
    return size


def _check_number(name: str, number: int) -> None:
    if number < 0:
        raise ValueError(f"{name} must be at least 0, not {number}")


def _check_passes(counts: Floats, prior: Floats, prior_runs: float) -> None:
    if prior.ndim != 1 or not np.all(prior > 0) or not np.isclose(prior.sum(), 1.0, rtol=0, atol=1e-9):
        raise ValueError("prior must be probabilities above 0 that add up to 1")
    if counts.ndim != 2 or counts.shape[1] != len(prior):
        raise ValueError(f"runs must have a column for each of the prior's {len(prior)} numbers")
    if not np.all(np.isfinite(counts) & (counts >= 0)):
        raise ValueError("runs must be at least 0")
    if not 0 < prior_runs < np.inf:
        raise ValueError(f"prior_runs must be above 0, not {prior_runs:g}")


def _check_losses(n: Floats, y: Floats, prior_mean: float, prior_uses: float) -> None:
    if n.ndim != 1 or y.shape != n.shape:
        raise ValueError(f"lost must be as many as the uses, {n.size}, not {y.size}")
    if not np.all(np.isfinite(n) & (n >= 0)):
        raise ValueError("uses must be at least 0")
    if not np.all((y >= 0) & (y <= n)):
        raise ValueError("lost must be 0 to the uses")
    if not 0 < prior_mean < 1:
        raise ValueError(f"prior_mean must be between 0 and 1, not {prior_mean:g}")
    if not 0 < prior_uses < np.inf:
        raise ValueError(f"prior_uses must be above 0, not {prior_uses:g}")
