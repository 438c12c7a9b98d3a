"""The phone's evaluator says the same as the service's, case by case. It is run by a small engine."""

import json
from pathlib import Path
from typing import Any

import pytest
import quickjs

from jobs.queries.rules import get_rule_book
from tests.jobs.rules import named

SCRIPT = Path(__file__).resolve().parents[3] / "api" / "pages" / "static" / "spanstock" / "rules.js"
CONDITIONS, SENTENCES, FINDINGS = named("conditions"), named("sentences"), named("findings")


@pytest.fixture(scope="module")
def phone() -> quickjs.Context:
    engine = quickjs.Context()
    engine.eval(SCRIPT.read_text(encoding="utf-8"))
    engine.eval(f"const book = {json.dumps(get_rule_book())};")
    return engine


def _ask(phone: quickjs.Context, call: str, *given: Any) -> Any:
    """Call a function of the script; what goes in and comes out is JSON, as on the phone."""
    arguments = ", ".join(json.dumps(value) for value in given)
    return json.loads(phone.eval(f"JSON.stringify(spanstockRules.{call}({arguments}))"))


@pytest.mark.parametrize("name", CONDITIONS)
def test_evaluate_says_what_the_case_says(phone: quickjs.Context, name: str) -> None:
    case = CONDITIONS[name]
    assert _ask(phone, "evaluate", case["when"], case["facts"]) is case["holds"]


@pytest.mark.parametrize("name", SENTENCES)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_fill_writes_what_the_case_says(phone: quickjs.Context, name: str, system: str) -> None:
    case = SENTENCES[name]
    units = get_rule_book()["units"]
    assert _ask(phone, "fill", case["sentence"], case["facts"], units, system) == case[system]


@pytest.mark.parametrize("name", FINDINGS)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_check_finds_what_the_case_says(phone: quickjs.Context, name: str, system: str) -> None:
    case = FINDINGS[name]
    phone.set("asked", json.dumps([case["subject"], case["facts"], system]))
    found = json.loads(phone.eval("JSON.stringify(spanstockRules.check(book, ...JSON.parse(asked)))"))
    assert [row["code"] for row in found] == [row["code"] for row in case["found"]]
    for row, expected in zip(found, case["found"], strict=True):
        assert row["severity"] == expected["severity"]
        assert row["sentence"] == expected.get(system, row["sentence"])
        assert row["caution"] == expected.get("caution", row["caution"])


def test_evaluate_refuses_what_is_not_of_the_form(phone: quickjs.Context) -> None:
    with pytest.raises(quickjs.JSException, match="no condition"):
        _ask(phone, "evaluate", {"sort_of": [1, 2]}, {})


def test_script_imports_nothing_and_asks_no_network() -> None:
    text = SCRIPT.read_text(encoding="utf-8")
    assert not [
        word for word in ("import ", "require(", "fetch(", "XMLHttpRequest", "document.") if word in text
    ]
