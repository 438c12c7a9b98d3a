"""Fittings of a kit against tables of the binomial distribution."""

import pytest

from jobs.calc.fittings import count_fittings


@pytest.mark.outside_check(
    "smallest count whose binomial distribution function reaches the quantile, as in the usual tables "
    "(n 10, p .05: P(X<=1) .9139, P(X<=2) .9885); how known: printed by scipy.stats 1.17.1"
)
@pytest.mark.parametrize(
    ("spans", "probability", "quantile", "spares"),
    [(10, 0.05, 0.95, 2), (20, 0.1, 0.9, 4), (30, 0.02, 0.99, 3), (13, 0.03, 0.95, 2), (10, 0.05, 0.91, 1)],
)
def test_count_fittings_holds_the_binomial_quantile_as_spares(
    spans: int, probability: float, quantile: float, spares: int
) -> None:
    need = count_fittings(spans=spans, sets_in_use=1, loss_probability=probability, quantile=quantile)
    assert need.spares == spares


def test_count_fittings_at_an_exact_step_of_the_distribution_takes_the_lower_count() -> None:
    assert count_fittings(spans=3, sets_in_use=1, loss_probability=0.5, quantile=0.5).spares == 1


def test_count_fittings_never_holds_more_than_one_for_every_span() -> None:
    need = count_fittings(spans=3, sets_in_use=2, loss_probability=1.0, quantile=0.9)
    assert (need.in_place, need.spares) == (2, 1)


def test_count_fittings_of_fewer_spans_than_sets_rigs_only_those() -> None:
    need = count_fittings(spans=1, sets_in_use=4, loss_probability=0.2, quantile=0.99)
    assert (need.in_place, need.spares) == (1, 0)


def test_count_fittings_of_no_spans_is_none() -> None:
    need = count_fittings(spans=0, sets_in_use=2, loss_probability=0.2, quantile=0.99)
    assert (need.in_place, need.spares) == (0, 0)


@pytest.mark.parametrize(
    "wrong",
    [{"spans": -1}, {"sets_in_use": 0}, {"loss_probability": -0.1}, {"quantile": 0.0}, {"quantile": 1.0}],
)
def test_count_fittings_refuses_and_names_what_is_out_of_range(wrong: dict[str, float]) -> None:
    given = {"spans": 5, "sets_in_use": 1, "loss_probability": 0.1, "quantile": 0.9} | wrong
    with pytest.raises(ValueError, match=next(iter(wrong))):
        count_fittings(**given)  # type: ignore[arg-type]
