"""Where the variances are looked for, against published variance components and closed forms."""

import numpy as np
import pytest

from jobs.calc.learning_axes import turn_to_axes
from jobs.calc.learning_grids import Summary, between_grid, summarise_readings, weigh_ratios, within_grid
from jobs.calc.learning_readings import Readings, gather_readings
from tests.jobs.calc.test_pooling import SCHOOL_VARIANCES, SCHOOLS

# Dyestuff of Davies (1947): yield of six batches, five samples each [g].
DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)  # fmt: skip


def single_spans(values: np.ndarray, uncertainties: np.ndarray | None = None) -> Readings:
    """Readings of one span each; a row of values is a size."""
    number = values.size
    return gather_readings(
        totals=values.ravel(),
        uncertainties=np.zeros(number) if uncertainties is None else uncertainties,
        span_readings=np.arange(number),
        span_sizes=np.repeat(np.arange(len(values)), values.shape[1]),
        span_volumes=np.ones(number),
        number_of_sizes=len(values),
    )


@pytest.mark.outside_check(
    "eight schools pooled completely: mean 7.7 with standard error 4.1 (BDA3, section 5.5); how known: from "
    "memory"
)
def test_summarise_readings_gives_the_pooled_mean() -> None:
    readings = single_spans(SCHOOLS[:, None], np.sqrt(SCHOOL_VARIANCES))
    found = summarise_readings(readings, np.array([1e-9]), 2.0)
    precision = found.precisions[0].sum()
    assert 2 + found.moments[0].sum() / precision == pytest.approx(7.7, abs=0.05)
    assert precision**-0.5 == pytest.approx(4.1, abs=0.05)


@pytest.mark.outside_check(
    "dyestuff (Davies 1947), residual variance 2451.25 = within mean square with 24 degrees of freedom; "
    "its posterior mean is 24/22 of that (BDA3, section 3.2); how known: from memory of the printed output "
    "of a mixed-model package, mean square computed"
)
def test_within_grid_holds_the_scaled_inverse_chi_squared() -> None:
    readings = single_spans(DYESTUFF)
    grid, log_prior, _summary = within_grid(readings, origin=1500.0, spread=2000.0, worth=1e-6)
    squares = ((DYESTUFF - DYESTUFF.mean(axis=1, keepdims=True)) ** 2).sum()
    log_weight = log_prior - 12 * np.log(grid) - squares / (2 * grid)
    weights = np.exp(log_weight - log_weight.max())
    assert squares / 24 == pytest.approx(2451.25)
    assert weights @ grid / weights.sum() == pytest.approx(2451.25 * 24 / 22, rel=0.01)


def _nothing_read(*precisions: np.ndarray, number: int = 30) -> Summary:
    nodes, sizes = len(precisions), len(precisions[0])
    return Summary(np.array(precisions), np.zeros((nodes, sizes)), np.zeros(nodes), np.zeros(nodes), number)


def _between(summary: Summary, within: list[float], worth: float) -> tuple[np.ndarray, np.ndarray]:
    axes = turn_to_axes(summary.precisions)
    return between_grid(summary, axes, np.array(within), spread=1.0, worth=worth)


@pytest.mark.outside_check(
    "a prior of sigma and tau / sigma alone has no scale: another unit gives the same (location and scale "
    "families, any textbook); how known: closed form"
)
def test_between_grid_weighs_by_the_ratio_of_the_scatters() -> None:
    summary = _nothing_read(np.eye(6), np.eye(6) / 400)
    between, log_weight = _between(summary, [1.0, 400.0], 1e-12)
    assert between[1] == pytest.approx(400 * between[0])
    assert log_weight[1] == pytest.approx(log_weight[0], abs=1e-9)
    assert np.exp(log_weight).sum(axis=1) == pytest.approx(1)


def test_between_grid_falls_off_where_the_sizes_would_differ_more_than_was_thought() -> None:
    free = _between(_nothing_read(np.eye(6)), [1.0], 1e-12)[1]
    held = _between(_nothing_read(np.eye(6)), [1.0], 10.0)[1]
    assert (np.diff((held - free)[0]) < 0).all()


@pytest.mark.outside_check(
    "Jeffreys' rule for the logarithm of a variance component in a balanced layout is n tau^2 / (sigma^2 + "
    "n tau^2), 3 / 4 at n = 3 and tau = sigma (Box and Tiao 1973, section 5.2); how known: closed form"
)
def test_weigh_ratios_follows_jeffreys_rule_above_nothing() -> None:
    between = np.array([0.0, 0.01, 1.0, 100.0])
    weights = weigh_ratios(turn_to_axes(3 * np.eye(5)), between, spare=10)
    assert weights[2] / weights[3] == pytest.approx(0.75 * 301 / 300)
    assert weights.sum() == pytest.approx(1)


def test_weigh_ratios_takes_sizes_for_alike_until_readings_can_tell() -> None:
    axes, between = turn_to_axes(np.diag([1.0, 2.0, 3.0])), np.array([0.0, 0.1, 1.0, 10.0])
    alike = [weigh_ratios(axes, between, spare=spare)[0] for spare in (0, 1, 10, 1000)]
    assert alike[0] == 1
    assert (np.diff(alike) < 0).all()


def test_within_grid_of_many_readings_looks_where_all_of_them_do() -> None:
    random = np.random.default_rng(8)
    readings = single_spans(1.0 + 0.05 * random.standard_normal((4, 5000)))
    grid, log_prior, summary = within_grid(readings, origin=1.0, spread=0.01, worth=0.1)
    assert len(grid) == len(log_prior) == len(summary.moments)
    assert grid[0] < 0.05**2 < grid[-1]
    assert grid[-1] / grid[0] < 1.2


def test_between_grid_stays_at_the_prior_while_one_size_has_readings() -> None:
    assert _between(_nothing_read(np.diag([4.0, 0.0])), [0.3], 1.0)[0].tolist() == [[1.0]]


def test_grids_refuse_and_name_what_is_out_of_range() -> None:
    readings = single_spans(DYESTUFF)
    with pytest.raises(ValueError, match="within"):
        summarise_readings(readings, np.array([0.0]), 0.0)
    with pytest.raises(ValueError, match="spread"):
        within_grid(readings, origin=0.0, spread=0.0, worth=1.0)
    with pytest.raises(ValueError, match="worth"):
        _between(summarise_readings(readings, np.ones(1), 0.0), [1.0], -1.0)
