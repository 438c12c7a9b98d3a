"""Count classes and count samples against published and exactly computed values."""

from fractions import Fraction
from typing import Any

import pytest

from inventory.calc.counting import CountedItem, count_classes, count_sample

BOREKI = {
    name: CountedItem(demand, cost)
    for name, demand, cost in [
        ("A2", 3000, 50), ("B8", 4000, 12), ("C7", 1500, 45), ("D1", 6000, 10), ("E9", 1000, 20),
        ("F3", 500, 500), ("G2", 300, 1500), ("H2", 600, 20), ("I5", 1750, 10), ("J8", 2500, 5),
    ]
}  # fmt: skip


@pytest.mark.outside_check(
    "ten items of a classification exercise in Heizer & Render, Operations Management; "
    "how known: item data read in a stored page, values, ranking and shares recomputed independently"
)
def test_count_classes_rank_by_value() -> None:
    found = count_classes(items=BOREKI)
    assert list(found.classes) == ["G2", "F3", "A2", "C7", "D1", "B8", "E9", "I5", "J8", "H2"]
    assert "".join(found.classes.values()) == "AAABBBCCCC"
    assert found.annual_value["G2"] == 450_000
    assert sum(found.annual_value.values()) == 1_087_500
    shares = [float(share) for share in found.cumulative_share.values() if share is not None]
    assert shares[:4] == pytest.approx(
        [0.41379310344827586, 0.6436781609195402, 0.7816091954022989, 0.8436781609195402]
    )
    assert shares[-1] == 1


def test_count_classes_keep_the_item_that_just_reaches_a_limit() -> None:
    # In floats 0.7 + 0.1 is a little less than 0.8 and three times 0.1 a little more than 0.3.
    items = {name: CountedItem(1, cost) for name, cost in [("a", 0.7), ("b", 0.1), ("c", 0.1), ("d", 0.1)]}
    assert count_classes(items=items).classes == {"a": "A", "b": "A", "c": "B", "d": "C"}


def test_count_classes_keep_the_order_of_equals_and_take_other_limits() -> None:
    items = {name: CountedItem(1, 1) for name in "zyxw"}
    found = count_classes(items=items, limits=[0.25, 0.5, 0.75])
    assert found.classes == {"z": "A", "y": "B", "x": "C", "w": "D"}


def test_count_classes_of_one_item_put_it_below_the_last_limit() -> None:
    assert count_classes(items={"a": CountedItem(2, 3)}).classes == {"a": "C"}


def test_count_classes_of_what_is_worth_nothing_have_no_share() -> None:
    found = count_classes(items={"a": CountedItem(0, 3), "b": CountedItem(0, 1)})
    assert found.classes == {"a": "C", "b": "C"}
    assert found.cumulative_share == {"a": None, "b": None}
    assert count_classes(items={}).classes == {}


@pytest.mark.parametrize(
    ("items", "limits", "name"),
    [
        ({"a": CountedItem(-1, 1)}, [0.8], "items.a.annual_demand"),
        ({"a": CountedItem(1, -1)}, [0.8], "items.a.unit_cost"),
        ({}, [0.9, 0.8], "limits"),
        ({}, [0.8, 1], "limits"),
        ({}, [], "limits"),
    ],
)
def test_count_classes_name_what_is_out_of_range(
    items: dict[str, CountedItem], limits: list[float], name: str
) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must"):
        count_classes(items=items, limits=limits)


@pytest.mark.outside_check(
    "zero-acceptance sampling at 5 %, 95 % and 90 %; how known: computed with scipy 1.17.1 hypergeom, "
    "the limits 59 and 45 for large N in closed form"
)
@pytest.mark.parametrize(
    ("population", "sure", "fairly_sure"),
    [
        (10, 10, 9), (20, 19, 18), (50, 31, 27), (100, 45, 37), (200, 51, 41), (500, 56, 43),
        (1000, 57, 44), (5000, 59, 45), (10_000, 59, 45), (10**9, 59, 45),
    ],
)  # fmt: skip
def test_count_sample_is_the_least_that_rules_the_rate_out(
    population: int, sure: int, fairly_sure: int
) -> None:
    given: dict[str, Any] = {"population": population, "tolerable_rate": 0.05}
    assert count_sample(**given, confidence=0.95) == sure
    assert count_sample(**given, confidence="0.9") == fairly_sure


def test_count_sample_takes_a_rate_as_it_was_typed() -> None:
    # 0.07 * 100 is a little more than 7 in floats, which would make 8 wrong ones.
    found = count_sample(population=100, tolerable_rate=0.07, confidence=0.95)
    assert found == count_sample(population=100, tolerable_rate=Fraction(7, 100), confidence=0.95)
    assert found > count_sample(population=100, tolerable_rate=0.08, confidence=0.95)


def test_count_sample_of_a_rare_fault_among_many_agrees_with_the_closed_form() -> None:
    # ln 0.05 / ln (1 - 1e-5) without replacement from very many.
    found = count_sample(population=10**11, tolerable_rate="0.00001", confidence=0.95)
    assert found == pytest.approx(299_572, abs=2)


def test_count_sample_of_all_wrong_is_one() -> None:
    assert count_sample(population=40, tolerable_rate=1, confidence=0.99) == 1
    assert count_sample(population=1, tolerable_rate=0.01, confidence=0.5) == 1
    assert count_sample(population=10**6, tolerable_rate=1, confidence=0.99) == 1


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ({"population": 0}, "population"),
        ({"population": 1.5}, "population"),
        ({"tolerable_rate": 0}, "tolerable_rate"),
        ({"tolerable_rate": 1.1}, "tolerable_rate"),
        ({"confidence": 1}, "confidence"),
        ({"confidence": 0}, "confidence"),
    ],
)
def test_count_sample_names_what_is_out_of_range(more: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must"):
        count_sample(**{"population": 10, "tolerable_rate": 0.1, "confidence": 0.9} | more)
