"""Reconciliation against published examples, and its answers where measurements are missing or exact."""

from typing import Any

import numpy as np
import pytest

from jobs.calc import balance
from jobs.calc.balance import Reconciliation, reconcile
from tests.jobs.calc.published_networks import NETWORKS

NAN = float("nan")
# VDI 2048 Part 1, heat circuit, with half-widths of 2.5 for the two feedwater flows.
HEAT_CIRCUIT = [46.241, 45.668, 44.575, 44.319, 0.525, 69.978, 10.364, 3.744, 4.391, 18.498]
HEAT_CIRCUIT_HALF_WIDTHS = [2.5, 2.5, 0.535, 0.532, 0.105, 0.854, 0.168, 0.058, 0.058, 0.205]
HEAT_CIRCUIT_BALANCES = [
    [1, 1, -1, -1, 0.4, 0, 0, 0, 0, 0],
    [0, 0, 1, 1, -1, -1, -1, -1, -1, 0],
    [0, 0, 0, 0, 0, 0, 1, 1, 1, -1],
]


def _heat_circuit() -> Reconciliation:
    return reconcile(
        measured=HEAT_CIRCUIT,
        standard_uncertainty=np.array(HEAT_CIRCUIT_HALF_WIDTHS) / 1.96,
        balances=HEAT_CIRCUIT_BALANCES,
        correlations=[(0, 1, 0.2), (2, 3, 0.4)],
    )


@pytest.mark.outside_check(
    "VDI 2048 Part 1 heat-circuit example, reconciled values and half-widths as printed to three places; how "
    "known: read in a table that compares a public simulation tool with the standard"
)
def test_reconcile_agrees_with_the_printed_values_of_the_standard() -> None:
    found = _heat_circuit()
    printed = [44.696, 44.123, 44.643, 44.386, 0.524, 70.005, 10.364, 3.744, 4.391, 18.499]
    half_widths = [1.611, 1.611, 0.425, 0.424, 0.105, 0.615, 0.133, 0.057, 0.057, 0.137]
    assert found.reconciled == pytest.approx(printed, abs=6e-4)
    assert found.standard_uncertainty * 1.96 == pytest.approx(half_widths, abs=6e-4)


@pytest.mark.outside_check(
    "the same example to full precision: global statistic 2.5370147924209556, critical value "
    "7.814727903251179, "
    "single statistics; how known: computed independently (numpy 2.4.6, scipy 1.17.1)"
)
def test_reconcile_with_correlations_agrees_with_an_independent_computation() -> None:
    found = _heat_circuit()
    assert found.reconciled[0] == pytest.approx(44.69595657253166, abs=1e-9)
    assert found.global_statistic == pytest.approx(2.5370147924209556, rel=1e-9)
    assert found.critical_value == pytest.approx(7.814727903251179, abs=1e-9)
    assert found.test_statistic[:4] == pytest.approx([1.583798, 1.583798, 0.408492, 0.408492], abs=1e-6)
    assert found.is_consistent
    assert found.suspects == []


@pytest.mark.outside_check(
    "Rao and Narasimhan (1996), three streams: 8.38, 5.06, 3.32; global statistic 12.813201051002613; how "
    "known: read in a public collection of benchmarks, full precision computed independently"
)
def test_reconcile_of_one_gross_error_in_one_balance_suspects_every_stream_alike() -> None:
    found = reconcile(
        measured=[9.22, 4.83, 3.22],
        standard_uncertainty=np.sqrt([0.07650756, 0.02099601, 0.00933156]),
        balances=[[1, -1, -1]],
    )
    assert found.reconciled == pytest.approx([8.38, 5.06, 3.32], abs=0.003)
    assert found.global_statistic == pytest.approx(12.813201051002613, rel=1e-9)
    assert not found.is_consistent
    assert found.suspects == [0, 1, 2]


@pytest.mark.outside_check(
    "Yang, Ten and Jao (1995), eight streams: reconciled values printed, largest single statistic "
    "5.6725732 at "
    "the first stream; how known: read in a public collection of benchmarks, statistics computed "
    "independently"
)
def test_reconcile_names_the_stream_with_the_gross_error() -> None:
    found = reconcile(
        measured=[110.1, 41.1, 79.0, 30.6, 108.3, 19.8, 55.0, 39.0],
        standard_uncertainty=np.sqrt([3.234, 1.803, 1.665, 0.999, 3.129, 0.418, 3.228, 1.623]),
        balances=[
            [1, -1, 0, 0, 0, 0, -1, 0],
            [0, 1, -1, 0, 0, 0, 0, 1],
            [0, 0, 1, 1, -1, 0, 0, 0],
            [0, 0, 0, 0, 0, -1, 1, -1],
        ],
    )
    printed = [101.33905, 42.529144, 80.900036, 29.825573, 110.72561, 20.439015, 58.809907, 38.370892]
    assert found.reconciled == pytest.approx(printed, rel=2e-7)
    assert found.test_statistic[0] == pytest.approx(5.6725732405525155, rel=1e-9)
    assert found.suspects == [0]


@pytest.mark.outside_check(
    "one balance of a drum: reconciled values and uncertainties by v_i = -+ s_i^2 r / sum s^2; how known: "
    "closed "
    "form, computed independently (numpy 2.4.6)"
)
def test_reconcile_of_a_drum_splits_the_imbalance_by_variance() -> None:
    found = reconcile(
        measured=[205.0, 171.4, 22.6, 8.3],
        standard_uncertainty=[1.0, 2.0, 0.8, 1.5],
        balances=[[1, -1, -1, -1]],
    )
    assert found.reconciled == pytest.approx(
        [204.65779467680608, 172.76882129277567, 22.81901140684411, 9.06996197718631], abs=1e-9
    )
    assert found.standard_uncertainty == pytest.approx(
        [0.9344823635071755, 1.4043206910443606, 0.766867775463515, 1.2682133176289416], abs=1e-9
    )


@pytest.mark.outside_check(
    "eight networks of a public collection of benchmarks, reconciled values, global and largest single "
    "statistics; how known: read there, full precision computed independently (numpy 2.4.6, scipy 1.17.1)"
)
@pytest.mark.parametrize("name", NETWORKS)
def test_reconcile_agrees_with_published_networks(name: str) -> None:
    case = NETWORKS[name]
    balances = np.zeros((len(case.balances), len(case.measured)))
    for row, streams in zip(balances, case.balances, strict=True):
        for stream in streams:
            row[abs(stream) - 1] = np.sign(stream)
    found = reconcile(measured=case.measured, standard_uncertainty=np.sqrt(case.variances), balances=balances)
    assert found.reconciled == pytest.approx(case.reconciled, rel=1e-8)
    assert found.global_statistic == pytest.approx(case.global_statistic, rel=1e-8)
    assert found.degrees_of_freedom == case.degrees_of_freedom
    assert found.is_consistent is case.is_consistent
    largest = np.nanmax(found.test_statistic)
    assert found.test_statistic[case.most_suspect] == pytest.approx(largest, rel=1e-9)


@pytest.mark.outside_check(
    "chi-square quantiles at 0.95; how known: printed by scipy.stats 1.17.1, rounded in the usual tables"
)
@pytest.mark.parametrize(
    ("freedom", "critical"),
    [
        (1, 3.841458820694124),
        (2, 5.991464547107979),
        (3, 7.814727903251179),
        (4, 9.487729036781154),
        (5, 11.070497693516351),
        (6, 12.591587243743977),
        (10, 18.307038053275146),
        (11, 19.67513757268249),
    ],
)
def test_reconcile_takes_the_critical_value_at_the_confidence_asked_for(
    freedom: int, critical: float
) -> None:
    chain = np.eye(freedom, freedom + 1) - np.eye(freedom, freedom + 1, 1)
    found = reconcile(
        measured=[1.0] * (freedom + 1), standard_uncertainty=[1.0] * (freedom + 1), balances=chain
    )
    assert (found.degrees_of_freedom, found.critical_value) == (freedom, pytest.approx(critical, abs=1e-6))


def test_reconcile_determines_an_unmeasured_stream_from_the_others() -> None:
    found = reconcile(measured=[10.0, 4.0, NAN], standard_uncertainty=[0.3, 0.4, NAN], balances=[[1, -1, -1]])
    assert found.reconciled[2] == pytest.approx(6)
    assert found.standard_uncertainty[2] == pytest.approx(0.5)
    assert found.degrees_of_freedom == 0
    assert np.isnan(found.test_statistic).all()
    assert np.isnan(found.critical_value)
    assert found.is_consistent


def test_reconcile_leaves_an_undetermined_stream_open() -> None:
    found = reconcile(
        measured=[10.0, NAN, NAN, NAN, 7.0],
        standard_uncertainty=[1.0, NAN, NAN, NAN, 1.0],
        balances=[[1, -1, -1, 0, 0], [0, 0, 0, 1, -1]],
    )
    assert np.isnan(found.reconciled).tolist() == [False, True, True, False, False]
    assert found.reconciled[3] == pytest.approx(7)


def test_reconcile_uses_what_is_redundant_beside_an_unmeasured_stream() -> None:
    """Two readings of one stream are averaged although a loss between other nodes is not measured."""
    found = reconcile(
        measured=[10.0, 12.0, 5.0, NAN],
        standard_uncertainty=[1.0, 1.0, 1.0, NAN],
        balances=[[1, -1, 0, 0], [0, 1, -1, -1]],
    )
    assert found.reconciled == pytest.approx([11, 11, 5, 6])
    assert found.standard_uncertainty == pytest.approx(np.sqrt([0.5, 0.5, 1, 1.5]))
    assert np.isnan(found.test_statistic).tolist() == [False, False, True, True]


def test_reconcile_agrees_with_the_dense_normal_equations_on_a_random_network() -> None:
    random = np.random.default_rng(3)
    balances = random.integers(-1, 2, (12, 30)).astype(float)
    measured, sd = random.uniform(1, 9, 30), random.uniform(0.1, 1, 30)
    found = reconcile(measured=measured, standard_uncertainty=sd, balances=balances)
    covariance = np.diag(sd**2)
    gain = covariance @ balances.T @ np.linalg.inv(balances @ covariance @ balances.T)
    assert found.reconciled == pytest.approx(measured - gain @ balances @ measured)
    assert found.standard_uncertainty == pytest.approx(
        np.sqrt(np.diag(covariance - gain @ balances @ covariance))
    )
    assert np.abs(balances @ found.reconciled).max() < 1e-10


def test_reconcile_does_not_count_a_balance_twice() -> None:
    once = reconcile(measured=[3.0, 4.0], standard_uncertainty=[1.0, 1.0], balances=[[1, -1]])
    twice = reconcile(measured=[3.0, 4.0], standard_uncertainty=[1.0, 1.0], balances=[[1, -1], [-2, 2]])
    assert twice.degrees_of_freedom == 1
    assert twice.global_statistic == pytest.approx(once.global_statistic)


def test_reconcile_keeps_an_exact_stream() -> None:
    found = reconcile(measured=[10.0, 9.0], standard_uncertainty=[0.0, 1.0], balances=[[1, -1]])
    assert found.reconciled == pytest.approx([10, 10])
    assert np.isnan(found.test_statistic[0])


def test_reconcile_is_not_led_astray_by_widely_different_uncertainties() -> None:
    found = reconcile(
        measured=[1.0, 2.0, 4.0],
        standard_uncertainty=[1e-7, 1e5, 1e-7],
        balances=[[1, -1, 0], [0, 1, -1]],
    )
    assert found.reconciled == pytest.approx([2.5, 2.5, 2.5])
    assert found.degrees_of_freedom == 2


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"standard_uncertainty": [1.0, -1.0]}, "standard_uncertainty"),
        ({"standard_uncertainty": [1.0]}, "standard_uncertainty"),
        ({"balances": [[1, -1, 1]]}, "balances"),
        ({"confidence": 1.0}, "confidence"),
        ({"correlations": [(0, 1, 1.5)]}, "correlations"),
        ({"correlations": [(0, 0, 0.5)]}, "correlations"),
        ({"correlations": [(0, 1, 0.5), (1, 0, 0.5)]}, "correlations"),
        ({"standard_uncertainty": [0.0, 0.0]}, "balances contradict"),
    ],
)
def test_reconcile_refuses_and_names_what_is_out_of_range(wrong: dict[str, object], named: str) -> None:
    given = {"measured": [1.0, 2.0], "standard_uncertainty": [1.0, 1.0], "balances": [[1, -1]]} | wrong
    with pytest.raises(ValueError, match=named):
        reconcile(**given)  # type: ignore[arg-type]


def test_reconcile_refuses_correlations_that_no_errors_have() -> None:
    with pytest.raises(ValueError, match="correlations contradict"):
        reconcile(
            measured=[1.0, 2.0, 3.0],
            standard_uncertainty=[1.0, 1.0, 1.0],
            balances=[[1, 1, -1]],
            correlations=[(0, 1, 0.9), (1, 2, 0.9), (0, 2, -0.9)],
        )


def _random_network(nodes: int, *, smallest_sd: float) -> dict[str, Any]:
    chance = np.random.default_rng(nodes)
    balances = np.zeros((nodes, 2 * nodes))
    for stream, (tail, head) in enumerate(chance.integers(-1, nodes, (2 * nodes, 2))):
        if tail >= 0:
            balances[tail, stream] -= 1
        if head >= 0:
            balances[head, stream] += 1
    measured = chance.uniform(1, 10, 2 * nodes)
    measured[: nodes // 5] = np.nan
    spread = 10 ** chance.uniform(np.log10(smallest_sd), 0, 2 * nodes)
    return {"measured": measured, "standard_uncertainty": spread, "balances": balances}


@pytest.mark.parametrize(("smallest_sd", "is_squared"), [(0.05, True), (1e-6, False)])
def test_reconcile_of_a_large_network_is_the_same_by_either_factor(
    monkeypatch: pytest.MonkeyPatch, smallest_sd: float, is_squared: bool
) -> None:
    network = _random_network(200, smallest_sd=smallest_sd)
    kept = []
    factor = balance._factor_gram
    monkeypatch.setattr(balance, "_factor_gram", lambda *given: kept.append(factor(*given)) or kept[-1])
    found = reconcile(**network)
    assert (kept[0] is not None) is is_squared
    monkeypatch.setattr(balance, "_factor_gram", lambda *_given: None)
    expected = reconcile(**network)
    assert found.reconciled == pytest.approx(expected.reconciled, abs=1e-8, nan_ok=True)
    assert found.standard_uncertainty == pytest.approx(expected.standard_uncertainty, abs=1e-6, nan_ok=True)
    assert found.global_statistic == pytest.approx(expected.global_statistic, rel=1e-9)
    assert found.suspects == expected.suspects


def test_reconcile_of_a_large_network_with_a_balance_told_twice_counts_it_once() -> None:
    network = _random_network(200, smallest_sd=0.05)
    twice = {**network, "balances": np.vstack([network["balances"], network["balances"][:3]])}
    assert reconcile(**twice).degrees_of_freedom == reconcile(**network).degrees_of_freedom
