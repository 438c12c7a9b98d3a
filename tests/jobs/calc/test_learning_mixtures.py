"""Mixtures of normals against closed forms and scipy's distributions."""

import numpy as np
import pytest
from scipy.special import ndtr

from jobs.calc.learning_mixtures import describe_mixtures

WEIGHTS = np.array([0.5, 0.3, 0.2])
MEANS = np.array([[0.0, 1.0], [2.0, 1.0], [-30.0, 1.0]])
SDS = np.array([[1.0, 0.1], [0.01, 3.0], [5.0, 40.0]])


@pytest.mark.outside_check(
    "a quantile is where the distribution function has that value, that of the mixture by scipy's ndtr; "
    "mean sum w m, variance sum w (s^2 + m^2) - mean^2; how known: closed form"
)
def test_describe_mixtures_puts_the_ends_where_the_distribution_says() -> None:
    found = describe_mixtures(WEIGHTS, MEANS, SDS, np.array([0.9, 0.5]))
    for number, level in ((0, 0.9), (1, 0.5)):
        low, high = found[number].interval
        below = [WEIGHTS @ ndtr((end - MEANS[:, number]) / SDS[:, number]) for end in (low, high)]
        assert below == pytest.approx([(1 - level) / 2, (1 + level) / 2], abs=1e-9)
    mean = WEIGHTS @ MEANS[:, 0]
    assert found[0].mean == pytest.approx(mean)
    assert found[0].sd ** 2 == pytest.approx(WEIGHTS @ (SDS[:, 0] ** 2 + MEANS[:, 0] ** 2) - mean**2)


@pytest.mark.outside_check("the normal 0.95 quantile is 1.644854; how known: any table")
def test_describe_mixtures_of_one_part_is_the_normal() -> None:
    found = describe_mixtures(np.ones(1), np.array([[3.0]]), np.array([[2.0]]), np.array([0.9]))[0]
    assert found.interval == pytest.approx((3 - 2 * 1.644854, 3 + 2 * 1.644854), abs=1e-5)


def test_describe_mixtures_refuses_limits_that_do_not_rise() -> None:
    with pytest.raises(ValueError, match="limits"):
        describe_mixtures(WEIGHTS, MEANS, SDS, np.array([0.9, 0.9]), (1.0, 1.0))
