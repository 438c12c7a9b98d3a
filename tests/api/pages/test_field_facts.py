"""The phone gathers the facts that the service gathers, and its rules find the same: one table for both.

Each case is told as written and once more in other units, to a phone that has all that was sent before, and
to one where the reports before it still wait to be sent.
"""

import json
from pathlib import Path
from typing import Any

import pytest
import quickjs
from django.db import transaction

from inventory.services.posting.rows import read_rows
from jobs.models import FieldReport
from jobs.queries.rules import get_rule_book, list_matches
from jobs.queries.safety import open_findings
from jobs.services.reports.keeping import load_told
from jobs.services.reports.repeats import see_repeats, select_repeats
from jobs.services.rules.facts import list_subjects
from jobs.services.rules.fluid_facts import list_fluid_subjects
from jobs.services.rules.reading import make_record, select_record
from tests.factories.rule_cases import (
    CASES,
    Body,
    account_for_all,
    as_sent,
    in_other_units,
    make_pack,
    make_state,
    post,
)

pytestmark = pytest.mark.django_db

STATIC = Path(__file__).resolve().parents[3] / "api" / "pages" / "static" / "spanstock"
SCRIPTS = ("rules.js", "field_fluid.js", "field_facts.js")
Found = list[tuple[str, dict[str, Any]]]


@pytest.fixture(scope="module")
def phone() -> quickjs.Context:
    engine = quickjs.Context()
    for name in SCRIPTS:
        engine.eval((STATIC / name).read_text(encoding="utf-8"))
    engine.eval(f"const book = {json.dumps(get_rule_book())};")
    return engine


def _ask_phone(
    phone: quickjs.Context, pack: Body, body: Body, waiting: list[Body]
) -> tuple[Found, list[Any]]:
    """The facts that the phone gathers, and the codes and sentences of what its rules find in them."""
    phone.set("told", json.dumps([body, pack, pack["days"][0], waiting]))
    subjects = json.loads(phone.eval("JSON.stringify(spanstockFacts.list(...JSON.parse(told)))"))
    found = []
    for subject in subjects:
        assert 0 <= subject["number"] < len(body[subject["part"]])
        phone.set("asked", json.dumps([subject["about"], subject["facts"], "us"]))
        rows = json.loads(phone.eval("JSON.stringify(spanstockRules.check(book, ...JSON.parse(asked)))"))
        found += [(row["code"], row["sentence"]) for row in rows]
    return [(subject["about"], subject["facts"]) for subject in subjects], found


def _ask_service(report: FieldReport) -> tuple[Found, list[Any]]:
    told = load_told([report])[report.pk]
    see_repeats(told, read_rows(*select_repeats(told)))
    record = make_record(read_rows(*select_record(told, None)))
    subjects = list_subjects(told, record) + list_fluid_subjects(told, record)
    found = [
        (match.rule.code, match.sentence)
        for subject in subjects
        for match in list_matches(subject.about, subject.facts, uses_metric=False)
    ]
    return [(subject.about, subject.facts) for subject in subjects], found


def _assert_same(phones: Found, services: Found) -> None:
    assert [about for about, _facts in phones] == [about for about, _facts in services]
    for (about, facts), (_about, expected) in zip(phones, services, strict=True):
        assert facts.keys() == expected.keys(), about
        for name, value in expected.items():
            if isinstance(value, bool | str):
                assert facts[name] == value, (about, name)
            else:
                assert facts[name] == pytest.approx(value, rel=1e-6, abs=1e-6), (about, name)


@pytest.mark.parametrize("name", CASES)
def test_phone_says_what_the_service_says(phone: quickjs.Context, name: str) -> None:
    case = CASES[name]
    day = make_state(case)
    before = [
        as_sent({part: rows for part, rows in row.items() if part != "hours"}, hours=row["hours"])
        for row in case.get("before", [])
    ]
    old_pack = make_pack(day)
    for body in before:
        post(day, body)
    if case.get("is_accounted"):
        account_for_all()
    pack = make_pack(day)
    report = as_sent(case["report"], hours=9)
    for told in (report, in_other_units(report)):
        facts, found = _ask_phone(phone, pack, told, [])
        # What other hands do to the phone's runs it only knows once it was sent.
        if not case.get("is_known_only_when_sent"):
            waiting = [{**body, "author": "crew"} for body in before]
            _assert_same(
                *(asked[0] for asked in (_ask_phone(phone, old_pack, told, waiting), (facts, found)))
            )
        with transaction.atomic():
            service_facts, service_found = _ask_service(post(day, told))
            _assert_same(facts, service_facts)
            assert found == service_found
            assert [code for code, _sentence in found] == case["found"]
            assert set(case["found"]) <= set(open_findings().values_list("rule", flat=True))
            transaction.set_rollback(True)
