"""Cable length of a run."""

import pytest

from jobs.calc.cable import cable_length_m


@pytest.mark.outside_check(
    "MIL-HDBK-1012/3: 25 to 50 ft of slack in every other manhole and 0.75 of a manhole's perimeter are "
    "added to the route; how known: read; 400 + 350 + 500 ft, 50 ft of slack, 0.75 * 24 ft and two tails "
    "of 20 ft, with 5 percent on all, is 1425.9 ft by hand"
)
def test_cable_length_m_adds_slack_perimeter_and_tails_before_the_allowance() -> None:
    length = cable_length_m(
        span_lengths_m=[400, 350, 500], slack_m=[50, 0.75 * 24], tails_m=[20, 20], allowance_fraction=0.05
    )
    assert length == pytest.approx(1425.9)


def test_cable_length_m_of_bare_spans_is_their_sum() -> None:
    assert cable_length_m(span_lengths_m=[0.1] * 10) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"span_lengths_m": []},
        {"span_lengths_m": [1.0, 0.0]},
        {"slack_m": [-1.0]},
        {"tails_m": [float("nan")]},
        {"allowance_fraction": -0.01},
    ],
)
def test_cable_length_m_refuses_and_names_what_is_out_of_range(wrong: dict[str, object]) -> None:
    given: dict[str, object] = {"span_lengths_m": [1.0]}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        cable_length_m(**(given | wrong))  # type: ignore[arg-type]
