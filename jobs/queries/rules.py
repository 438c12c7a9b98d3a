"""The rules of the trade as they are shipped: read once, asked by subject."""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from inventory.errors import NotFound
from jobs.calc.rule_conditions import Facts, evaluate_condition, fill_sentence
from jobs.models import RuleFinding

RULE_FILE = Path(__file__).resolve().parent.parent / "rules" / "trade_rules.json"


@dataclass(frozen=True)
class Rule:
    """One rule: what it looks at, what it says, who may lift it, which steps wait while it stands.

    `worsens_with` names the fact of which more is worse, where there is one.
    """

    code: str
    name: str
    subject: str
    severity: str
    when: dict[str, Any]
    sentence: str
    explanation: str
    lifted_by: tuple[str, ...]
    blocks: tuple[str, ...]
    is_settled_by_facts: bool
    caution: str = ""
    worsens_with: str = ""

    @property
    def is_stop(self) -> bool:
        return self.severity == RuleFinding.Severity.STOP


@dataclass(frozen=True)
class Match:
    """A rule that holds for a subject, with its sentence."""

    rule: Rule
    sentence: str


@cache
def get_rule_book() -> dict[str, Any]:
    """The file of rules as it goes to the phone; not to be changed by whoever reads it."""
    book: dict[str, Any] = json.loads(RULE_FILE.read_text(encoding="utf-8"))
    return book


# What a crew is shown of a rule. A finding is stored in the language of the book, whatever the crew reads.
SHOWN_TEXTS = ("name", "sentence", "caution")


def translate_rule_book() -> dict[str, Any]:
    """The same in the language that is active, as far as it is shown on a phone; not to be changed either."""
    return _translate_rule_book(get_language() or "")


@cache
def _translate_rule_book(language: str) -> dict[str, Any]:
    book = get_rule_book()
    rules = [
        {**rule, **{name: _(rule[name]) for name in SHOWN_TEXTS if rule.get(name)}} for rule in book["rules"]
    ]
    return {**book, "rules": rules}


@cache
def list_rules() -> tuple[Rule, ...]:
    return tuple(
        Rule(**{**row, "lifted_by": tuple(row["lifted_by"]), "blocks": tuple(row["blocks"])})
        for row in get_rule_book()["rules"]
    )


@cache
def rules_by_code() -> dict[str, Rule]:
    return {rule.code: rule for rule in list_rules()}


@cache
def rules_about(subject: str) -> tuple[Rule, ...]:
    """The rules that look at a sort of subject, such as "attempt"."""
    return tuple(rule for rule in list_rules() if rule.subject == subject)


def get_rule(code: str) -> Rule:
    rule = rules_by_code().get(code)
    if rule is None:
        raise NotFound("There is no rule of that code.")
    return rule


def list_matches(subject: str, facts: Facts, *, uses_metric: bool) -> list[Match]:
    """The rules that hold for one subject, with their sentences in the company's units."""
    return [
        Match(rule, fill_sentence(rule.sentence, facts, get_rule_book()["units"], _system(uses_metric)))
        for rule in rules_about(subject)
        if evaluate_condition(rule.when, facts) is True
    ]


def _system(uses_metric: bool) -> str:
    return "metric" if uses_metric else "us"
