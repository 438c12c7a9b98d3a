"""Projectiles for a day, against the binomial distribution."""

import pytest

from jobs.calc.passes import count_projectiles, passes_moments

USUAL = (0.0, 0.0, 0.5, 0.5)


@pytest.mark.outside_check(
    "scipy.stats.binom; how known: printed by the package; with 3 passes or half of the time 4 a total is "
    "3 n + Binomial(n, 1/2); binom.ppf(0.9, 5, 0.5) = 4, binom.ppf(0.9, 1, 0.5) = 1, "
    "binom.ppf(0.95, 20, 0.5) = 14"
)
@pytest.mark.parametrize(("runs", "quantile", "expected"), [(5, 0.9, 19), (1, 0.9, 4), (20, 0.95, 74)])
def test_count_projectiles_is_a_quantile_of_the_days_total(runs: int, quantile: float, expected: int) -> None:
    assert count_projectiles(runs=runs, passes=USUAL, quantile=quantile) == expected


@pytest.mark.outside_check(
    "three to four projectiles clean a run, the last one only shows that it is dry; how known: common "
    "practice, no source"
)
def test_count_projectiles_takes_three_to_four_for_a_run() -> None:
    counts = {count_projectiles(runs=1, passes=USUAL, quantile=share / 100) for share in range(1, 100)}
    assert counts == {3, 4}


def test_count_projectiles_meets_an_exact_hit() -> None:
    assert count_projectiles(runs=1, passes=USUAL, quantile=0.5) == 3


def test_count_projectiles_of_no_runs_is_none() -> None:
    assert count_projectiles(runs=0, passes=USUAL, quantile=0.9) == 0


@pytest.mark.outside_check(
    "mean and variance of 3 + Bernoulli(1/2) by the formulas p and p (1 - p): 3.5 and 0.25; "
    "how known: computed"
)
def test_passes_moments_of_the_usual_passes() -> None:
    assert passes_moments(passes=USUAL) == (3.5, 0.25)


@pytest.mark.parametrize("passes", [(), (0.5, 0.4), (1.5, -0.5)])
def test_passes_refuse_what_is_no_distribution(passes: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="add up to 1"):
        passes_moments(passes=passes)
    with pytest.raises(ValueError, match="add up to 1"):
        count_projectiles(runs=1, passes=passes, quantile=0.9)


def test_count_projectiles_refuses_a_quantile_of_one() -> None:
    with pytest.raises(ValueError, match="quantile"):
        count_projectiles(runs=1, passes=USUAL, quantile=1.0)
