"""Conditions in Python: the shared cases, and the logic of absent facts held against a database's."""

import itertools
import sqlite3
from typing import Any

import pytest

from jobs.calc.rule_conditions import evaluate_condition, fill_sentence
from jobs.queries.rules import get_rule_book
from tests.jobs.rules import named

CONDITIONS, SENTENCES = named("conditions"), named("sentences")
VALUES = (None, 0.0, 1.0)
OPERATORS = {"less": "<", "at_most": "<=", "more": ">", "at_least": ">=", "same": "="}


@pytest.mark.parametrize("name", CONDITIONS)
def test_evaluate_condition_says_what_the_case_says(name: str) -> None:
    case = CONDITIONS[name]
    assert evaluate_condition(case["when"], case["facts"]) is case["holds"]


@pytest.mark.parametrize("name", SENTENCES)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_fill_sentence_writes_what_the_case_says(name: str, system: str) -> None:
    case = SENTENCES[name]
    units = get_rule_book()["units"]
    assert fill_sentence(case["sentence"], case["facts"], units, system) == case[system]


def _sql(condition: dict[str, Any]) -> str:
    ((name, parts),) = condition.items()
    if name == "not":
        return f"(NOT {_sql(parts)})"
    if name in ("all", "any"):
        return "(" + (" AND " if name == "all" else " OR ").join(map(_sql, parts)) + ")"
    if name in ("given", "missing"):
        return f"({parts} IS {'NOT ' if name == 'given' else ''}NULL)"
    return f"({parts[0]} {OPERATORS[name]} {parts[1]})"


def _conditions() -> list[dict[str, Any]]:
    """Comparisons of two facts, and what two of these make together."""
    single: list[dict[str, Any]] = [{name: ["a", "b"]} for name in OPERATORS]
    single += [{"given": "a"}, {"missing": "b"}, {"more": ["b", "c"]}]
    pairs = itertools.product(single, repeat=2)
    joined = [{join: [one, {"not": other}]} for one, other in pairs for join in ("all", "any")]
    return single + joined


@pytest.mark.outside_check(
    "SQLite's AND, OR, NOT and comparisons over NULL, as in ISO/IEC 9075-2; how known: run side by side"
)
def test_evaluate_condition_is_the_logic_of_a_database_with_absent_values() -> None:
    with sqlite3.connect(":memory:") as database:
        for a, b, c in itertools.product(VALUES, repeat=3):
            for condition in _conditions():
                query = f"SELECT {_sql(condition)} FROM (SELECT ? AS a, ? AS b, ? AS c)"
                (expected,) = database.execute(query, (a, b, c)).fetchone()
                held = evaluate_condition(condition, {"a": a, "b": b, "c": c})
                assert held == (None if expected is None else bool(expected)), (condition, a, b, c)
    database.close()


@pytest.mark.outside_check(
    "NIST SP 811, B.8: psi 6.894 757 kPa, US gallon 3.785 412 L, foot 0.3048 m; how known: from memory"
)
def test_fill_sentence_converts_as_the_handbook_does() -> None:
    facts = {"p_kpa": 100 * 6.894757, "v_l": 55 * 3.785412, "x_m": 1000 * 0.3048}
    units = get_rule_book()["units"]
    assert fill_sentence("{p_kpa}, {v_l}, {x_m}", facts, units, "us") == "100 psi, 55 gal, 1000 ft"


@pytest.mark.parametrize(
    "condition",
    [{"sort_of": ["a", "b"]}, {"less": ["a", "b"], "more": ["a", "b"]}, {"less": [{"root": ["a"]}, "b"]}],
)
def test_evaluate_condition_refuses_what_is_not_of_the_form(condition: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"no condition|one key|no way to reckon"):
        evaluate_condition(condition, {"a": 1.0, "b": 2.0})
