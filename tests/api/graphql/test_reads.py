"""The same reads as REST, under the same limits, in a number of queries that does not grow with rows."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api.wire.pull_sheets import pull_sheet_body
from inventory.models import Entry, Place
from jobs.queries.pull_sheet import get_pull_sheet
from tests.api.graphql.asking import ask, refuse
from tests.api.published import assert_refusal
from tests.factories.accounts import Office
from tests.factories.inventory import each
from tests.factories.jobs import (
    DAY,
    add_step,
    make_fluid,
    make_job,
    make_place,
    make_run,
    make_span,
)

ClientOf = Callable[[str], APIClient]

QUERIES = {
    "holdings": """{ holdings(first: %d) { edges { cursor node { id quantity { value unit }
        unitCost { value currency } place { code parent { code } } material { code stockUnit }
        owner { code } container { label state } } } pageInfo { hasNextPage endCursor } } }""",
    "entries": """{ entries(first: %d) { edges { node { uuid kind actor { name } reverses { uuid } movements {
        line quantity { value unit } entered { value unit } value { value } material { code } owner { code }
        source { placeCode containerLabel place { code } container { label } }
        target { placeCode containerLabel place { code } container { label } } } } } } }""",
    "materials": """{ materials(first: %d) { edges { node { code recoveredFrom { code }
        standardUnitCost { value } holdings(first: 2) { edges { node { quantity { value } place { code } } } }
        } } } }""",
    "places": """{ places(first: %d) { edges { node { code holdings(first: 2) { edges { node {
        quantity { value } material { name } unitCost { value } } } } } } } }""",
    "containers": """{ containers(first: %d) { edges { node { label owner { name } material { code }
        place { code } holdings { edges { node { quantity { value } } } } } } } }""",
    "jobs": """{ jobs(first: %d) { edges { node { reference customer { name } place { code } fibre { code }
        runs { edges { node { name cableSize isCleaned spans { name near far lengthM } } } }
        spans(first: 3) { edges { node { name length { value unit } cableSize run { name } place { code } } }
        pageInfo { hasNextPage } } } } } }""",
}


# Enough for all rows there are, within what a question may cost.
FIRST = {"holdings": 50, "entries": 50, "materials": 50, "places": 100, "containers": 50, "jobs": 12}


def grow(office: Office) -> None:
    """Add ten of each noun, for the crew too."""
    assert office.crew.vehicle is not None
    day = office.crew.days.get()
    for number in range(10):
        office.world.drum(f"N-{number}", 5, cost=10, place=office.crew.vehicle)
        office.world.loose(office.world.projectile, each(1))
        make_fluid(f"glide-{number}")
        make_place(Place.Kind.VEHICLE, f"truck-{number + 10}")
        job = make_job(f"M-{number}", customer=office.world.customer)
        for name in ("R1", "R2"):
            run = make_run(job, name)
            span = make_span(run, f"{name}-S1", "A", "B")
            make_span(run, f"{name}-S2", "B", "C", sequence=2)
        add_step(day, "extract", span=span)


@pytest.fixture
def many(office: Office) -> Office:
    grow(office)
    return office


@pytest.mark.parametrize("role", ["admin", "crew"])
@pytest.mark.parametrize("noun", QUERIES)
def test_question_takes_as_many_queries_for_few_rows_as_for_ten_more(
    client_of: ClientOf, office: Office, role: str, noun: str
) -> None:
    client, counts, rows = client_of(role), [], []
    for _time in range(2):
        with CaptureQueriesContext(connection) as captured:
            rows.append(len(ask(client, QUERIES[noun] % FIRST[noun])[noun]["edges"]))
        counts.append(len(captured))
        if len(rows) == 1:
            grow(office)
    assert counts[0] == counts[1], [query["sql"][:150] for query in captured]
    assert rows[1] >= rows[0] + 10


def test_holdings_are_those_of_rest(client_of: ClientOf, many: Office) -> None:
    client = client_of("stores")
    over_rest = client.get("/api/v1/holdings?limit=100").json()["results"]
    over_graphql = ask(client, QUERIES["holdings"] % 100)["holdings"]["edges"]
    shown = [
        (edge["node"]["place"]["code"], edge["node"]["quantity"], edge["node"]["unitCost"])
        for edge in over_graphql
    ]
    assert shown == [(row["place"]["code"], row["quantity"], row["unit_cost"]) for row in over_rest]


def test_pages_follow_their_cursors_at_the_top_and_within_a_job(client_of: ClientOf, many: Office) -> None:
    client, seen, after = client_of("planner"), [], None
    question = "query($after: String) { jobs(first: 5, after: $after) { edges { node { reference } } pageInfo { hasNextPage endCursor } } }"  # noqa: E501
    while True:
        page = ask(client, question, after=after)["jobs"]
        seen += [edge["node"]["reference"] for edge in page["edges"]]
        after = page["pageInfo"]["endCursor"]
        if not page["pageInfo"]["hasNextPage"]:
            break
    assert seen == sorted([*(f"M-{number}" for number in range(10)), "J-north", "J-south"])
    within = 'query($after: String) { job(reference: "M-1") { spans(first: 3, after: $after) { edges { node { name } } pageInfo { hasNextPage endCursor } } } }'  # noqa: E501
    first = ask(client, within)["job"]["spans"]
    rest = ask(client, within, after=first["pageInfo"]["endCursor"])["job"]["spans"]
    assert [edge["node"]["name"] for page in (first, rest) for edge in page["edges"]] == [
        "R1-S1", "R1-S2", "R2-S1", "R2-S2",
    ]  # fmt: skip
    assert (first["pageInfo"]["hasNextPage"], rest["pageInfo"]["hasNextPage"]) == (True, False)


def test_filters_are_those_of_rest(client_of: ClientOf, many: Office) -> None:
    client = client_of("stores")
    question = '{ holdings(place: "main-yard", isUnsettled: false, materialKind: "projectile") { edges { node { quantity { value } } } } }'  # noqa: E501
    (edge,) = ask(client, question)["holdings"]["edges"]
    assert edge["node"]["quantity"]["value"] == "50.000000"
    refuse(client, '{ entries(kind: "loan") { edges { cursor } } }', "bad_input", status=200)
    refuse(client, "{ entries(first: 0) { edges { cursor } } }", "bad_input", status=200)
    refuse(client, "{ entries(first: 101) { edges { cursor } } }", "bad_input", status=200)
    refuse(client, '{ entries(after: "x") { edges { cursor } } }', "bad_cursor", status=200)


def test_node_is_found_by_its_id_and_only_by_who_may_see_it(client_of: ClientOf, office: Office) -> None:
    stores, crew = client_of("stores"), client_of("crew")
    question = """{ containers { edges { node { id label } } } places { edges { node { id } } }
        materials { edges { node { id } } } holdings { edges { node { id } } }
        entries { edges { node { id } } }
        jobs { edges { node { id } } } }"""
    found = ask(stores, question)
    for noun in found:
        for edge in found[noun]["edges"]:
            back = ask(stores, "query($id: ID!) { node(id: $id) { id } }", id=edge["node"]["id"])
            assert back == {"node": {"id": edge["node"]["id"]}}
    foreign = next(
        edge["node"]["id"] for edge in found["containers"]["edges"] if edge["node"]["label"] == "D-south"
    )
    assert ask(crew, "query($id: ID!) { node(id: $id) { id } }", id=foreign) == {"node": None}


@pytest.mark.parametrize("id", ["", "x", "RW50cnk6eA==", "VXNlcjox", "RW50cnk="])
def test_id_of_no_node_is_refused_or_leads_nowhere(client_of: ClientOf, id: str) -> None:
    question = {"query": "query($id: ID!) { node(id: $id) { id } }", "variables": {"id": id}}
    body = client_of("stores").post("/graphql", question, format="json").json()
    assert body["data"] == {"node": None}
    assert {error["extensions"]["code"] for error in body.get("errors", [])} <= {"bad_input"}


def test_text_that_no_database_keeps_is_refused(client_of: ClientOf) -> None:
    refuse(client_of("stores"), r'{ place(code: "\u0000") { name } }', "bad_query")
    question = {"query": "query($c: String!) { place(code: $c) { name } }", "variables": {"c": "\x00"}}
    response = client_of("stores").post("/graphql", question, format="json")
    assert_refusal(response, 400, "bad_input", "/variables")


def test_crew_is_told_names_of_an_end_but_not_what_lies_there(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    entries = ask(crew, QUERIES["entries"] % 10)["entries"]["edges"]
    (movement,) = [row for edge in entries for row in edge["node"]["movements"]]
    assert movement["value"] is None
    assert movement["source"] == {
        "placeCode": "supplier-1", "containerLabel": None, "place": None, "container": None,
    }  # fmt: skip
    assert movement["target"]["container"] == {"label": "D-north"}
    for question in (
        '{ job(reference: "J-south") { name } }',
        '{ place(code: "main-yard") { name } }',
        '{ container(label: "D-south") { label } }',
        '{ statement(job: "J-south") { customer } }',
    ):
        refuse(crew, question, "not_found", status=200)


def test_only_who_may_see_money_is_shown_any(client_of: ClientOf, office: Office) -> None:
    for role in ("stores", "planner", "accounts", "admin", "crew", "safety"):
        answers = [ask(client_of(role), QUERIES[noun] % 10) for noun in ("holdings", "entries")]
        answers.append(
            ask(client_of(role), '{ statement(job: "J-north") { cost { value } bookValue { value } } }')
        )
        has_money = role not in {"crew", "safety"}
        assert ('"currency"' in json.dumps(answers[0])) is has_money
        assert (answers[2]["statement"]["cost"] is not None) is has_money


def test_one_entry_has_all_its_movements(client_of: ClientOf, office: Office) -> None:
    entry = Entry.objects.order_by("key").last()
    assert entry is not None
    question = "query($id: UUID!) { entry(id: $id) { kind bookedDate movements { purpose } } }"
    found = ask(client_of("stores"), question, id=str(entry.uuid))
    assert found == {
        "entry": {"kind": "receipt", "bookedDate": "2026-03-02", "movements": [{"purpose": "received"}]}
    }


def test_pull_sheet_and_statement_are_those_of_the_queries(client_of: ClientOf, office: Office) -> None:
    question = '{ pullSheet(crew: "north", date: "2026-03-02") { crew { code } lines { title needed { value unit } why } cautions } }'  # noqa: E501
    found = ask(client_of("crew"), question)["pullSheet"]
    expected: Any = pull_sheet_body(get_pull_sheet(crew_code="north", date=DAY))
    assert found["cautions"] == expected["cautions"]
    assert found["lines"] == [
        {name: line[name] for name in ("title", "needed", "why")} for line in expected["lines"]
    ]


def test_calculation_is_that_of_rest(client_of: ClientOf, office: Office) -> None:
    client = client_of("planner")
    example = client.get("/api/v1/calculations/bore-volume").json()["example"]
    over_rest = client.post("/api/v1/calculations/bore-volume", example, format="json").json()
    question = 'query($request: JSONString!) { calculation(name: "bore-volume", request: $request) }'
    assert json.loads(ask(client, question, request=json.dumps(example))["calculation"]) == over_rest
    (error,) = refuse(client, question, "bad_input", status=200, request="{}")
    assert "/bore" in [fault["pointer"] for fault in error["extensions"]["errors"]]
    refuse(client, question, "bad_query", request="{")


def test_graphql_reads_a_warehouses_day(client_of: ClientOf, office: Office) -> None:
    question = '{ kitsOfDay(warehouse: "yard", date: "2026-03-02") { warehouse { code } sheets { crew { code } checkList { name } load { sentence } } lines { title } lastPrint { number } changes { kind } } }'  # noqa: E501
    found = ask(client_of("stores"), question)["kitsOfDay"]
    assert found["warehouse"]["code"] == "yard"
    assert [sheet["crew"]["code"] for sheet in found["sheets"]] == ["north", "south"]
    assert found["lastPrint"] is None
