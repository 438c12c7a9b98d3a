"""Every role against every field that a question may begin with; one without a row fails.

A row says what nobody, stores, crew, planner, accounts, safety and admin find: rows or an object (`ok`), an
empty list (`none`), nothing (`null`), or the code of the refusal. Nobody is refused before any field is read.
"""

import re
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from api.graphql.schema import schema
from inventory.services.restocking import runs
from tests.api.acts.every_act import ACTS
from tests.api.rest.every_operation import ROLES
from tests.api.rest.furnished import DAY, REPORTED, Furnished, furnish
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
OK, NONE, NULL, NO, UNSEEN = "ok", "none", "null", "not_allowed", "not_found"
ALL = (OK, OK, OK, OK, OK, OK)
UNSEEN_BY_CREWS = (OK, UNSEEN, OK, OK, OK, OK)
EMPTY_FOR_CREWS = (OK, NONE, OK, OK, OK, OK)
NO_SUMS_FOR_CREWS = (NONE, NO, NONE, NONE, NONE, NONE)
NO_MONEY = (NONE, NO, NONE, NONE, NO, NONE)
Answers = tuple[str, ...]

LISTS = "{ results { __typename } }"
EDGES = "{ edges { node { __typename } } }"
ONE = "{ __typename }"
QUESTIONS: list[tuple[str, Answers]] = [
    (f"supplyTerms {LISTS}", ALL),
    (f"suppliers {LISTS}", ALL),
    (f"expectedCredits {LISTS}", (NONE,) * 6),
    (f"orders {LISTS}", EMPTY_FOR_CREWS),
    (f"receipts {LISTS}", EMPTY_FOR_CREWS),
    (f"heldGoods {LISTS}", EMPTY_FOR_CREWS),
    (f"shipments {LISTS}", EMPTY_FOR_CREWS),
    (f"countPlans {LISTS}", EMPTY_FOR_CREWS),
    (f"countSheets {LISTS}", EMPTY_FOR_CREWS),
    (f"findings {LISTS}", ALL),
    (f"incidents {LISTS}", ALL),
    (f'incidents(job: "J-south") {LISTS}', EMPTY_FOR_CREWS),
    (f"pressureLimits {LISTS}", (NONE,) * 6),
    (f"taggedFittings {LISTS}", ALL),
    (f'taggedFittings(place: "truck-south") {LISTS}', EMPTY_FOR_CREWS),
    (f"claims {ONE}", (NONE, NO, NONE, NONE, NO, NONE)),
    (f"documents {LISTS}", ALL),
    (f'documents(of: "receipt") {LISTS}', (OK, NONE, OK, OK, NONE, OK)),
    (f"recoveryRates {LISTS}", NO_SUMS_FOR_CREWS),
    (f"recoveryDrifts {LISTS}", NO_SUMS_FOR_CREWS),
    (f"scrapLots {LISTS}", NO_SUMS_FOR_CREWS),
    (f"safetyNotices {ONE}", (OK, NO, OK, OK, OK, OK)),
    (f"scrapTerms {LISTS}", (NONE,) * 6),
    (f"coreMasses {LISTS}", ALL),
    (f'jobScrap(job: "J-north") {ONE}', ALL),
    (f'jobScrap(job: "J-south") {ONE}', UNSEEN_BY_CREWS),
    (f"wasteDrums {ONE}", (NONE,) * 6),
    (f"wasteManifests {LISTS}", EMPTY_FOR_CREWS),
    (f"deposits {LISTS}", NO_MONEY),
    (f"depositTerms {LISTS}", NO_MONEY),
    (f"depositBalances {ONE}", NO_MONEY),
    (f"empties {LISTS}", NO_MONEY),
    (f"companyRules {ONE}", ALL),
    (f"fittingLimits {ONE}", ALL),
    (f"recoveredFluid {LISTS}", (NONE,) * 6),
    (f"fluidTests {LISTS}", (NONE,) * 6),
    (f"fluidLimits {LISTS}", (NONE,) * 6),
    (f"fluidPolicies {LISTS}", (NONE,) * 6),
    (f"fluidReleases {LISTS}", (NONE,) * 6),
    (f"quarantines {LISTS}", ALL),
    (f'quarantine(id: "{{quarantine}}") {ONE}', ALL),
    (f'quarantine(id: "{{foreign quarantine}}") {ONE}', UNSEEN_BY_CREWS),
    (f'node(id: "RW50cnk6MA==") {ONE}', (NULL,) * 6),
    (f"entries {EDGES}", ALL),
    (f'entries(job: "J-south") {EDGES}', EMPTY_FOR_CREWS),
    (f'entry(id: "{{entry}}") {ONE}', ALL),
    (f'entry(id: "{{foreign entry}}") {ONE}', UNSEEN_BY_CREWS),
    (f"holdings {EDGES}", ALL),
    (f'holdings(place: "truck-south") {EDGES}', EMPTY_FOR_CREWS),
    (f"materials {EDGES}", ALL),
    (f'material(code: "fluid") {ONE}', ALL),
    (f"places {EDGES}", ALL),
    (f'place(code: "truck-south") {ONE}', ALL),
    (f'place(code: "main-yard") {ONE}', UNSEEN_BY_CREWS),
    (f"containers {EDGES}", ALL),
    (f'container(label: "D-north") {ONE}', ALL),
    (f'container(label: "D-south") {ONE}', UNSEEN_BY_CREWS),
    (f"jobs {EDGES}", ALL),
    (f'job(reference: "J-north") {ONE}', ALL),
    (f'job(reference: "J-south") {ONE}', UNSEEN_BY_CREWS),
    (f'pullSheet(crew: "north", date: "{DAY}") {ONE}', ALL),
    (f'pullSheet(crew: "south", date: "{DAY}") {ONE}', UNSEEN_BY_CREWS),
    (f'kitsOfDay(warehouse: "yard", date: "{DAY}") {ONE}', (OK, NO, OK, OK, OK, OK)),
    (f'pullSheetCuts(crew: "north", date: "{DAY}") {ONE}', ALL),
    (f'pullSheetCuts(crew: "south", date: "{DAY}") {ONE}', UNSEEN_BY_CREWS),
    (f'scanned(code: "D-north") {ONE}', ALL),
    (f'scanned(code: "D-south") {ONE}', UNSEEN_BY_CREWS),
    (f"kitPolicy {ONE}", ALL),
    (f"estimatingPolicy {ONE}", ALL),
    (f"fittingLimits {ONE}", ALL),
    (f"checkLists {ONE}", ALL),
    (f"learntFits {ONE}", (NONE,) * 6),
    (f"cableSizes {ONE}", ALL),
    (f'balance(crew: "north", date: "{REPORTED}") {ONE}', (UNSEEN,) * 6),
    (f'statement(job: "J-north") {ONE}', ALL),
    (f'statement(job: "J-south") {ONE}', UNSEEN_BY_CREWS),
    (f'costSheet(job: "J-north") {ONE}', (OK, NO, OK, OK, NO, OK)),
    (f'costSheet(job: "J-south") {ONE}', (OK, NO, OK, OK, NO, OK)),
    (f'fieldReports(crew: "north", date: "{REPORTED}") {ONE}', ALL),
    (f'fieldReports(crew: "south", date: "{REPORTED}") {ONE}', UNSEEN_BY_CREWS),
    (f'fieldReport(id: "{{report}}") {ONE}', ALL),
    (f'fieldReport(id: "{{foreign report}}") {ONE}', UNSEEN_BY_CREWS),
    (f"unconfirmedTrucks {ONE}", (NONE,) * 6),
    (f"instruments {LISTS}", ALL),
    (f'instrument(tag: "M-1") {ONE}', ALL),
    (f'monthFluid(month: "2026-03") {ONE}', (OK, NO, OK, OK, OK, OK)),
    ('calculation(name: "film-residual", request: "{\\"bore\\": 12, \\"film_thickness\\": 0.1}")', ALL),
]


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "_hint", lambda: None)


def test_every_field_has_its_row() -> None:
    """OWASP API5, broken function level authorization: none is forgotten, reading or writing."""
    named = {re.match(r"\w+", question)[0] for question, _answers in QUESTIONS}  # type: ignore[index]
    known = schema.graphql_schema
    fields = {*known.query_type.fields, *(known.mutation_type.fields if known.mutation_type else ())}
    # A day is closed without any input, and REST moves goods among its entries: both have tests of their own.
    acts = {case.mutation for case in ACTS.values()} | {"closeCrewDay", "transferGoods"}
    assert named | acts == fields


def _judge(body: dict[str, Any]) -> str:
    if body.get("errors"):
        return str(body["errors"][0]["extensions"]["code"])
    (found,) = body["data"].values()
    if found is None:
        return NULL
    rows = found.get("results", found.get("edges")) if isinstance(found, dict) else found
    return NONE if rows == [] else OK


def _ask(client: APIClient, question: str, furnished: Furnished) -> str:
    text = re.sub(r"{([a-z ]+)}", lambda found: furnished.names[found[1]], question)
    return _judge(client.post("/graphql", {"query": f"{{ {text} }}"}, format="json").json())


@pytest.mark.parametrize("role", ROLES[1:])
def test_role_finds_what_the_table_says(client_of: ClientOf, office: Office, role: str) -> None:
    """OWASP API1, API5: own and foreign objects, every field, every role."""
    furnished, column = furnish(office, client_of), ROLES.index(role) - 1
    client = client_of(role)
    found = {question: _ask(client, question, furnished) for question, _answers in QUESTIONS}
    assert found == {question: answers[column] for question, answers in QUESTIONS}


def test_nobody_asks(client_of: ClientOf) -> None:
    assert client_of("").post("/graphql", {"query": "{ __typename }"}, format="json").status_code == 401
