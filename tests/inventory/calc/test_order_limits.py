"""What is worth ordering of goods that spoil or need room."""

import numpy as np
import pytest

from inventory.calc.order_limits import room_at_arrival, used_until, used_within_life

STEADY = np.arange(1, 31) * 2.0


@pytest.mark.outside_check(
    "Silver, Pyke & Peterson (1998), limits on order sizes: Q = D SL, 2 a day for 45 days are 90; how known: "
    "from memory"
)
def test_used_within_life_is_demand_times_life_where_nothing_is_left() -> None:
    given = {"use_by_day": STEADY, "daily_rate": 2.0, "arrival_day": 10}
    assert used_within_life(life_days=45, there=20.0, **given) == pytest.approx(90.0)
    # Ten units more are there when it comes: they go first, while the new lot ages.
    assert used_within_life(life_days=45, there=30.0, **given) == pytest.approx(80.0)
    assert used_within_life(life_days=45, there=500.0, **given) == 0.0


@pytest.mark.outside_check(
    "Silver, Pyke & Peterson (1998), limits on order sizes: capacity, 50 less 30 - 20 left; how known: "
    "worked by hand"
)
def test_room_at_arrival_is_what_is_not_taken_up() -> None:
    given = {"use_by_day": STEADY, "daily_rate": 2.0, "arrival_day": 10}
    assert room_at_arrival(room=50.0, there=30.0, **given) == pytest.approx(40.0)
    assert room_at_arrival(room=50.0, there=10.0, **given) == pytest.approx(50.0)
    assert room_at_arrival(room=50.0, there=90.0, **given) == 0.0


@pytest.mark.outside_check("a sum; how known: worked by hand")
def test_used_until_goes_on_at_the_daily_rate() -> None:
    assert used_until(use_by_day=STEADY, daily_rate=2.0, day=0) == 0.0
    assert used_until(use_by_day=STEADY, daily_rate=5.0, day=30) == 60.0
    assert used_until(use_by_day=STEADY, daily_rate=5.0, day=32) == 70.0


def test_used_within_life_refuses_what_cannot_be() -> None:
    given = {"use_by_day": STEADY, "daily_rate": 2.0, "arrival_day": 10, "there": 1.0}
    with pytest.raises(ValueError, match="life_days"):
        used_within_life(life_days=0, **given)
    with pytest.raises(ValueError, match="daily_rate"):
        used_within_life(life_days=3, **{**given, "daily_rate": -1.0})
    with pytest.raises(ValueError, match="day"):
        used_within_life(life_days=3, **{**given, "arrival_day": -1})
