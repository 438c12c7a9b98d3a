"""What the GraphQL address refuses, and how it says so."""

import json
from collections.abc import Callable

import pytest
from django.test import Client
from graphql import get_introspection_query
from rest_framework.test import APIClient

from api.graphql.schema import schema
from tests.api.graphql.asking import ask, refuse
from tests.api.published import assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]


def _nested(levels: int) -> str:
    """So many levels, over places and what lies in them."""
    names = ['place(code: "main-yard")', "holdings(first: 1)", "edges", "node"]
    names += ["place", "holdings(first: 1)", "edges", "node"] * 3
    return "{ " + " { ".join([*names[: levels - 1], "__typename"]) + " }" * levels


def _doubling(levels: int) -> str:
    """Fragments that each spread the next twice: small to write, large to unfold."""
    parts = [f"fragment F{n} on Query {{ ...F{n + 1} ...F{n + 1} }}" for n in range(levels)]
    return "{ ...F0 } " + " ".join(parts) + f" fragment F{levels} on Query {{ __typename }}"


REFUSED = [
    ("{", "bad_query"),
    ("{ unheardOf }", "bad_query"),
    ("{ holdings { colour } }", "bad_query"),
    ("mutation { make }", "bad_query"),
    ("subscription { make }", "bad_query"),
    ("{ holdings(first: \"many\") { edges { cursor } } }", "bad_query"),
    ("query A { __typename } query B { __typename }", "bad_query"),
    (_nested(10), "query_too_deep"),
    ("{ holdings " * 1000 + "{ cursor }" + " }" * 1000, "query_too_deep"),
    ("{ a(b: " + "[" * 1500 + "]" * 1500 + ") }", "query_too_deep"),
    ("{ ...A } fragment A on Query { ...A }", "fragment_cycle"),
    ("{ ...A } fragment A on Query { ...B } fragment B on Query { ...C } fragment C on Query { ...A }",
     "fragment_cycle"),
    ("{ __typename } fragment A on Query { ...B } fragment B on Query { ...A }", "fragment_cycle"),
    ("{ " + " ".join(f"a{n}: __typename" for n in range(5000)) + " }", "query_too_large"),
    ("{ " + " ".join(f"a{n}: __typename" for n in range(31)) + " }", "query_too_large"),
    ("{ " + "__typename " * 251 + "}", "query_too_large"),
    (_doubling(49) + " " + "fragment X on Query { __typename }", "query_too_large"),
    ("{ places(first: 100) { edges { node { holdings(first: 100) { edges { node { isUnsettled } } } } } } }",
     "query_too_large"),
    ("{ __schema { types { fields { type { fields { type { fields { name } } } } } } } }", "query_too_deep"),
    ("{ __schema { types { " + "ofType { " * 20 + "name" + " }" * 20 + " } } }", "query_too_deep"),
]  # fmt: skip


@pytest.mark.parametrize(("query", "code"), REFUSED)
def test_query_that_is_too_much_or_wrong_is_refused(client_of: ClientOf, query: str, code: str) -> None:
    refuse(client_of("admin"), query, code)


def test_nine_levels_and_thirty_aliases_are_answered(client_of: ClientOf) -> None:
    client = client_of("admin")
    assert ask(client, _nested(9))["place"]["holdings"]["edges"]
    assert len(ask(client, "{ " + " ".join(f"a{n}: __typename" for n in range(30)) + " }")) == 30


def test_fragments_that_double_are_weighed_once_each(client_of: ClientOf) -> None:
    refuse(client_of("admin"), _doubling(40), "query_too_large")
    assert ask(client_of("admin"), _doubling(8)) == {"__typename": "Query"}


def test_page_size_in_a_variable_is_weighed(client_of: ClientOf) -> None:
    question = """query($n: Int!) { places(first: $n) { edges { node { code
        holdings(first: $n) { edges { node { quantity { value } } } } } } } }"""
    refuse(client_of("admin"), question, "query_too_large", n=100)
    assert ask(client_of("admin"), question, n=10)["places"]["edges"]


def test_schema_may_be_asked_for_as_tools_do(client_of: ClientOf) -> None:
    found = ask(client_of("planner"), get_introspection_query())
    assert "Holding" in {kind["name"] for kind in found["__schema"]["types"]}


def test_nobody_is_asked_to_sign_in(client_of: ClientOf) -> None:
    response = client_of("").post("/graphql", {"query": "{ __typename }"}, format="json")
    assert_refusal(response, 401, "not_authenticated")


def test_form_is_refused(client_of: ClientOf) -> None:
    client = client_of("admin")
    response = client.post("/graphql", "query={__typename}", content_type="application/x-www-form-urlencoded")
    assert_refusal(response, 415, "unsupported_media_type")
    assert_refusal(
        client.post("/graphql", {"query": "{ __typename }"}, format="multipart"),
        415,
        "unsupported_media_type",
    )


def test_session_without_csrf_token_asks_nothing_by_post(office: Office) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(office.users["admin"])
    body = json.dumps({"query": "{ __typename }"})
    assert client.post("/graphql", body, content_type="application/json").status_code == 403
    assert client.get("/graphql", {"query": "{ __typename }"}).status_code == 200


@pytest.mark.parametrize(
    ("body", "status", "code", "pointers"),
    [
        (b"{", 400, "malformed", []),
        (b"[]", 400, "bad_input", [""]),
        (b'[{"query": "{ __typename }"}]', 400, "bad_input", [""]),
        (b"{}", 400, "bad_input", ["/query"]),
        (b'{"query": 7}', 400, "bad_input", ["/query"]),
        (b'{"query": "{ a }", "variables": []}', 400, "bad_input", ["/variables"]),
        (b'{"query": "{ a }", "operationName": 7}', 400, "bad_input", ["/operationName"]),
        (b'{"query": "{ a }", "colour": 7}', 400, "bad_input", ["/colour"]),
        (b'{"query": "' + b" " * 10_000_000 + b'"}', 413, "too_large", []),
    ],
)  # fmt: skip
def test_body_that_is_no_question_is_refused(
    client_of: ClientOf, body: bytes, status: int, code: str, pointers: list[str]
) -> None:
    response = client_of("admin").post("/graphql", body, content_type="application/json")
    assert_refusal(response, status, code, *pointers)


def test_get_answers_reads_only(client_of: ClientOf) -> None:
    client = client_of("admin")
    question = {"query": "query($n: Int) { places(first: $n) { edges { cursor } } }", "variables": '{"n": 1}'}
    assert len(client.get("/graphql/", question).json()["data"]["places"]["edges"]) == 1
    assert_refusal(client.get("/graphql", {"query": "mutation { a }"}), 405, "method_not_allowed")
    assert_refusal(
        client.get("/graphql", {"query": "{ a }", "variables": "{"}), 400, "bad_input", "variables"
    )
    assert_refusal(client.get("/graphql"), 400, "bad_input", "/query")


def test_fault_inside_is_logged_and_not_told(
    client_of: ClientOf, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(self: object, info: object) -> None:
        raise RuntimeError("the password is swordfish")

    monkeypatch.setattr(schema.graphql_schema.type_map["Holding"].fields["quantity"], "resolve", fail)
    errors = refuse(
        client_of("admin"),
        "{ holdings { edges { node { quantity { value } } } } }",
        "internal_error",
        status=200,
    )
    assert "swordfish" not in json.dumps(errors)
    assert "swordfish" in caplog.text
