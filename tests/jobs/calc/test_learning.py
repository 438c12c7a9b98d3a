"""Fits of ratios against textbook intervals, published variance components and limits of the model."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.calc.learning import (
    RatioFit,
    RatioPrior,
    fit_ratios,
    predict_each,
    predict_size,
    predict_spans,
)
from jobs.calc.learning_readings import Readings, gather_readings
from tests.jobs.calc.test_learning_grids import DYESTUFF, single_spans

VAGUE = RatioPrior(mean=1500.0, sd=100.0, readings=1e-6)
PRIOR = RatioPrior(mean=1.1, sd=0.1)
SINGLE = RatioFit(np.ones(1), np.array([4.0]), np.array([9.0]), np.array([[10.0, 2.0]]), np.eye(2)[None])


def no_readings(sizes: int) -> Readings:
    none: list[int] = []
    return gather_readings(
        totals=none, uncertainties=none, span_readings=none, span_sizes=none, span_volumes=none,
        number_of_sizes=sizes,
    )  # fmt: skip


@pytest.mark.outside_check(
    "a new value after n normal ones: mean +- t(0.95, n - 1) s sqrt(1 + 1/n); n = 5, t(0.95, 4) = 2.1318 "
    "(any table of Student's t); how known: closed form"
)
def test_predict_spans_of_one_size_is_student_t() -> None:
    sample = DYESTUFF[:1]
    fit = fit_ratios(readings=single_spans(sample), prior=VAGUE)
    found = predict_spans(fit, sizes=[0], volumes=[1.0], confidence=0.9)
    half = 2.1318 * sample.std(ddof=1) * np.sqrt(1.2)
    assert found.interval == pytest.approx((1505 - half, 1505 + half), abs=0.02 * half)


@pytest.mark.outside_check(
    "dyestuff (Davies 1947) by REML: variances 1764.05 and 2451.25, mean 1527.5, batch effects "
    "-17.61 0.39 28.56 -23.08 56.73 -44.99; how known: from memory of a mixed-model package's output, "
    "re-derived from the mean squares. At the node nearest to these variances, hence 5"
)
def test_fit_ratios_agrees_with_published_variance_components() -> None:
    fit = fit_ratios(readings=single_spans(DYESTUFF), prior=VAGUE)
    away = abs(fit.within_variances / 2451.25 - 1) + abs(fit.between_variances / 1764.05 - 1)
    effects = np.array([-17.61, 0.39, 28.56, -23.08, 56.73, -44.99])
    assert predict_size(fit, size=None, confidence=0.9).mean == pytest.approx(1527.5, abs=0.1)
    assert fit.means[away.argmin(), 1:] == pytest.approx(effects, abs=5)
    assert fit.within_sd == pytest.approx(49.51, rel=0.2)


@pytest.mark.outside_check(
    "variances of independent normals add, 1 + 1 + 4; the normal 0.95 quantile is 1.644854; clipped at its "
    "mean a normal has mean mu - sd / sqrt(2 pi); how known: closed form"
)
def test_predict_size_and_predict_spans_add_variances() -> None:
    own = predict_size(SINGLE, size=0, confidence=0.9)
    unseen = predict_size(SINGLE, size=None, confidence=0.9)
    span = predict_spans(SINGLE, sizes=[0], volumes=[3.0], confidence=0.9)
    pair = predict_spans(SINGLE, sizes=[0, 0], volumes=[3.0, 1.0], confidence=0.9)
    assert (own.mean, own.sd) == pytest.approx((12.0, np.sqrt(2)))
    assert (unseen.mean, unseen.sd) == pytest.approx((10.0, np.sqrt(10)))
    assert span.interval == pytest.approx((12 - 1.644854 * 6**0.5, 12 + 1.644854 * 6**0.5), abs=1e-5)
    assert pair.sd == pytest.approx(np.sqrt(2 + 4 * 10 / 16))
    assert predict_each(SINGLE, sizes=[0], confidence=0.9)[0].interval == pytest.approx(span.interval)
    clipped = predict_size(SINGLE, size=0, confidence=0.9, limits=(-100.0, 12.0))
    assert clipped.mean == pytest.approx(12 - 2**0.5 / np.sqrt(2 * np.pi))
    assert clipped.interval[1] == 12.0


def test_fit_ratios_before_any_reading_is_the_prior() -> None:
    fit = fit_ratios(readings=no_readings(2), prior=RatioPrior(mean=0.9, sd=0.1, readings=4))
    found = predict_spans(fit, sizes=[1], volumes=[5.0], confidence=0.9)
    assert found.mean == pytest.approx(0.9)
    assert found.sd == pytest.approx(0.1 * np.sqrt(1 + 1 / 4))


def test_fit_ratios_lets_many_readings_stand_and_few_borrow() -> None:
    random = np.random.default_rng(3)
    sizes = np.repeat([0, 1, 2, 3], [200, 200, 200, 2])
    values = np.array([1.0, 1.1, 1.2, 1.5])[sizes] + 0.2 * random.standard_normal(602)
    readings = gather_readings(
        totals=values, uncertainties=np.zeros(602), span_readings=np.arange(602), span_sizes=sizes,
        span_volumes=np.ones(602), number_of_sizes=5,
    )  # fmt: skip
    fit = fit_ratios(readings=readings, prior=PRIOR)
    means = [predict_size(fit, size=size, confidence=0.9).mean for size in (0, 3, 4, None)]
    assert means[0] == pytest.approx(values[sizes == 0].mean(), abs=0.01)
    assert 1.15 < means[1] < values[sizes == 3].mean()
    assert means[2] == pytest.approx(means[3])


def test_fit_ratios_of_shared_drums_finds_what_single_spans_show() -> None:
    random = np.random.default_rng(4)
    sizes, volumes = random.integers(0, 3, 3000), random.uniform(5, 40, 3000)
    totals = volumes * (np.array([0.95, 1.05, 1.2])[sizes] + 0.05 * random.standard_normal(3000))
    drums = np.arange(3000) // 3
    readings = gather_readings(
        totals=np.bincount(drums, totals), uncertainties=np.full(1000, 0.2), span_readings=drums,
        span_sizes=sizes, span_volumes=volumes, number_of_sizes=3,
    )  # fmt: skip
    fit = fit_ratios(readings=readings, prior=PRIOR)
    means = [predict_size(fit, size=size, confidence=0.9).mean for size in range(3)]
    assert means == pytest.approx([0.95, 1.05, 1.2], abs=0.01)
    assert fit.within_sd == pytest.approx(0.05, rel=0.1)


def test_fit_ratios_does_not_take_the_instrument_for_the_spans() -> None:
    random = np.random.default_rng(5)
    values = 0.95 + 0.02 * random.standard_normal((3, 400)) + 0.1 * random.standard_normal((3, 400))
    fit = fit_ratios(readings=single_spans(values, np.full(1200, 0.1)), prior=PRIOR)
    assert fit.within_sd < 0.05


def _history(
    seed: int, *, factor: float = 1.0, shift: float = 0.0, order: list[int] | None = None
) -> Readings:
    """Nine spans of three sizes in drums of one or two; another unit, origin or order of the sizes."""
    random = np.random.default_rng(seed)
    sizes, volumes = random.permutation([0, 0, 1, 1, 1, 2, 2, 2, 2]), random.uniform(5, 40, 9)
    drums = np.array([0, 1, 1, 2, 3, 4, 4, 5, 6])
    ratios = np.array([0.95, 1.05, 1.2])[sizes] + 0.05 * random.standard_normal(9)
    named = np.array(order or [0, 1, 2])
    return gather_readings(
        totals=np.bincount(drums, volumes * (factor * ratios + shift)),
        uncertainties=np.full(7, 0.2 * factor), span_readings=drums, span_sizes=named[sizes],
        span_volumes=volumes, number_of_sizes=3,
    )  # fmt: skip


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6), factor=st.floats(0.01, 100), shift=st.floats(-5, 5))
def test_predict_each_follows_the_unit_and_the_origin(seed: int, factor: float, shift: float) -> None:
    moved = RatioPrior(mean=factor * 1.1 + shift, sd=factor * 0.1)
    plain = predict_each(fit_ratios(readings=_history(seed), prior=PRIOR), sizes=[0, None], confidence=0.9)
    other = fit_ratios(readings=_history(seed, factor=factor, shift=shift), prior=moved)
    for one, two in zip(plain, predict_each(other, sizes=[0, None], confidence=0.9), strict=True):
        expected = [factor * value + shift for value in (one.mean, *one.interval)]
        assert [two.mean, *two.interval] == pytest.approx(expected, abs=1e-4 * factor)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6), order=st.permutations([0, 1, 2]))
def test_predict_each_does_not_depend_on_the_names_of_the_sizes(seed: int, order: list[int]) -> None:
    plain = predict_each(
        fit_ratios(readings=_history(seed), prior=PRIOR), sizes=[0, 1, 2, None], confidence=0.9
    )
    renamed = fit_ratios(readings=_history(seed, order=order), prior=PRIOR)
    found = predict_each(renamed, sizes=[*order, None], confidence=0.9)
    for one, two in zip(plain, found, strict=True):
        assert (two.mean, two.sd) == pytest.approx((one.mean, one.sd))
        assert two.interval == pytest.approx(one.interval, abs=1e-4)


def test_predict_each_is_predict_spans_of_one_span_of_each() -> None:
    fit = fit_ratios(readings=_history(1), prior=PRIOR)
    limits = (0.0, 1.1)
    each = predict_each(fit, sizes=[2, None], confidence=0.8, limits=limits)
    alone = [
        predict_spans(fit, sizes=[size], volumes=[7.0], confidence=0.8, limits=limits) for size in (2, None)
    ]
    for one, two in zip(each, alone, strict=True):
        assert (one.mean, one.sd, *one.interval) == pytest.approx((two.mean, two.sd, *two.interval))


def test_fit_ratios_is_calibrated_for_few_sizes_with_readings_to_spare_only() -> None:
    few = fit_ratios(readings=single_spans(np.array([[1.0, 1.1], [1.2, 1.1], [0.9, 1.0]])), prior=PRIOR)
    none_spare = fit_ratios(readings=single_spans(np.array([[1.0], [1.1], [1.2]])), prior=PRIOR)
    many = fit_ratios(readings=single_spans(np.tile([1.0, 1.1], (13, 1))), prior=PRIOR)
    assert few.design is not None
    assert (few.design.seen, few.design.spare) == ((0, 1, 2), 3)
    assert none_spare.design is None
    assert many.design is None
    # Nothing tells sizes apart here, so they count as alike.
    assert none_spare.between_sd == 0


@pytest.mark.parametrize(
    ("changed", "named"),
    [({"sd": 0.0}, "sd"), ({"readings": -1.0}, "readings"), ({"between_share": 1.0}, "between_share"),
     ({"mean": float("nan")}, "mean")],
)  # fmt: skip
def test_ratio_prior_refuses_and_names_what_is_out_of_range(changed: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        RatioPrior(**({"mean": 1.0, "sd": 0.1} | changed))


def test_predictions_refuse_and_name_what_is_out_of_range() -> None:
    with pytest.raises(ValueError, match="size"):
        predict_size(SINGLE, size=1, confidence=0.9)
    with pytest.raises(ValueError, match="confidence"):
        predict_size(SINGLE, size=0, confidence=1.0)
    with pytest.raises(ValueError, match="limits"):
        predict_size(SINGLE, size=0, confidence=0.9, limits=(1.0, 0.0))
    with pytest.raises(ValueError, match="volumes"):
        predict_spans(SINGLE, sizes=[], volumes=[], confidence=0.9)
    with pytest.raises(ValueError, match="bore"):
        predict_spans(SINGLE, sizes=[0], volumes=[0.0], confidence=0.9)
