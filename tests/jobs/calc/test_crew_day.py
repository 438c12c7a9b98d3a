"""A crew-day's fluid: fixed days by hand, and single spans against the distributions they are drawn from."""

import numpy as np
import pytest

from jobs.calc.crew_day import CrewDayFluid, gather_spans, simulate_crew_day, simulate_crew_days

DRAWS = 40_000


def _simulate(*, reusable_fraction: float = 0.0, set_up_m3: float = 0.0, **spans: object) -> CrewDayFluid:
    gathered = gather_spans(**spans)  # type: ignore[arg-type]
    return simulate_crew_day(
        spans=gathered, reusable_fraction=reusable_fraction, set_up_m3=set_up_m3, draws=DRAWS, seed=11
    )


def test_simulate_crew_day_of_fixed_spans_without_reuse_is_all_that_is_injected() -> None:
    day = _simulate(bore_volume_m3=[10.0, 20.0], injected_mean=[1.2, 1.1], set_up_m3=0.5)
    assert day.load_m3(0.9) == pytest.approx(12 + 22 + 1)
    assert day.injected_mean_m3 == pytest.approx(35)


def test_simulate_crew_day_uses_what_was_caught_from_the_next_span_on() -> None:
    day = _simulate(
        bore_volume_m3=[10.0, 20.0],
        injected_mean=1.1,
        caught_mean=0.1,
        recovered_mean=0.9,
        reusable_fraction=0.5,
    )
    # 11 injected, of it 1.1 caught and half of that used again; the run is swept after the last span.
    assert day.load_m3(0.5) == pytest.approx(11 + 22 - 0.55)
    assert day.recovered_mean_m3 == pytest.approx(0.9 * 33)


def test_simulate_crew_day_uses_a_swept_run_from_the_next_span_on() -> None:
    day = _simulate(
        bore_volume_m3=[10.0, 10.0, 4.0],
        caught_mean=0.1,
        recovered_mean=0.9,
        run=[1, 1, 2],
        reusable_fraction=1.0,
    )
    # After two spans the truck is short of 20 - 1; both come back but for a tenth, so the third adds nothing.
    assert day.load_m3(0.5) == pytest.approx(19)
    assert day.swept_m3[0] == pytest.approx(16 + 3.2)


def test_simulate_crew_day_need_is_the_largest_along_the_way_not_the_last() -> None:
    day = _simulate(bore_volume_m3=[10.0, 1.0], recovered_mean=1.0, run=[1, 2], reusable_fraction=1.0)
    assert day.load_m3(0.5) == pytest.approx(10)


def test_simulate_crew_day_sweeps_a_run_extracted_on_an_earlier_day() -> None:
    day = _simulate(
        bore_volume_m3=[10.0, 8.0],
        recovered_mean=0.5,
        run=[1, 2],
        reusable_fraction=1.0,
        is_extracted_today=[False, True],
    )
    assert day.load_m3(0.5) == pytest.approx(8 - 5)
    assert day.injected_mean_m3 == pytest.approx(8)


def test_simulate_crew_day_does_not_count_a_run_swept_on_a_later_day() -> None:
    day = _simulate(bore_volume_m3=[10.0], recovered_mean=0.9, swept_after=[1])
    assert day.swept_m3[0] == 0


@pytest.mark.outside_check(
    "quantiles of the lognormal with mean 1.2 and sd 0.15; how known: printed by scipy.stats 1.17.1"
)
@pytest.mark.parametrize(
    ("quantile", "expected"), [(0.5, 1.190733452), (0.9, 1.396742714), (0.99, 1.590799229)]
)
def test_simulate_crew_day_draws_a_lognormal_ratio(quantile: float, expected: float) -> None:
    day = _simulate(bore_volume_m3=[1.0], injected_mean=1.2, injected_sd=0.15)
    assert day.load_m3(quantile) == pytest.approx(expected, rel=0.006)


@pytest.mark.outside_check(
    "quantiles .5 .1 .01 of the beta with mean 0.8 and sd 0.1; how known: printed by scipy.stats 1.17.1"
)
@pytest.mark.parametrize(("quantile", "share"), [(0.5, 0.813525897), (0.9, 0.662785880), (0.99, 0.521735724)])
def test_simulate_crew_day_draws_beta_shares(quantile: float, share: float) -> None:
    day = _simulate(
        bore_volume_m3=[1.0, 1.0], caught_mean=0.8, caught_sd=0.1, recovered_mean=0.8, reusable_fraction=1.0
    )
    assert day.load_m3(quantile) == pytest.approx(2 - share, rel=0.006)


def test_simulate_crew_day_with_the_same_seed_gives_the_same_answer() -> None:
    days = [_simulate(bore_volume_m3=[1.0, 2.0], injected_mean=1.2, injected_sd=0.1) for _ in range(2)]
    assert np.array_equal(days[0].shortfall_m3, days[1].shortfall_m3)


def test_simulate_crew_day_means_are_those_of_the_draws() -> None:
    day = _simulate(
        bore_volume_m3=np.linspace(1, 2, 8),
        injected_mean=1.15,
        injected_sd=0.1,
        caught_mean=0.12,
        caught_sd=0.03,
        recovered_mean=0.9,
        recovered_sd=0.04,
        set_up_m3=0.05,
    )
    assert day.injected_m3.mean() == pytest.approx(day.injected_mean_m3, rel=0.002)
    assert (day.caught_m3 + day.swept_m3).mean() == pytest.approx(day.recovered_mean_m3, rel=0.002)


@pytest.mark.parametrize(
    ("spans", "named"),
    [
        ({"bore_volume_m3": []}, "bore_volume_m3"),
        ({"bore_volume_m3": [1.0, 0.0]}, "span 1"),
        ({"bore_volume_m3": [1.0], "injected_mean": 0.0}, "injected_mean"),
        ({"bore_volume_m3": [1.0], "injected_sd": -0.1}, "injected_sd"),
        ({"bore_volume_m3": [1.0], "caught_mean": 1.1}, "caught_mean"),
        ({"bore_volume_m3": [1.0], "recovered_mean": 0.9, "recovered_sd": 0.3}, "recovered_sd"),
        ({"bore_volume_m3": [1.0, 1.0], "swept_after": [0, 0]}, "swept_after"),
    ],
)
def test_gather_spans_refuses_and_names_what_is_out_of_range(spans: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        gather_spans(**spans)  # type: ignore[arg-type]


@pytest.mark.outside_check(
    "a run is swept after its last span: convention of the trade; common practice, no source"
)
def test_gather_spans_takes_a_run_as_swept_after_its_last_span() -> None:
    assert gather_spans(bore_volume_m3=np.ones(5), run=[4, 4, 7, 4, 7]).swept_after.tolist() == [
        3,
        3,
        4,
        3,
        4,
    ]


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"reusable_fraction": 1.1}, "reusable_fraction"),
        ({"set_up_m3": -1.0}, "set_up_m3"),
        ({"draws": 0}, "draws"),
    ],
)
def test_simulate_crew_day_refuses_what_is_out_of_range(changed: dict[str, float], named: str) -> None:
    given = {"reusable_fraction": 0.5, "set_up_m3": 0.0, "draws": 10, "seed": 1} | changed
    with pytest.raises(ValueError, match=named):
        simulate_crew_day(spans=gather_spans(bore_volume_m3=[1.0]), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize("quantile", [0.0, 1.0, -1.0])
def test_load_m3_refuses_a_quantile_of_0_or_1(quantile: float) -> None:
    with pytest.raises(ValueError, match="quantile"):
        _simulate(bore_volume_m3=[1.0]).load_m3(quantile)


@pytest.mark.outside_check(
    "standard deviations of fully shared parts add, those of independent parts add in squares; how known: "
    "closed form"
)
def test_simulate_crew_day_lets_spans_of_a_size_share_what_nobody_knows_of_it() -> None:
    given = {"bore_volume_m3": [0.05] * 4, "injected_mean": 1.2, "injected_sd": 0.1}
    apart = _simulate(**given).injected_m3.std()
    together = _simulate(**given, injected_shared_sd=0.1).injected_m3.std()
    two_sizes = _simulate(**given, injected_shared_sd=0.1, size=[1, 1, 2, 2]).injected_m3.std()
    assert apart == pytest.approx(0.05 * 0.1 * 2, rel=0.05)
    assert together == pytest.approx(0.05 * 0.1 * 4, rel=0.05)
    assert two_sizes == pytest.approx(0.05 * 0.1 * 2 * 2**0.5, rel=0.05)


def test_gather_spans_refuses_a_shared_part_above_the_whole() -> None:
    with pytest.raises(ValueError, match="injected_shared_sd"):
        gather_spans(bore_volume_m3=[1.0], injected_sd=0.1, injected_shared_sd=0.2)


@pytest.mark.outside_check("days of one seed are those of each by itself; how known: common random numbers")
def test_simulate_crew_days_gives_each_day_as_by_itself() -> None:
    """Other spans, other sizes and ratios in the days before change nothing of a day."""
    given = {"reusable_fraction": 0.5, "set_up_m3": 0.002, "draws": 2_000, "seed": 7}
    days = [
        gather_spans(
            bore_volume_m3=[0.05] * count,
            injected_mean=mean,
            injected_sd=0.1,
            injected_shared_sd=0.05,
            caught_mean=0.2,
            caught_sd=0.05,
            recovered_mean=0.9,
            recovered_sd=0.03,
            size=size,
        )
        for count, mean, size in ((3, 1.2, 1), (2, 1.3, 2), (4, 1.2, 1))
    ]
    together = list(simulate_crew_days(days=days, **given))  # type: ignore[arg-type]
    for spans, found in zip(days, together, strict=True):
        alone = simulate_crew_day(spans=spans, **given)  # type: ignore[arg-type]
        assert np.array_equal(found.shortfall_m3, alone.shortfall_m3)
        assert np.array_equal(found.swept_m3, alone.swept_m3)


def test_simulate_crew_day_draws_its_spans_apart() -> None:
    """Two spans alike are two draws: the spread of their sum is that of independent ones."""
    given = {"injected_mean": 1.2, "injected_sd": 0.1, "caught_mean": 0.5, "caught_sd": 0.1}
    one = _simulate(bore_volume_m3=[1.0], recovered_mean=0.5, recovered_sd=0.1, **given)
    two = _simulate(bore_volume_m3=[1.0, 1.0], recovered_mean=0.5, recovered_sd=0.1, **given)
    assert two.injected_m3.std() == pytest.approx(one.injected_m3.std() * 2**0.5, rel=0.05)
    assert two.caught_m3.std() == pytest.approx(one.caught_m3.std() * 2**0.5, rel=0.05)
    # Caught and recovered of a span are apart too: of two shares of one mean half the draws sweep nothing.
    assert np.mean(one.swept_m3 == 0) == pytest.approx(0.5, abs=0.03)
