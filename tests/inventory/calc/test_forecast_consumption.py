"""Scheduled work in the place of what was forecast."""

import numpy as np
import pytest

from inventory.calc.forecast_consumption import unscheduled_forecast


@pytest.mark.outside_check(
    "Silver, Pyke & Peterson (1998), chapter 15: orders in hand are part of the forecast, so a period's "
    "demand is the larger of the two; how known: from memory of the book"
)
def test_unscheduled_forecast_leaves_what_scheduled_work_does_not_take() -> None:
    left = unscheduled_forecast(forecast=[[10.0, 10.0, 10.0]], scheduled=[[4.0, 10.0, 0.0]], reach=0)
    assert left.tolist() == [[6.0, 0.0, 10.0]]


def test_unscheduled_forecast_lets_bunched_work_use_up_the_weeks_around_it() -> None:
    left = unscheduled_forecast(
        forecast=[[10.0, 10.0, 10.0, 10.0]], scheduled=[[0.0, 35.0, 0.0, 0.0]], reach=2
    )
    # Its own week, the one before, the one after, and 5 of the one two weeks on.
    assert left.tolist() == [[0.0, 0.0, 0.0, 5.0]]


def test_unscheduled_forecast_never_adds_up_to_more_than_the_larger_where_all_is_in_reach() -> None:
    random = np.random.default_rng(1)
    forecast, scheduled = random.uniform(0, 10, (50, 4)), random.uniform(0, 20, (50, 4))
    left = unscheduled_forecast(forecast=forecast, scheduled=scheduled, reach=4)
    both = (left + scheduled).sum(axis=1)
    assert both == pytest.approx(np.maximum(forecast.sum(axis=1), scheduled.sum(axis=1)))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"forecast": [[-1.0]], "scheduled": [[0.0]]}, "forecast"),
        ({"forecast": [[1.0]], "scheduled": [[0.0, 1.0]]}, "shape"),
        ({"forecast": [[1.0]], "scheduled": [[0.0]], "reach": -1}, "reach"),
    ],
)
def test_unscheduled_forecast_refuses_what_is_out_of_range(wrong: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        unscheduled_forecast(**wrong)  # type: ignore[arg-type]
