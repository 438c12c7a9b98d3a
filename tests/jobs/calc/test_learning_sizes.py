"""The sizes by themselves, against published variance components."""

import numpy as np
import pytest

from jobs.calc.learning_readings import gather_readings
from jobs.calc.learning_sizes import between_variances, estimate_sizes
from tests.jobs.calc.test_learning_grids import DYESTUFF, single_spans


@pytest.mark.outside_check(
    "means of equal readings are their averages, with variance sigma^2 / n; how known: closed form"
)
def test_estimate_sizes_of_single_readings_are_their_averages() -> None:
    found = estimate_sizes(readings=single_spans(DYESTUFF), within_variance=2451.25)
    assert found.estimates == pytest.approx(DYESTUFF.mean(axis=1))
    assert found.variances == pytest.approx(np.full(6, 2451.25 / 5))


def test_estimate_sizes_takes_shared_totals_apart() -> None:
    readings = gather_readings(
        totals=[2.1, 3.3, 1.0], uncertainties=[0.0] * 3, span_readings=[0, 0, 1, 1, 2],
        span_sizes=[0, 1, 0, 1, 0], span_volumes=[1.0, 1.0, 1.0, 2.0, 1.0], number_of_sizes=3,
    )  # fmt: skip
    found = estimate_sizes(readings=readings, within_variance=1e-4)
    assert found.sizes.tolist() == [0, 1]
    assert found.estimates == pytest.approx([0.97, 1.15], abs=0.05)


@pytest.mark.outside_check(
    "dyestuff (Davies 1947) by REML: between-batch variance 1764.05; balanced, so that all three estimators "
    "agree; how known: from memory of a mixed-model package's output, re-derived from the mean squares"
)
def test_between_variances_agree_with_published_variance_components() -> None:
    found = between_variances(readings=single_spans(DYESTUFF), within_variance=2451.25)
    assert list(found) == ["dersimonian_laird", "paule_mandel", "reml"]
    assert list(found.values()) == pytest.approx([1764.05] * 3, abs=0.1)


def test_between_variances_are_silent_where_the_totals_tell_no_sizes_apart() -> None:
    readings = gather_readings(
        totals=[2.1, 2.2], uncertainties=[0.0] * 2, span_readings=[0, 0, 1, 1], span_sizes=[0, 1, 0, 1],
        span_volumes=[1.0] * 4, number_of_sizes=2,
    )  # fmt: skip
    assert between_variances(readings=readings, within_variance=0.01) == {}
    with pytest.raises(ValueError, match="apart"):
        estimate_sizes(readings=readings, within_variance=0.01)
    with pytest.raises(ValueError, match="within"):
        between_variances(readings=readings, within_variance=0.0)
