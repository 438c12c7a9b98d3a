"""Mutations: the acts of REST for the same roles, with what was refused in the payload."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from inventory.models import Entry
from tests.api.acts.case import camel, undone
from tests.api.acts.every_act import ACTS
from tests.api.acts.fluids import FLUID_ACTS
from tests.api.rest.test_roles import ROLES
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
CODES = {400: "bad_input", 403: "not_allowed", 404: "not_found"}


@pytest.mark.parametrize("name", ACTS)
def test_roles_do_what_they_may_over_graphql(client_of: ClientOf, office: Office, name: str) -> None:
    case = ACTS[name]
    body, names, before = case.make(office), case.names(office), Entry.objects.count()
    extra = {"if_match": "*"} if case.method == "put" else {}
    found = []
    for role in ROLES[1:]:
        with undone():
            payload = case.ask(client_of(role), body, names, **extra)
            assert (payload["result"] is None) is bool(payload["errors"])
            assert not payload["errors"] or Entry.objects.count() == before
            found.append({error["code"] for error in payload["errors"]})
    assert found == [{CODES[status]} if status >= 300 else set() for status in case.statuses[1:]]


def test_nobody_does_anything(client_of: ClientOf) -> None:
    query = "mutation { __typename }"
    assert client_of("").post("/graphql", {"query": query}, format="json").status_code == 401


def test_fault_in_the_input_is_named_by_its_field(client_of: ClientOf, office: Office) -> None:
    case = FLUID_ACTS["test"]
    body = case.make(office)
    body["results"][1]["unit"] = "ppm"
    body["results"].append({"measured": "pH", "value": 9})
    payload = case.ask(client_of("stores"), body, {})
    assert payload["result"] is None
    assert [(row["pointer"], row["value"]) for row in payload["errors"]] == [("/results/2/measured", "pH")]
    body["results"].pop()
    (error,) = case.ask(client_of("stores"), body, {})["errors"]
    assert (error["code"], error["pointer"]) == ("bad_input", "/results/1/unit")


def test_pointer_is_written_as_the_input_is(client_of: ClientOf, office: Office) -> None:
    case = FLUID_ACTS["policy"]
    (error,) = case.ask(client_of("safety"), case.make(office) | {"most_uses": 0}, {})["errors"]
    assert error["pointer"] == "/mostUses"


def test_one_act_refused_leaves_the_others_done(client_of: ClientOf, office: Office) -> None:
    case = FLUID_ACTS["limit"]
    good, bad = case.make(office), case.make(office) | {"measured": "salt", "lowest": 9.9}
    query = """mutation Both($good: SetFluidLimitInput!, $bad: SetFluidLimitInput!) {
        bad: setFluidLimit(input: $bad) { result { measured } errors { code pointer } }
        good: setFluidLimit(input: $good) { result { measured } errors { code } } }"""
    variables = {"good": camel(good), "bad": camel(bad)}
    body = {"query": query, "variables": variables}
    data = client_of("safety").post("/graphql", body, format="json").json()["data"]
    assert data["bad"] == {"result": None, "errors": [{"code": "bad_input", "pointer": "/lowest"}]}
    assert data["good"] == {"result": {"measured": "pH"}, "errors": []}


def test_mutation_is_not_taken_by_get(client_of: ClientOf) -> None:
    response = client_of("safety").get("/graphql", {"query": "mutation { __typename }"})
    assert response.status_code == 405
