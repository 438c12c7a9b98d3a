"""Networks of a day's fluid: fits, tests, suspects and what nobody can account for."""

import math

import numpy as np
import pytest
from scipy import stats

from jobs.calc.fluid_network import NetworkBalance, Stream, balance_network, find_unaccounted
from tests.jobs.calc.least_squares import solve_by_null_space


def _day(
    *, metered: float = 50.0, caught: float = 46.0, film: float = 4.0, drop: float = 50.0, meters: int = 1
) -> list[Stream]:
    """A drum pumped through a meter into spans, caught in one vessel; all in gallons."""
    streams = [
        Stream("drum start", None, "drum", 55.0, 0.02),
        Stream("drum end", "drum", None, 55.0 - drop, 0.02),
    ]
    for number in range(meters):
        part = metered / meters
        streams += [
            Stream(f"meter {number}", "drum", f"span {number}", part, 0.04, {"meter": 0.00577 * part}),
            Stream(f"film {number}", f"span {number}", None, film / meters, 0.05, {"film": 0.5 / meters}),
            Stream(f"caught {number}", f"span {number}", "catch"),
        ]
    return [*streams, Stream("catch end", "catch", None, caught, 0.03)]


def _by_kind(found: NetworkBalance) -> list[tuple[str, str]]:
    return [(suspect.kind, suspect.name) for suspect in found.suspects]


def test_balance_network_of_readings_that_fit_frees_nothing() -> None:
    found = balance_network(streams=_day())
    assert found.first.is_consistent
    assert found.freed == found.suspects == ()
    assert found.fit.reconciled == pytest.approx(found.first.reconciled)
    assert found.unaccounted.amount == pytest.approx(0.0)
    assert set(found.unaccounted.nodes) == {"drum", "span 0", "catch"}


@pytest.mark.outside_check(
    "general least squares with correlated errors: x = N z with N the null space of the balances, z by "
    "scipy.linalg.lstsq on whitened readings; how known: a general-purpose library, computed here"
)
def test_balance_network_agrees_with_a_general_optimiser_on_a_simulated_day() -> None:
    random = np.random.default_rng(11)
    streams = [
        Stream(
            stream.name,
            stream.source,
            stream.target,
            stream.measured + random.normal(0, stream.standard_uncertainty or 1.0),
            stream.own_uncertainty,
            stream.shared,
        )
        for stream in _day(meters=3)
    ]
    found = balance_network(streams=streams)
    values, misfit = solve_by_null_space(streams)
    assert found.first.reconciled == pytest.approx(values, abs=1e-9)
    assert found.first.global_statistic == pytest.approx(misfit, rel=1e-9)


@pytest.mark.outside_check(
    "a candidate's statistic is (g' W r)^2 / (g' W g) with W the inverse covariance of the residuals, worked "
    "with numpy; Narasimhan and Mah (1987); how known: formula from memory, computed here"
)
def test_balance_network_names_the_missing_fluid_by_its_likelihood_ratio() -> None:
    streams = [
        Stream("in", None, "a", 10.0, 0.1),
        Stream("between", "a", "b", 10.1, 0.2),
        Stream("out", "b", None, 8.0, 0.1),
    ]
    found = balance_network(streams=streams)
    matrix = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    residual = matrix @ [10.0, 10.1, 8.0]
    weight = np.linalg.inv(matrix @ np.diag([0.01, 0.04, 0.01]) @ matrix.T)
    direction = np.array([0.0, 1.0])
    expected = (direction @ weight @ residual) ** 2 / (direction @ weight @ direction)
    best = found.suspects[0]
    assert (best.kind, best.name) == ("missing", "b")
    assert best.statistic == pytest.approx(expected, rel=1e-6)
    assert [suspect.name for suspect in found.freed] == ["b"]
    assert found.freed[0].amount == pytest.approx(direction @ weight @ residual / (weight[1, 1]))
    assert found.fit.is_consistent


def test_balance_network_puts_missing_fluid_before_a_reading_that_explains_as_much() -> None:
    found = balance_network(streams=[Stream("in", None, "a", 10.0, 0.1), Stream("out", "a", None, 8.0, 0.1)])
    assert _by_kind(found) == [("missing", "a"), ("reading", "in"), ("reading", "out")]
    assert found.fit.reconciled == pytest.approx([10.0, 8.0])
    assert found.freed[0].amount == pytest.approx(2.0)


def test_balance_network_never_finds_too_much_fluid_missing() -> None:
    found = balance_network(streams=[Stream("in", None, "a", 8.0, 0.1), Stream("out", "a", None, 10.0, 0.1)])
    assert _by_kind(found) == [("reading", "in"), ("reading", "out")]
    assert found.unaccounted.amount == pytest.approx(-2.0)


def test_balance_network_names_a_meter_that_reads_too_high_and_sets_it_aside() -> None:
    found = balance_network(streams=_day(metered=56.0, meters=4))
    assert _by_kind(found)[0] == ("shared", "meter")
    assert [suspect.name for suspect in found.freed] == ["meter"]
    assert found.fit.is_consistent
    metered = [found.fit.reconciled[2 + 3 * number] for number in range(4)]
    # Drum and catch agree on 50 gal, whatever the meter says.
    assert sum(metered) == pytest.approx(50.0, abs=0.1)


def test_balance_network_finds_what_is_missing_at_a_span_and_leaves_containers_alone() -> None:
    found = balance_network(streams=_day(caught=40.0, meters=1))
    assert found.freed[0].kind == "missing"
    assert found.freed[0].amount == pytest.approx(6.0, abs=0.6)
    assert found.fit.adjustment[[0, 1]] == pytest.approx([0.0, 0.0], abs=0.02)
    assert found.unaccounted.amount == pytest.approx(6.0)


@pytest.mark.outside_check(
    "variance of a sum of correlated readings (GUM 5.2): 2 0.02^2 + 0.03^2 + 5 0.05^2 + 0.5^2; how known: "
    "worked by hand"
)
def test_find_unaccounted_lets_the_meter_cancel_and_adds_what_the_films_share() -> None:
    found = find_unaccounted(streams=_day(caught=43.0, meters=5))
    assert found.amount == pytest.approx(3.0)
    assert found.standard_uncertainty == pytest.approx(
        math.sqrt(2 * 0.02**2 + 0.03**2 + 5 * 0.05**2 + 0.5**2)
    )


def test_find_unaccounted_without_the_drums_end_falls_back_on_the_meter() -> None:
    streams = [
        Stream(stream.name, stream.source, stream.target) if stream.name == "drum end" else stream
        for stream in _day(caught=43.0)
    ]
    found = find_unaccounted(streams=streams)
    assert set(found.nodes) == {"span 0", "catch"}
    assert found.amount == pytest.approx(3.0)
    assert found.standard_uncertainty == pytest.approx(
        math.sqrt(0.04**2 + 0.2885**2 + 0.05**2 + 0.5**2 + 0.03**2)
    )


def test_find_unaccounted_tells_nothing_where_nothing_closes() -> None:
    found = find_unaccounted(streams=[Stream("in", None, "a", 10.0, 0.1), Stream("out", "a", None)])
    assert math.isnan(found.amount)
    assert found.nodes == ()


@pytest.mark.outside_check(
    "the global statistic of days on which nothing is wrong is chi-square with its degrees of freedom "
    "(scipy.stats.kstest); how known: a general-purpose library, computed here"
)
def test_balance_network_fails_five_days_in_a_hundred_where_nothing_is_wrong() -> None:
    random = np.random.default_rng(5)
    statistics, failed = [], 0
    true = _day(meters=3)
    for _day_number in range(400):
        shared = {"meter": random.normal(), "film": random.normal()}
        streams = [
            Stream(
                stream.name,
                stream.source,
                stream.target,
                stream.measured
                + random.normal(0, 1) * stream.own_uncertainty
                + sum(shared[name] * part for name, part in stream.shared.items()),
                stream.own_uncertainty,
                stream.shared,
            )
            for stream in true
        ]
        first = balance_network(streams=streams).first
        statistics.append(first.global_statistic)
        failed += not first.is_consistent
    assert first.degrees_of_freedom == 2
    assert stats.kstest(statistics, stats.chi2(2).cdf).pvalue > 0.01
    assert 8 <= failed <= 33


@pytest.mark.parametrize(
    ("streams", "named"),
    [
        ([], "at least one"),
        ([Stream("x", None, "a", 1.0, 1.0), Stream("x", "a", None, 1.0, 1.0)], "different names"),
        ([Stream("x", "a", "a", 1.0, 1.0)], "lead somewhere"),
        ([Stream("x", None, None, 1.0, 1.0)], "lead somewhere"),
    ],
)
def test_balance_network_refuses_what_is_no_network(streams: list[Stream], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        balance_network(streams=streams)
    with pytest.raises(ValueError, match=named):
        find_unaccounted(streams=streams)


def test_balance_network_refuses_a_confidence_that_is_none() -> None:
    with pytest.raises(ValueError, match="confidence"):
        balance_network(streams=_day(), confidence=1.0)


def test_balance_network_takes_guesses_only_where_the_readings_leave_a_stream_open() -> None:
    streams = [
        Stream("in a", None, "a", 10.0, 0.1),
        Stream("in b", None, "b", 10.0, 0.1),
        Stream("caught a", "a", "catch", guess=3.0),
        Stream("caught b", "b", "catch", guess=1.0),
        Stream("stays a", "a", None, guess=7.0),
        Stream("stays b", "b", None, guess=9.0),
        Stream("catch", "catch", None, 6.0, 0.1),
    ]
    found = balance_network(streams=streams)
    assert np.isnan(found.first.reconciled[2:6]).all()
    assert found.fit.reconciled[2:4].sum() == pytest.approx(6.0)
    assert found.fit.reconciled[2] > found.fit.reconciled[3] > 0
    assert found.fit.reconciled[[0, 1, 6]] == pytest.approx([10.0, 10.0, 6.0])
    assert np.isnan(found.fit.standard_uncertainty[2:6]).all()
    assert found.fit.degrees_of_freedom == found.first.degrees_of_freedom == 0
