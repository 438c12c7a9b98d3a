"""Costs of draws against published exercises; nothing gained and nothing lost."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.cost_flows import StockEvent, cost_flow


def _events(*events: tuple[object, ...]) -> list[StockEvent]:
    return [StockEvent(*event) for event in events]


QUIZ = _events(
    ("receive", 3000, "0.60"), ("receive", 4000, "0.74"), ("draw", 4400),
    ("receive", 2200, "0.80"), ("draw", 2100),
)  # fmt: skip
DEVICES = _events(
    ("receive", 150, 21), ("draw", 120), ("receive", 225, 27), ("draw", 180), ("receive", 210, 33)
)


@pytest.mark.outside_check(
    "purchase and sales table of wizedu.com question 628894: moving average 4,535.50 and 1,984.50; "
    "how known: published answer read, first in first out by exact rational arithmetic"
)
def test_cost_flow_of_the_exercise() -> None:
    first = cost_flow(method="fifo", events=QUIZ)
    assert first.draw_costs == [2836, 1554]
    assert (first.cost_of_draws, first.ending_value) == (4390, 2130)
    assert first.layers == [(500, Fraction("0.74")), (2200, Fraction("0.8"))]
    average = cost_flow(method="weighted_average", events=QUIZ)
    assert average.draw_costs == [2992, Fraction("1543.5")]
    assert (average.cost_of_draws, average.ending_value) == (Fraction("4535.5"), Fraction("1984.5"))
    assert average.layers == [(2700, Fraction("0.735"))]
    assert average.ending_quantity == 2700


@pytest.mark.outside_check(
    "OpenStax Principles of Accounting Vol. 1, section 10.3, perpetual: first in first out 7,200 and 8,955, "
    "moving average 7,253 and 8,902; how known: book answers read, unrounded by exact arithmetic"
)
def test_cost_flow_of_the_book_example() -> None:
    first = cost_flow(method="fifo", events=DEVICES)
    assert (first.cost_of_draws, first.ending_value) == (7200, 8955)
    assert first.draw_costs == [2520, 4680]
    average = cost_flow(method="weighted_average", events=DEVICES)
    assert float(average.cost_of_draws) == pytest.approx(7252.941176, abs=1e-6)
    assert float(average.ending_value) == pytest.approx(8902.058824, abs=1e-6)


@pytest.mark.outside_check(
    "OpenStax Principles of Accounting Vol. 1, section 10.2, periodic: all that was bought, then what was "
    "sold: 8,955 and 7,200, average 27.615385; how known: quantities from memory, exact arithmetic"
)
def test_cost_flow_of_the_book_example_at_the_end_of_the_period() -> None:
    events = [*(event for event in DEVICES if event.kind == "receive"), StockEvent("draw", 300)]
    first = cost_flow(method="fifo", events=events)
    assert (first.cost_of_draws, first.ending_value) == (7200, 8955)
    average = cost_flow(method="weighted_average", events=events)
    assert float(average.cost_of_draws) == pytest.approx(8284.615385, abs=1e-6)
    assert float(average.ending_value) == pytest.approx(7870.384615, abs=1e-6)


def test_cost_flow_lets_what_came_back_leave_next() -> None:
    events = _events(
        ("receive", 10, 1),
        ("receive", 10, 2),
        ("draw", 12),
        ("return", 3, "1.5"),
        ("return", 1, 9),
        ("draw", 5),
    )
    found = cost_flow(method="fifo", events=events)
    assert found.draw_costs == [14, 9 + Fraction("4.5") + 2]
    assert found.layers == [(7, 2)]


def test_cost_flow_lets_what_came_back_join_the_average() -> None:
    events = _events(("receive", 10, 1), ("draw", 4), ("return", 2, 4), ("draw", 4))
    found = cost_flow(method="weighted_average", events=events)
    assert found.draw_costs == [4, 7]
    assert found.ending_value == 7


def test_cost_flow_leaves_exactly_nothing_when_all_is_drawn() -> None:
    events = [StockEvent("receive", "55", "8.37")] + [StockEvent("draw", "5")] * 11
    for method in ("fifo", "weighted_average"):
        found = cost_flow(method=method, events=events)
        assert (found.ending_quantity, found.ending_value, found.layers) == (0, 0, [])
        assert found.cost_of_draws == Fraction("460.35")


def test_cost_flow_of_nothing_is_nothing() -> None:
    found = cost_flow(method="fifo", events=_events(("receive", 0, 5), ("draw", 0)))
    assert (found.draw_costs, found.layers) == ([0], [])


AMOUNT = st.decimals(min_value=0, max_value=1000, places=3)
COMES = st.tuples(st.sampled_from(["receive", "return"]), AMOUNT, AMOUNT)
LEAVES = st.tuples(st.just("draw"), st.integers(0, 100))


@given(steps=st.lists(COMES | LEAVES, max_size=25), method=st.sampled_from(["fifo", "weighted_average"]))
def test_cost_flow_conserves_value_and_quantity(steps: list[tuple[object, ...]], method: str) -> None:
    held, came_in, events = Fraction(0), Fraction(0), []
    for step in steps:
        if step[0] == "draw":
            # A draw is a percentage of what is held, so that it is always there.
            quantity = held * step[1] / 100
            events.append(StockEvent("draw", quantity))
            held -= quantity
        else:
            events.append(StockEvent(*step))
            held += Fraction(step[1])
            came_in += Fraction(step[1]) * Fraction(step[2])
    found = cost_flow(method=method, events=events)
    assert found.cost_of_draws + found.ending_value == came_in
    assert found.ending_quantity == held == sum(quantity for quantity, _ in found.layers)


@pytest.mark.parametrize(
    ("events", "message"),
    [
        ([("receive", 5, 1), ("draw", 6)], r"events\[1\].draw must be at most the 5 held, got 6"),
        ([("receive", -5, 1)], r"events\[0\].receive must be 0 or more"),
        ([("receive", 5, -1)], r"events\[0\].unit_cost must be 0 or more"),
        ([("return", 5)], r"events\[0\].unit_cost must be given"),
        ([("sell", 5)], r"events\[0\] must be receive, draw or return"),
    ],
)
def test_cost_flow_names_what_is_out_of_range(events: list[tuple[object, ...]], message: str) -> None:
    for method in ("fifo", "weighted_average"):
        with pytest.raises(ValueError, match=f"^{message}"):
            cost_flow(method=method, events=_events(*events))


def test_cost_flow_refuses_another_method() -> None:
    with pytest.raises(ValueError, match=r"^method must be"):
        cost_flow(method="lifo", events=[])
