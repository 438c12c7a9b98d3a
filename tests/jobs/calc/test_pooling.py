"""Between-group variances and pooled means against published meta-analyses and a textbook example."""

import numpy as np
import pytest

from jobs.calc.pooling import (
    dersimonian_laird_variance,
    paule_mandel_variance,
    pool_groups,
    reml_variance,
)

# Vaccine trials of Colditz et al. (1994): cases and non-cases in the treated and in the control group.
TRIALS = np.array(
    [
        [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619],
        [33, 5036, 47, 5761], [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892],
        [29, 7470, 45, 7232], [17, 1699, 65, 1600], [186, 50448, 141, 27197], [5, 2493, 3, 2338],
        [27, 16886, 29, 17825],
    ],
    dtype=float,
)  # fmt: skip
# Eight schools of Rubin (1981).
SCHOOLS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
SCHOOL_VARIANCES = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]) ** 2
# Key comparison used in the statsmodels notebook on meta-analysis.
LABORATORIES = [61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9]
LABORATORY_VARIANCES = [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]


def _log_risk_ratios() -> tuple[np.ndarray, np.ndarray]:
    a, b, c, d = TRIALS.T
    return np.log(a / (a + b)) - np.log(c / (c + d)), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


@pytest.mark.outside_check(
    "laboratories of the statsmodels meta-analysis notebook: tau2 0.28804924697226514, mean "
    "62.39013860445035, "
    "se 0.2457496680398863; how known: printed by statsmodels 0.15.0, re-derived independently"
)
def test_dersimonian_laird_variance_agrees_with_a_published_analysis() -> None:
    between = dersimonian_laird_variance(estimates=LABORATORIES, variances=LABORATORY_VARIANCES)
    pooled = pool_groups(estimates=LABORATORIES, variances=LABORATORY_VARIANCES, between_variance=between)
    assert between == pytest.approx(0.28804924697226514, rel=1e-9)
    assert pooled.mean == pytest.approx(62.39013860445035, rel=1e-9)
    assert pooled.standard_error == pytest.approx(0.2457496680398863, rel=1e-9)


@pytest.mark.outside_check(
    "thirteen vaccine trials (Colditz et al. 1994), Paule-Mandel: 0.31806845220382; "
    "how known: printed by statsmodels 0.15.0 combine_effects, method iterated"
)
def test_paule_mandel_variance_agrees_with_a_reference_library() -> None:
    y, v = _log_risk_ratios()
    assert paule_mandel_variance(estimates=y, variances=v) == pytest.approx(0.31806845220382, rel=1e-8)


@pytest.mark.outside_check(
    "thirteen vaccine trials (Colditz et al. 1994), REML: tau2 0.3132, mean -0.7145, se 0.1798; how known: "
    "read in the printed output of an R package's public vignette"
)
def test_reml_variance_agrees_with_a_published_analysis() -> None:
    y, v = _log_risk_ratios()
    between = reml_variance(estimates=y, variances=v)
    pooled = pool_groups(estimates=y, variances=v, between_variance=between)
    assert between == pytest.approx(0.3132, abs=5e-5)
    assert (pooled.mean, pooled.standard_error) == pytest.approx((-0.7145, 0.1798), abs=5e-5)


def test_reml_variance_is_where_the_restricted_likelihood_is_highest() -> None:
    y, v = _log_risk_ratios()
    found = reml_variance(estimates=y, variances=v)

    def likelihood(tau2: float) -> float:
        w = 1 / (v + tau2)
        mean = (w * y).sum() / w.sum()
        return float(np.log(w).sum() / 2 - np.log(w.sum()) / 2 - (w * (y - mean) ** 2).sum() / 2)

    assert all(likelihood(found) > likelihood(found * factor) for factor in (0.5, 0.99, 1.01, 2))


@pytest.mark.parametrize("estimate", [dersimonian_laird_variance, paule_mandel_variance, reml_variance])
def test_between_variances_are_never_negative(estimate) -> None:  # type: ignore[no-untyped-def]
    assert estimate(estimates=SCHOOLS, variances=SCHOOL_VARIANCES) == 0
    assert estimate(estimates=[2.0, 2.0, 2.0], variances=[1.0, 1.0, 1.0]) == 0


@pytest.mark.parametrize("estimate", [dersimonian_laird_variance, paule_mandel_variance, reml_variance])
def test_between_variances_with_equal_sampling_variances_are_what_those_leave_over(estimate) -> None:  # type: ignore[no-untyped-def]
    y = [1.0, 4.0, 6.0, 9.0]
    assert estimate(estimates=y, variances=[2.0] * 4) == pytest.approx(np.var(y, ddof=1) - 2)


@pytest.mark.parametrize("estimate", [dersimonian_laird_variance, paule_mandel_variance, reml_variance])
def test_between_variances_refuse_a_single_group(estimate) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="estimates"):
        estimate(estimates=[1.0], variances=[1.0])


@pytest.mark.outside_check(
    "eight schools, BDA3 equations 5.17 to 5.20 at tau 5, 10 and 25: mean and first school; "
    "how known: closed form computed independently"
)
@pytest.mark.parametrize(
    ("tau", "mean", "standard_error", "first"),
    [
        (5.0, 7.850983233901382, 4.492096425708879, 9.865884910511243),
        (10.0, 8.12647218557157, 5.519974562006595, 14.24140382078032),
        (25.0, 8.545911963052223, 9.891152523633572, 22.85038846080794),
    ],
)
def test_pool_groups_agrees_with_the_textbook(
    tau: float, mean: float, standard_error: float, first: float
) -> None:
    pooled = pool_groups(estimates=SCHOOLS, variances=SCHOOL_VARIANCES, between_variance=tau**2)
    assert pooled.mean == pytest.approx(mean, abs=1e-9)
    assert pooled.standard_error == pytest.approx(standard_error, abs=1e-9)
    assert pooled.group_means[0] == pytest.approx(first, abs=1e-9)


@pytest.mark.outside_check(
    "eight schools pooled completely: mean 7.7 with standard error 4.1 (BDA3, section 5.5); how known: "
    "from memory"
)
def test_pool_groups_without_between_variance_gives_every_group_the_mean() -> None:
    pooled = pool_groups(estimates=SCHOOLS, variances=SCHOOL_VARIANCES, between_variance=0.0)
    assert pooled.group_means == pytest.approx([7.7] * 8, abs=0.05)
    assert pooled.group_sds == pytest.approx([4.1] * 8, abs=0.05)


@pytest.mark.outside_check(
    "batting averages of 18 players after 45 at bats (Efron and Morris 1977): each drawn to the mean by "
    "c = 0.212, first 0.294, last 0.242; how known: data read in a public collection, published values from "
    "memory, c = 0.2116534171442659 and 0.29391385489966054, 0.2421763529310622 computed independently"
)
def test_pool_groups_draws_equal_variances_by_one_factor() -> None:
    hits = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
    averages = np.array(hits) / 45
    variance = averages.mean() * (1 - averages.mean()) / 45
    factor = 0.2116534171442659
    pooled = pool_groups(
        estimates=averages, variances=np.full(18, variance), between_variance=variance * factor / (1 - factor)
    )
    assert pooled.mean == pytest.approx(0.26543209876543217, abs=1e-12)
    assert pooled.group_means[[0, -1]] == pytest.approx([0.29391385489966054, 0.2421763529310622], abs=1e-9)


def test_pool_groups_of_one_group_stands_on_its_own() -> None:
    pooled = pool_groups(estimates=[1.1], variances=[0.04], between_variance=0.5)
    assert pooled.group_means[0] == pytest.approx(1.1)


@pytest.mark.parametrize(
    ("estimates", "variances", "between", "named"),
    [
        ([1.0, 2.0], [1.0], 0.0, "variances"),
        ([1.0, 2.0], [1.0, 0.0], 0.0, "variances"),
        ([1.0, float("nan")], [1.0, 1.0], 0.0, "estimates"),
        ([1.0, 2.0], [1.0, 1.0], -0.1, "between_variance"),
        ([], [], 0.0, "estimates"),
    ],
)
def test_pool_groups_refuses_and_names_what_is_out_of_range(
    estimates: list[float], variances: list[float], between: float, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        pool_groups(estimates=estimates, variances=variances, between_variance=between)
