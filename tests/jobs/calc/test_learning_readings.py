"""Totals over spans as ratios with what scatters them."""

from typing import Any

import pytest

from jobs.calc.learning_readings import gather_readings

GIVEN: dict[str, Any] = {
    "totals": [44.0, 9.0, 33.0],
    "uncertainties": [0.4, 0.0, 0.3],
    "span_readings": [0, 0, 1, 2, 2],
    "span_sizes": [1, 1, 0, 0, 2],
    "span_volumes": [10.0, 30.0, 10.0, 7.5, 22.5],
    "number_of_sizes": 3,
}


@pytest.mark.outside_check(
    "44 over spans of 10 and 30: ratio 44/40 = 1.1, sum V^2 / (sum V)^2 = 1000/1600 = 0.625, (0.4/40)^2 = "
    "0.0001; how known: computed by hand from the variance of a weighted mean"
)
def test_gather_readings_weights_spans_by_their_volumes() -> None:
    found = gather_readings(**GIVEN)
    assert found.ratios == pytest.approx([1.1, 0.9, 1.1])
    assert found.concentrations == pytest.approx([0.625, 1.0, 0.625])
    assert found.measurement_variances == pytest.approx([0.0001, 0.0, 0.0001])


def test_gather_readings_keeps_the_shares_of_a_drum_that_served_two_sizes() -> None:
    found = gather_readings(**GIVEN)
    assert found.only_sizes[:2].tolist() == [1, 0]
    assert found.mixed.tolist() == [2]
    assert found.shares[0] == pytest.approx([0.25, 0.0, 0.75])


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"uncertainties": [0.4, -0.1, 0.3]}, "uncertainties must be at least 0.*index 1"),
        ({"uncertainties": [0.4]}, "uncertainties"),
        ({"totals": [44.0, float("nan"), 33.0]}, "totals must be finite.*index 1"),
        ({"span_volumes": [10.0, 30.0, 0.0, 7.5, 22.5]}, "span_volumes must be above 0.*index 2"),
        ({"span_volumes": [10.0]}, "span_volumes"),
        ({"span_readings": [0, 0, 2, 2, 2]}, "cover at least one span.*index 1"),
        ({"span_readings": [0, 0, 1, 2, 3]}, "span_readings"),
        ({"span_readings": [0, 0, 1, 2, 1.5]}, "whole numbers"),
        ({"span_sizes": [1, 1, 0, 0, 3]}, "span_sizes"),
        ({"number_of_sizes": 0}, "number_of_sizes"),
    ],
)
def test_gather_readings_refuses_and_names_what_is_out_of_range(changed: dict[str, Any], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        gather_readings(**(GIVEN | changed))
