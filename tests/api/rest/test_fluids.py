"""Recovered fluid through the door: strained, tested, passed, blended, spent; faults by field."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Container, Entry, FluidLimit, FluidPolicy, FluidRelease, FluidTest
from tests.api.acts.case import AT, gallons, head
from tests.api.acts.fluids import (
    FLUID_ACTS,
    a_blending,
    a_limit,
    a_policy,
    a_release,
    a_spending,
    a_straining,
    a_test,
    caught,
)
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.fluids import approve_limits, catch, inject, make_vessel

ClientOf = Callable[[str], APIClient]
DRAIN = "Nothing goes into a drain, a ditch or the ground."


def send(client: APIClient, name: str, body: dict[str, Any]) -> Any:
    return FLUID_ACTS[name].send(client, body, {})


def test_fluid_is_strained_tested_and_passed(client_of: ClientOf, office: Office) -> None:
    stores, straining = client_of("stores"), a_straining(office)
    made = assert_answer("strain_fluid", send(stores, "strain", straining))
    states = {row["label"]: (row["contents_state"], row["contents"]) for row in made["vessels"]}
    assert states["S-north"][0] == "strained"
    assert states["S-north"][1][0]["quantity"] == gallons("9.500000")
    assert states["W-north"][0] == "spent"
    assert any("Eye protection" in caution for caution in made["cautions"])
    assert DRAIN in made["cautions"]
    assert send(stores, "strain", straining).json() == made
    approve_limits(office.world)
    test = {**head(), "container": "S-north", "results": [{"measured": "pH", "value": 8}]}
    told = assert_answer("record_fluid_test", send(stores, "test", test))
    assert told["results"][0] | {"highest": 9.5, "is_within": True, "remark": ""} == told["results"][0]
    release = {**head(), "container": "S-north", "basis": "tested"}
    refused = assert_refusal(send(stores, "pass for the same day", release), 409, "not_passed_by_test")
    assert "solids was not measured" in refused["detail"]
    test = {**head(), "container": "S-north", "results": [
        {"measured": "pH", "value": "8.2"}, {"measured": "solids", "value": 90, "unit": "mg/L"},
        {"measured": "colour", "value": 1},
    ]}  # fmt: skip
    told = assert_answer("record_fluid_test", send(stores, "test", test))
    unlimited = next(row for row in told["results"] if row["measured"] == "colour")
    assert (unlimited["is_within"], unlimited["remark"]) == (None, "no limit approved")
    passed = assert_answer("release_fluid", send(stores, "pass for the same day", release))
    assert (passed["basis"], passed["test"], passed["uses"]) == ("tested", test["id"], 1)
    rows = assert_answer("list_recovered_fluid", stores.get("/api/v1/recovered-fluid"))["results"]
    found = {row["container"]: (row["contents_state"], row["came_back"], row["uses"]) for row in rows}
    assert found == {"S-north": ("fit", "caught", 1), "W-north": ("spent", "caught", 1)}
    assert assert_answer("get_fluid_test", stores.get(f"/api/v1/fluid-tests/{test['id']}")) == told
    assert len(assert_answer("list_fluid_tests", stores.get("/api/v1/fluid-tests"))["results"]) == 2
    rows = assert_answer("list_fluid_releases", stores.get("/api/v1/fluid-releases?basis=tested"))
    assert rows["results"] == [passed]


def test_without_an_approved_limit_no_test_passes_the_fluid(client_of: ClientOf, office: Office) -> None:
    stores = client_of("stores")
    send(stores, "test", a_test(office))
    FluidLimit.objects.update(withdrawn_at=AT)
    release = {**head(), "container": "C-north", "basis": "tested"}
    body = assert_refusal(send(stores, "pass for the same day", release), 409, "no_limit_approved")
    assert "No limit approved" in body["detail"]
    assert not FluidRelease.objects.exists()


def test_limit_takes_the_place_of_the_one_before(client_of: ClientOf, office: Office) -> None:
    safety = client_of("safety")
    first = assert_answer("set_fluid_limit", send(safety, "limit", a_limit(office)))
    assert assert_answer("set_fluid_limit", send(safety, "limit", a_limit(office))) == first
    send(safety, "limit", a_limit(office, highest=9.0))
    rows = assert_answer("list_fluid_limits", client_of("crew").get("/api/v1/fluid-limits"))["results"]
    assert [(row["highest"], row["withdrawn_at"] is None) for row in rows] == [(9.5, False), (9.0, True)]
    gone = {"occurred_at": AT, "material": "fluid-recovered", "measured": "pH"}
    assert assert_answer("withdraw_fluid_limit", send(safety, "withdraw a limit", gone))["withdrawn_at"]
    unknown = send(safety, "withdraw a limit", {**gone, "measured": "salt"})
    assert_refusal(unknown, 400, "bad_input", "/measured")


def test_policy_says_how_often_fluid_is_used_untested(client_of: ClientOf, office: Office) -> None:
    assert_answer("set_fluid_policy", send(client_of("safety"), "policy", a_policy(office, most_uses=1)))
    rows = assert_answer("list_fluid_policies", client_of("crew").get("/api/v1/fluid-policies"))["results"]
    assert [(row["material"]["code"], row["most_uses"]) for row in rows] == [("fluid-recovered", 1)]
    crew = client_of("crew")
    passed = assert_answer("release_fluid", send(crew, "pass for the same day", a_release(office)))
    assert passed["ends_at"] == "2026-03-03T06:00:00Z"
    FluidPolicy.objects.update(may_reuse_same_day=False)
    Container.objects.filter(label="C-north").update(contents_state="strained")
    again = {**head(), "container": "C-north", "basis": "same_day"}
    assert_refusal(send(crew, "pass for the same day", again), 409, "reuse_not_allowed")


def test_recipe_blends_what_it_says(client_of: ClientOf, office: Office) -> None:
    made = assert_answer("blend_fluid", send(client_of("crew"), "blend", a_blending(office)))
    states = {row["label"]: row["contents_state"] for row in made["vessels"]}
    assert states["B-north"] == "strained"
    assert made["kind"] == "conversion"


def test_spent_fluid_gathers_waste_from_that_day(client_of: ClientOf, office: Office) -> None:
    made = assert_answer("spend_fluid", send(client_of("crew"), "spend", a_spending(office)))
    assert [(row["label"], row["contents_state"]) for row in made["vessels"]] == [("C-north", "spent")]
    drum = Container.objects.get(label="C-north").waste_drums.get()
    assert (drum.started_date.isoformat(), drum.day_limit) == ("2026-03-02", None)


WRONG: list[tuple[str, Callable[..., dict[str, Any]], dict[str, Any], tuple[str, ...]]] = [
    ("test", a_test, {"results": []}, ("/results",)),
    ("test", a_test, {"results": [{"measured": " ", "value": 1}]}, ("/results/0/measured",)),
    ("test", a_test, {"results": [{"measured": "pH", "value": "much"}]}, ("/results/0/value",)),
    ("test", a_test, {"results": [{"measured": "pH", "value": 8, "unit": "g"}]}, ("/results/0/unit",)),
    ("test", a_test, {"container": "D-north"}, ("/container",)),
    ("test", a_test, {"container": "D-none"}, ("/container",)),
    ("test", a_test, {"occurred_at": "2026-03-09T12:00:00Z"}, ("/occurred_at",)),
    ("test", a_test, {"occurred_at": "yesterday", "id": "7"}, ("/id", "/occurred_at")),
    ("limit", a_limit, {"lowest": None, "highest": None}, ("/lowest",)),
    ("limit", a_limit, {"lowest": 9.9}, ("/lowest",)),
    ("limit", a_limit, {"measured": ""}, ("/measured",)),
    ("limit", a_limit, {"material": "fluid"}, ("/material",)),
    ("policy", a_policy, {"most_uses": 0}, ("/most_uses",)),
    ("policy", a_policy, {"material": "projectile-12"}, ("/material",)),
    ("pass for the same day", a_release, {"basis": "looks fine"}, ("/basis",)),
    ("strain", a_straining, {"strained": gallons("11")}, ("/strained",)),
    ("strain", a_straining, {"residue": None}, ("/residue",)),
    ("strain", a_straining, {"taken": gallons("1.0000001")}, ("/taken/value",)),
    ("strain", a_straining, {"source": "D-north"}, ("/container",)),
    ("blend", a_blending, {"times": 0}, ("/times",)),
    ("blend", a_blending, {"recipe": "none"}, ("/recipe",)),
    ("blend", a_blending, {"sources": ["D-north"]}, ("/sources/0",)),
    ("spend", a_spending, {"container": "D-north"}, ("/container",)),
]


@pytest.mark.parametrize(("name", "make", "fields", "pointers"), WRONG)
def test_what_is_wrong_is_named_and_nothing_is_posted(
    client_of: ClientOf,
    office: Office,
    name: str,
    make: Callable[..., dict[str, Any]],
    fields: dict[str, Any],
    pointers: tuple[str, ...],
) -> None:
    body = make(office, **fields)
    role = "safety" if name in {"limit", "policy"} else "stores"
    before = Entry.objects.count(), FluidLimit.objects.count(), FluidPolicy.objects.count()
    assert_refusal(send(client_of(role), name, body), 400, "bad_input", *pointers)
    assert before == (Entry.objects.count(), FluidLimit.objects.count(), FluidPolicy.objects.count())
    assert not FluidTest.objects.exists()


def test_amount_of_another_dimension_is_named(client_of: ClientOf, office: Office) -> None:
    body = a_straining(office, taken={"value": "10", "unit": "kg"})
    assert_refusal(send(client_of("stores"), "strain", body), 400, "wrong_dimension", "/taken")


def test_more_than_is_there_is_not_strained_unless_it_has_happened(
    client_of: ClientOf, office: Office
) -> None:
    body = a_straining(office, taken=gallons("11"), strained=gallons("10.5"))
    assert_refusal(send(client_of("stores"), "strain", body), 409, "not_enough_held")
    told = {**body, "as_report": True}
    assert_answer("strain_fluid", send(client_of("stores"), "strain", told))


def test_crew_sees_the_fluid_on_its_own_truck_only(client_of: ClientOf, office: Office) -> None:
    caught(office)
    caught(office, "C-yard", in_yard=True)
    rows = {
        role: {row["container"] for row in client_of(role).get("/api/v1/recovered-fluid").json()["results"]}
        for role in ("crew", "safety")
    }
    assert rows == {"crew": {"C-north"}, "safety": {"C-north", "C-yard"}}
    query = "{ recoveredFluid { results { container cautions } } }"
    found = ask(client_of("crew"), query)["recoveredFluid"]["results"]
    assert [row["container"] for row in found] == ["C-north"]
    assert DRAIN in found[0]["cautions"]


EVERY = """{ recoveredFluid { results { container uses place { code } } }
    fluidTests { results { id results { measured } } } fluidReleases { results { id } }
    fluidLimits { results { measured } } fluidPolicies { results { mostUses } } }"""


def test_queries_do_not_grow_with_the_vessels(client_of: ClientOf, office: Office) -> None:
    client, counts = client_of("stores"), []
    approve_limits(office.world)
    for labels in (("A1",), tuple(f"B{number}" for number in range(6))):
        for label in labels:
            caught_small(office, label)
            test = {**head(), "container": label, "results": [{"measured": "pH", "value": 8}]}
            assert send(client, "test", test).status_code == 201
        for asked in (lambda: client.get("/api/v1/recovered-fluid"), lambda: ask(client, EVERY)):
            with CaptureQueriesContext(connection) as queries:
                asked()
            counts.append(len(queries))
    assert counts[:2] == counts[2:]


def caught_small(office: Office, label: str) -> None:
    drum = Container.objects.get(label="D-1")
    box = make_vessel(office.world, label)
    inject(office.world, drum, 2, hours=5)
    catch(office.world, box, 1, hours=6)
