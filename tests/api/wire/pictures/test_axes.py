"""Ticks are round, few, and reach around what they measure."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.wire.pictures.axes import Axis, draw_level_lines, draw_upright_ticks, round_ticks
from api.wire.pictures.drawing import Drawing


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 10, [0, 2, 4, 6, 8, 10]),
        (0.82, 1.04, [0.8, 0.85, 0.9, 0.95, 1.0, 1.05]),
        (-3, 7, [-5, -2.5, 0, 2.5, 5, 7.5]),
        (5, 5, [5, 6]),
        (0, 0, [0, 0.1]),
    ],
)
def test_round_ticks_are_round(low, high, ticks):
    assert round_ticks(low, high) == pytest.approx(ticks)


@given(
    st.floats(-1e6, 1e6),
    st.floats(1e-3, 1e6),
    st.integers(3, 12),
)
def test_round_ticks_reach_around_the_range_and_are_few(low, reach, most):
    ticks = round_ticks(low, low + reach, most=most)
    assert 2 <= len(ticks) <= most
    assert ticks[0] <= low + 1e-6 * reach
    assert ticks[-1] >= low + reach - 1e-6 * reach


def test_round_ticks_refuses_what_is_no_range():
    with pytest.raises(ValueError, match="range"):
        round_ticks(2, 1)


def test_axis_runs_backwards_for_what_grows_upwards():
    axis = Axis(0, 50, 200, 0)
    assert [axis.place(value) for value in (0, 25, 50)] == [200, 100, 0]
    with pytest.raises(ValueError, match="rise"):
        Axis(1, 1, 0, 10)


@pytest.mark.parametrize("draw", [draw_level_lines, draw_upright_ticks])
def test_draw_lines_writes_every_number(draw):
    drawing = Drawing(100, 100, "t", "d")
    sides = {"left": 0, "right": 9} if draw is draw_level_lines else {"top": 0, "bottom": 9}
    draw(drawing, Axis(0, 2, 0, 100), [0, 1, 2], write=lambda value: f"{value:g} ft", **sides)
    assert all(f">{value} ft</text>" in drawing.to_svg() for value in (0, 1, 2))
