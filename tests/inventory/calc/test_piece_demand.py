"""Demand in whole pieces, against direct sums of its chances."""

import numpy as np
import pytest

from inventory.calc.demand_shapes import LeadTimeShape
from inventory.calc.piece_demand import NegativeBinomialDemand, PoissonDemand, TableDemand


@pytest.mark.outside_check(
    "Poisson loss of 18 at mean 15; how known: docstring of stockpyl 1.0.2, re-derived by summation"
)
def test_loss_of_poisson_demand_agrees_with_a_package() -> None:
    assert PoissonDemand(15.0).loss(18) == pytest.approx(0.5176095282584724, abs=1e-9)


@pytest.mark.outside_check(
    "negative binomial r 4, p 0.3: loss at 7.5 and quantiles of r 4.2 at 0.1, 0.5, 0.99; "
    "how known: scipy 1.17.1 nbinom, summed and ppf"
)
def test_negative_binomial_demand_agrees_with_direct_sums() -> None:
    assert NegativeBinomialDemand(4.0, 0.3).loss(7.5) == pytest.approx(3.098772697533332)
    quantiles = NegativeBinomialDemand(4.2, 0.3).quantile(np.array([0.1, 0.5, 0.99]))
    assert list(quantiles) == [3, 9, 27]


@pytest.mark.parametrize("shape", [PoissonDemand(6.3), NegativeBinomialDemand(4.2, 0.3)])
@pytest.mark.parametrize("level", [-3, 0, 1, 5, 30])
def test_second_loss_of_pieces_is_the_sum_of_the_losses(shape: LeadTimeShape, level: int) -> None:
    levels = np.arange(level, 600)
    assert shape.second_loss(level) == pytest.approx(np.sum(shape.loss(levels)), rel=1e-9, abs=1e-12)


def test_quantile_forgives_the_rounding_of_a_sum() -> None:
    # 0.1 added eight times is a little less than 0.8.
    assert TableDemand.of([0.1] * 10).quantile(0.8) == 7


def test_quantile_of_no_demand_is_nothing() -> None:
    assert PoissonDemand(0.0).quantile(0.99) == 0


def test_quantile_takes_arrays() -> None:
    assert list(PoissonDemand(np.array([0.0, 3.0, 1e6])).quantile(0.5)) == [0, 3, 1_000_000]


def test_table_demand_takes_values_by_name_and_adds_periods() -> None:
    table = TableDemand.of({"2": 0.5, "0": 0.5}).over_periods(2)
    assert list(table.values) == [0, 2, 4]
    assert list(table.chances) == [0.25, 0.5, 0.25]
    assert table.loss(1) == pytest.approx(0.5 * 1 + 0.25 * 3)
    assert table.cdf(1.9) == 0.25


@pytest.mark.parametrize("pmf", [[0.5, 0.6], [1.5, -0.5], []])
def test_table_demand_refuses_what_are_no_chances(pmf: list[float]) -> None:
    with pytest.raises(ValueError, match=r"^pmf"):
        TableDemand.of(pmf)


def test_negative_binomial_demand_refuses_a_chance_above_one() -> None:
    with pytest.raises(ValueError, match=r"^p must"):
        NegativeBinomialDemand(2.0, 1.2)
