"""Reorder points of restocking, live and replayed alike."""

from typing import Any

import numpy as np
import pytest

from inventory.calc.back_testing import foresee_by_method
from inventory.calc.live_policy import FollowedPolicy, follow_policy
from inventory.calc.spread_lessons import factors_by_row


def follow(**changed: Any) -> FollowedPolicy:
    given: dict[str, Any] = {
        "rate": [7.0, 7.0],
        "sd": [0.0, 3.0],
        "rate_error": [0.0, 0.0],
        "lead_time": [1.0, 3.0],
        "lead_time_sd": [0.0, 0.0],
        "review_period": [1.0, 1.0],
        "order_quantity": [7.0, 7.0],
        "share": [0.95, 0.95],
        "minimum": [0.0, 0.0],
    } | changed
    return follow_policy(
        **{name: np.array(values) for name, values in given.items()},
        classes=np.array(["", "smooth"], dtype=object),
        factors={("smooth", False): 2.0},
        is_fill_rate=np.zeros(2, dtype=bool),
        is_whole=np.array([True, False]),
    )


@pytest.mark.outside_check(
    "Poisson of mean 14 passes 0.95 at 20; 28 and 2 x 1.6449 x 3 sqrt(4) of a normal, Silver, Pyke & "
    "Peterson (1998) section 7.7; how known: tables and by hand"
)
def test_follow_policy_takes_shape_or_what_was_learnt() -> None:
    assert follow().reorder_point.tolist() == pytest.approx([20, 28 + 2 * 1.644854 * 6], abs=1e-4)


@pytest.mark.outside_check(
    "the stock left when the order comes is the point less the mean need until then, Silver, Pyke & Peterson "
    "(1998) section 7.2; how known: by hand"
)
def test_follow_policy_keeps_above_a_minimum_set_by_hand() -> None:
    found = follow(minimum=[30.0, 30.0])
    # Ordered when less than 30 would be left after 14 pieces, or 28 of what can be divided.
    assert found.reorder_point.tolist() == [43, 58]
    assert found.levels.reorder_point.tolist() == follow().reorder_point.tolist()
    assert follow(minimum=[3.0, 3.0]).reorder_point.tolist() == follow().reorder_point.tolist()


@pytest.mark.outside_check(
    "each class its own factor, Snyder & Shen (2019) section 5.3.2; how known: by hand"
)
def test_factors_by_row_goes_by_class_and_kind_of_target() -> None:
    classes = np.array(["smooth", "smooth", "lumpy"], dtype=object)
    found = factors_by_row({("smooth", True): 1.5}, classes, np.array([True, False, True]))
    np.testing.assert_array_equal(found, [1.5, np.nan, np.nan])


@pytest.mark.outside_check(
    "SBA takes 1 - 0.1 / 2 of Croston's rate, Syntetos & Boylan (2005); how known: by hand"
)
def test_foresee_by_method_takes_each_series_as_is_wanted() -> None:
    history = np.full((5, 20), 7.0)
    history[4, :17] = np.nan
    methods = np.array(["croston", "sba", "none", "auto", "auto"], dtype=object)
    found = foresee_by_method(history, methods=methods)
    assert found.rates[:3].tolist() == pytest.approx([7, 6.65, 0])
    assert found.methods[:3].tolist() == ["croston", "sba", ""]
    # The last one is known for three periods only.
    assert (found.rates[3] > 0, found.rates[4], found.classes[4]) == (True, 0, "")
    assert foresee_by_method(history).rates[1] == found.rates[3]


def test_foresee_by_method_refuses_what_is_no_method() -> None:
    with pytest.raises(ValueError, match="method"):
        foresee_by_method(np.ones((1, 8)), methods=np.array(["guess"], dtype=object))
