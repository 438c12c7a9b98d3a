"""The rules as data: closed in form, complete, each with a case; and what Python says to every case."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from jobs.models import CrewDayStep
from jobs.queries.rules import Rule, get_rule, get_rule_book, list_matches, list_rules, rules_about
from tests.jobs.rules import named

FINDINGS = named("findings")
JOINS, COMPARISONS = {"all", "any"}, {"same", "less", "at_most", "more", "at_least"}
SUMS = {"sum", "difference", "product"}
# "rig" is no step of a day's plan: the fitting is what waits.
BLOCKED = {*CrewDayStep.Kind.values, "rig"}
EACH_RULE = pytest.mark.parametrize("rule", list_rules(), ids=lambda rule: rule.code)


def _facts_named(condition: Any) -> Iterator[str]:
    """The facts that a condition asks for; fails where it is not of the closed form."""
    ((name, parts),) = condition.items()
    if name in {"given", "missing"}:
        yield parts
    elif name == "not":
        yield from _facts_named(parts)
    elif name in JOINS:
        for part in parts:
            yield from _facts_named(part)
    elif name == "among":
        assert all(isinstance(word, str) for word in parts[1])
        yield parts[0]
    else:
        assert name in COMPARISONS, name
        assert len(parts) == 2
        for part in parts:
            yield from _facts_in(part)


def _facts_in(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        ((name, operands),) = value.items()
        assert name in SUMS, name
        for operand in operands:
            yield from _facts_in(operand)
    else:
        assert isinstance(value, bool | int | float)


@EACH_RULE
def test_rule_names_facts_of_its_subject_only(rule: Rule) -> None:
    known = set(get_rule_book()["subjects"][rule.subject]["facts"])
    assert set(_facts_named(rule.when)) <= known
    assert set(re.findall(r"{(\w+)}", rule.sentence)) <= known


@EACH_RULE
def test_rule_says_why_and_who_may_lift_it(rule: Rule) -> None:
    assert len(rule.explanation) > 60
    assert set(rule.lifted_by) <= set(get_rule_book()["roles"])
    assert "safety" in rule.lifted_by
    assert rule.severity in {"warning", "stop"}
    assert set(rule.blocks) <= BLOCKED


@EACH_RULE
def test_rule_that_stops_is_lifted_by_safety_only_and_blocks_something(rule: Rule) -> None:
    assert not rule.is_stop or (rule.lifted_by == ("safety",) and rule.blocks and rule.caution)
    assert rule.is_stop or not rule.blocks


@EACH_RULE
def test_rule_is_met_in_one_case_and_left_alone_in_another(rule: Rule) -> None:
    about = [case for case in FINDINGS.values() if case["subject"] == rule.subject]
    met = [case for case in about if rule.code in {found["code"] for found in case["found"]}]
    assert met
    assert len(met) < len(about)


def test_rules_have_codes_of_their_own() -> None:
    codes = [rule.code for rule in list_rules()]
    assert len(codes) == len(set(codes)) > 15
    assert {rule.subject for rule in list_rules()} == set(get_rule_book()["subjects"])


@pytest.mark.parametrize("name", FINDINGS)
def test_list_matches_finds_what_the_case_says(name: str) -> None:
    case = FINDINGS[name]
    for system in ("metric", "us"):
        found = list_matches(case["subject"], case["facts"], uses_metric=system == "metric")
        assert [match.rule.code for match in found] == [row["code"] for row in case["found"]]
        for match, expected in zip(found, case["found"], strict=True):
            assert match.rule.severity == expected["severity"]
            assert match.sentence == expected.get(system, match.sentence)
            assert match.rule.caution == expected.get("caution", match.rule.caution)


@pytest.mark.parametrize("name", FINDINGS)
def test_case_tells_facts_that_the_subject_has(name: str) -> None:
    case = FINDINGS[name]
    known = get_rule_book()["subjects"][case["subject"]]["facts"]
    sorts = {"text": str, "flag": bool, "number": int | float}
    for fact, value in case["facts"].items():
        assert isinstance(value, sorts[known[fact]["kind"]]), fact


def test_get_rule_knows_a_rule_by_its_code() -> None:
    assert get_rule("projectile_inside") in rules_about("projectiles")
