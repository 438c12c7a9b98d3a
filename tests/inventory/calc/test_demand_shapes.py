"""Loss functions of demand without gaps, against a package and numerical integration."""

import numpy as np
import pytest

from inventory.calc.demand_shapes import GammaDemand, NormalDemand, standard_normal_loss
from inventory.calc.lognormal_demand import LognormalDemand


@pytest.mark.outside_check(
    "standard normal loss, Snyder & Shen 2e Appendix C: L(0), L(1.3), L(2.326347874); "
    "how known: printed by stockpyl 1.0.2, re-derived by numerical integration"
)
@pytest.mark.parametrize(
    ("z", "loss"),
    [(0.0, 0.3989422804014327), (1.3, 0.04552796208651397), (2.326347874, 0.0033886634634581157)],
)
def test_standard_normal_loss_agrees_with_a_package(z: float, loss: float) -> None:
    assert standard_normal_loss(z) == pytest.approx(loss, abs=1e-9)
    # The complement E[(z - X)+] is z + L(z).
    assert standard_normal_loss(-z) == pytest.approx(z + loss, abs=1e-9)


@pytest.mark.outside_check(
    "normal loss of 18 at mean 15, sd 3; how known: printed by stockpyl 1.0.2 normal_loss"
)
def test_loss_of_normal_demand_scales_with_its_spread() -> None:
    assert NormalDemand(15.0, 3.0).loss(18) == pytest.approx(0.24994641176305887, abs=1e-8)


def test_loss_of_certain_demand_is_the_plain_shortfall() -> None:
    certain = NormalDemand(10.0, 0.0)
    assert [float(certain.loss(level)) for level in (7, 10, 12)] == [3, 0, 0]
    assert [float(certain.cdf(level)) for level in (9.99, 10)] == [0, 1]
    assert float(certain.second_loss(7)) == 4.5


@pytest.mark.outside_check(
    "gamma loss of 4, shape 2, scale 3; how known: printed by stockpyl 1.0.2 gamma_loss"
)
def test_loss_of_gamma_demand_agrees_with_a_package() -> None:
    assert GammaDemand(2.0, 3.0).loss(4) == pytest.approx(2.635971381157268, abs=1e-8)


@pytest.mark.parametrize("shape", [NormalDemand(5.0, 2.0), GammaDemand(2.0, 3.0)])
@pytest.mark.parametrize("level", [-2.0, 0.0, 3.0, 9.0])
def test_second_loss_is_the_integral_of_the_loss(shape: NormalDemand | GammaDemand, level: float) -> None:
    levels = np.linspace(level, 150, 1_500_001)
    assert shape.second_loss(level) == pytest.approx(np.trapezoid(shape.loss(levels), levels), rel=1e-7)


@pytest.mark.outside_check(
    "95 % quantile of the sum of two lognormals (mu 6, sigma 0.3) and its loss there, 1173.9185 and 5.75567; "
    "how known: the distribution function and the loss integrated with scipy 1.17.1 quad"
)
def test_quantile_and_loss_of_two_lognormal_periods_agree_with_integration() -> None:
    two = LognormalDemand(6.0, 0.3).over_periods(2)
    level = two.quantile(0.95)
    assert level == pytest.approx(1173.9185, rel=1e-6)
    assert two.loss(level) == pytest.approx(5.75567, rel=1e-5)
    assert two.cdf(level) == pytest.approx(0.95, abs=1e-8)
    assert two.mean == pytest.approx(2 * np.exp(6.045))


def test_over_periods_adds_means_and_variances() -> None:
    for shape in (NormalDemand(5.0, 2.0), GammaDemand(2.0, 3.0), LognormalDemand(1.0, 0.5)):
        longer = shape.over_periods(4)
        assert longer.mean == pytest.approx(4 * shape.mean)
        assert longer.sd == pytest.approx(2 * shape.sd)


def test_normal_demand_refuses_a_negative_spread() -> None:
    with pytest.raises(ValueError, match=r"^sd must be 0 or more"):
        NormalDemand(1.0, -1.0)
