"""Fieller's interval and the ratio estimate against worked cases and a full enumeration."""

from itertools import combinations

import numpy as np
import pytest

from jobs.calc.recovery import fieller_ratio, recovery_ratio

INJECTED = [102, 87, 140, 65, 118, 95, 133, 76]
RECOVERED = [88, 70, 121, 60, 97, 83, 110, 62]
NORMAL_95 = 1.959963984540054


@pytest.mark.outside_check(
    "Fieller (1954): three cases by two algebraically different forms that agree; how known: computed "
    "independently (numpy 2.4.6, scipy 1.17.1)"
)
@pytest.mark.parametrize(
    ("moments", "interval", "standard_error"),
    [
        ((14.0, 7.0, 9.0, 4.0, 0.0, 2.228138851986274), (0.8897337785231644, 5.836049082230807),
         0.7142857142857143),
        ((0.9, 1.0, 0.01, 0.0025, 0.001, NORMAL_95), (0.7056417041964586, 1.1040550672255554),
         0.10111874208078343),
        ((110.0, 100.0, 16.0, 9.0, -4.0, NORMAL_95), (0.9879424759664106, 1.2227738291755401),
         0.05974110812497539),
    ],
)  # fmt: skip
def test_fieller_ratio_agrees_with_worked_cases(
    moments: tuple[float, ...], interval: tuple[float, float], standard_error: float
) -> None:
    found = fieller_ratio(**dict(zip(("a", "b", "var_a", "var_b", "cov", "critical"), moments, strict=True)))
    assert found.interval == pytest.approx(interval, rel=1e-12)
    assert found.standard_error == pytest.approx(standard_error, rel=1e-12)
    assert found.kind == "finite"


@pytest.mark.outside_check(
    "Fieller's set is unbounded when the denominator may be zero, here g = 3.84; how known: computed "
    "independently"
)
def test_fieller_ratio_of_an_uncertain_denominator_is_unbounded() -> None:
    found = fieller_ratio(a=1.0, b=1.0, var_a=0.04, var_b=1.0, cov=0.0, critical=NORMAL_95)
    assert (found.interval, found.kind) == (None, "unbounded")


def test_fieller_ratio_at_the_edge_of_unboundedness_is_unbounded() -> None:
    assert fieller_ratio(a=1.0, b=2.0, var_a=1.0, var_b=1.0, cov=0.0, critical=2.0).interval is None


def test_fieller_ratio_of_negative_amounts_has_its_ends_in_order() -> None:
    low, high = fieller_ratio(a=-3.0, b=-10.0, var_a=0.1, var_b=0.1, cov=0.0, critical=2.0).interval or (1, 0)
    assert low < 0.3 < high


def test_fieller_ratio_of_a_certain_denominator_is_the_plain_interval() -> None:
    found = fieller_ratio(a=6.0, b=2.0, var_a=4.0, var_b=0.0, cov=0.0, critical=1.5)
    assert found.interval == pytest.approx((1.5, 4.5))


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"b": 0.0}, "b must"),
        ({"var_a": -1.0}, "var_a"),
        ({"var_b": -1.0}, "var_b"),
        ({"cov": 3.0}, "cov"),
        ({"critical": -1.0}, "critical"),
        ({"a": float("inf")}, "a must"),
    ],
)
def test_fieller_ratio_refuses_and_names_what_is_out_of_range(wrong: dict[str, float], named: str) -> None:
    given = {"a": 1.0, "b": 1.0, "var_a": 1.0, "var_b": 1.0, "cov": 0.0, "critical": 1.0} | wrong
    with pytest.raises(ValueError, match=named):
        fieller_ratio(**given)


@pytest.mark.outside_check(
    "Cochran, Sampling Techniques, ch. 6: all 70 samples of 4 from 8; mean of estimates 0.847024329272573, "
    "mean "
    "of variance estimates 0.00014009867092334763; how known: exhaustive enumeration, computed independently"
)
def test_recovery_ratio_over_all_samples_has_the_enumerated_mean_and_variance() -> None:
    found = [
        recovery_ratio(
            injected=[INJECTED[i] for i in sample], recovered=[RECOVERED[i] for i in sample], confidence=0.9
        )
        for sample in combinations(range(8), 4)
    ]
    assert np.mean([ratio.ratio for ratio in found]) == pytest.approx(0.847024329272573, rel=1e-12)
    # The enumeration draws without replacement, so half of the population's variance is known away.
    variances = [ratio.standard_error**2 * (1 - 4 / 8) for ratio in found]
    assert np.mean(variances) == pytest.approx(0.00014009867092334763, rel=1e-9)


@pytest.mark.outside_check(
    "Student's t at 0.975 with 10 degrees of freedom is 2.228138851986274; how known: usual tables print "
    "2.228"
)
def test_recovery_ratio_uses_students_t_with_one_degree_less_than_readings() -> None:
    injected, recovered = [10.0] * 11, [8.0 + 0.1 * i for i in range(11)]
    low, high = recovery_ratio(injected=injected, recovered=recovered, confidence=0.95).interval or (0, 0)
    error = np.std(recovered, ddof=1) / np.sqrt(11) / 10
    assert (high - low) / 2 == pytest.approx(2.228138851986274 * error, rel=1e-9)


@pytest.mark.parametrize(
    ("injected", "recovered", "confidence", "named"),
    [
        ([1.0], [1.0], 0.9, "injected"),
        ([1.0, 2.0], [1.0], 0.9, "recovered"),
        ([1.0, 0.0], [1.0, 1.0], 0.9, "injected"),
        ([1.0, 2.0], [1.0, -1.0], 0.9, "recovered"),
        ([1.0, 2.0], [1.0, 1.0], 1.0, "confidence"),
    ],
)
def test_recovery_ratio_refuses_and_names_what_is_out_of_range(
    injected: list[float], recovered: list[float], confidence: float, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        recovery_ratio(injected=injected, recovered=recovered, confidence=confidence)
