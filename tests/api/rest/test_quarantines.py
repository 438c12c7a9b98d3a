"""Goods held back through the door: what is held, where it went, which kits are short, who lifts it."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Actor, Container, Entry, Quarantine
from inventory.queries.company import get_today
from jobs.models import CrewDay
from tests.api.acts.fluids import caught
from tests.api.acts.quarantines import QUARANTINE_ACTS, a_lift, a_quarantine, opened_quarantine
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.fluids import make_vessel, pour
from tests.factories.inventory import at
from tests.factories.kits import make_plain_policy

ClientOf = Callable[[str], APIClient]
HOLD, LIFT = QUARANTINE_ACTS["hold"], QUARANTINE_ACTS["lift"]


def get(client: APIClient, names: dict[str, Any]) -> Any:
    return assert_answer("get_quarantine", client.get(f"/api/v1/quarantines/{names['quarantine']}"))


def test_quarantine_names_all_that_was_poured_and_the_spans(client_of: ClientOf, office: Office) -> None:
    caught(office)
    body = a_quarantine(office)
    made = assert_answer("open_quarantine", HOLD.send(client_of("crew"), body, {}))
    assert [(row["label"], row["state"], row["state_before"]) for row in made["held"]] == [
        ("C-north", "held", "open"),
        ("D-north", "held", "open"),
    ]
    # The crew sees no money and only its own places; what went into another's job is not told to it.
    (use,) = get(client_of("safety"), {"quarantine": body["id"]})["went_into"]
    assert (use["place"]["code"], use["quantity"]["value"]) == ("span-1", "12.000000")
    assert made["went_into"] == []
    assert made["cautions"][0].startswith("Set apart what is held back")
    assert any("drain" in caution for caution in made["cautions"])
    again = HOLD.send(client_of("crew"), body, {})
    assert again.json() == made
    assert_refusal(HOLD.send(client_of("crew"), {**body, "reason": "x"}, {}), 409, "entry_conflict")


def test_hazardous_goods_bring_their_caution(client_of: ClientOf, office: Office) -> None:
    office.world.fluid.is_hazardous = True
    office.world.fluid.save()
    made = HOLD.send(client_of("safety"), a_quarantine(office), {}).json()
    assert any(
        "data sheet at hand" in caution and "Extraction fluid" in caution for caution in made["cautions"]
    )


def test_kit_now_short_is_named_to_who_sees_its_crew(client_of: ClientOf, office: Office) -> None:
    make_plain_policy(fluid=office.world.fluid)
    CrewDay.objects.update(date=get_today())
    Container.objects.exclude(label="D-north").update(state="held")
    names = opened_quarantine(office)
    (kit,) = get(client_of("planner"), names)["short_kits"]
    assert (kit["crew"]["code"], kit["containers"]) == ("north", ["D-north"])
    assert kit["short_by_it"] == kit["short"]
    assert kit["held"] == {"value": "55.000000", "unit": "[gal_us]"}
    assert get(client_of("crew"), names)["short_kits"] == [kit]
    query = """query Of($id: UUID!) { quarantine(id: $id) { quarantine { container isOpen }
        held { label contents { quantity { value } } } shortKits { crew { code } title } cautions } }"""
    found = ask(client_of("planner"), query, id=names["quarantine"])["quarantine"]
    assert found["shortKits"][0]["crew"]["code"] == "north"
    assert found["held"][0]["contents"] == [{"quantity": {"value": "55.000000"}}]
    lifted = assert_answer("lift_quarantine", LIFT.send(client_of("safety"), a_lift(office), names))
    assert lifted["short_kits"] == []
    assert lifted["quarantine"]["is_open"] is False


def test_quarantine_is_never_lifted_by_whoever_caused_it(client_of: ClientOf, office: Office) -> None:
    actor = office.users["safety"].actor
    assert isinstance(actor, Actor)
    body = a_quarantine(office, caused_by=actor.code)
    made = HOLD.send(client_of("stores"), body, {}).json()
    assert made["quarantine"]["caused_by"]["code"] == actor.code
    response = LIFT.send(client_of("safety"), a_lift(office), {"quarantine": body["id"]})
    assert_refusal(response, 403, "not_yours_to_lift")
    assert Quarantine.objects.get().is_open


def test_crew_names_nobody_but_itself_as_the_cause(client_of: ClientOf, office: Office) -> None:
    for code in ("user-safety", "nobody"):
        response = HOLD.send(client_of("crew"), a_quarantine(office, caused_by=code), {})
        body = assert_refusal(response, 400, "bad_input", "/caused_by")
        assert "nobody of that code" in body["errors"][0]["detail"]
    assert HOLD.send(client_of("crew"), a_quarantine(office, caused_by="user-crew"), {}).status_code == 201


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [({"reason": " "}, "/reason"), ({"container": "D-9"}, "/container"), ({"id": "1"}, "/id")],
)
def test_what_is_wrong_is_named_and_nothing_is_held(
    client_of: ClientOf, office: Office, fields: dict[str, Any], pointer: str
) -> None:
    before = Entry.objects.count()
    response = HOLD.send(client_of("stores"), a_quarantine(office, **fields), {})
    assert_refusal(response, 400, "bad_input", pointer)
    assert (Entry.objects.count(), Quarantine.objects.count()) == (before, 0)


def test_lift_wants_a_reason_and_something_to_lift(client_of: ClientOf, office: Office) -> None:
    names = opened_quarantine(office)
    response = LIFT.send(client_of("safety"), a_lift(office, reason=" "), names)
    assert_refusal(response, 400, "bad_input", "/reason")
    for unknown in ("7", "7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01"):
        response = LIFT.send(client_of("safety"), a_lift(office), {"quarantine": unknown})
        assert_refusal(response, 404, "not_found")


def test_crew_is_told_why_its_vessel_is_held_but_not_where_it_came_from(
    client_of: ClientOf, office: Office
) -> None:
    """A drum of the yard is in doubt; a pail on the north truck was filled from it."""
    pail = make_vessel(office.world, "P-north", place=office.crew.vehicle)
    pour(office.world, Container.objects.get(label="D-1"), pail, 5, hours=0.5)
    names, foreign = opened_quarantine(office, "D-1"), opened_quarantine(office, "D-south")
    found = get(client_of("crew"), names)
    assert (found["quarantine"]["container"], found["quarantine"]["reason"]) == (None, "rust in it")
    assert [row["label"] for row in found["held"]] == ["P-north"]
    rows = assert_answer("list_quarantines", client_of("crew").get("/api/v1/quarantines"))["results"]
    assert [row["id"] for row in rows] == [names["quarantine"]]
    assert client_of("crew").get(f"/api/v1/quarantines/{foreign['quarantine']}").status_code == 404
    assert len(client_of("safety").get("/api/v1/quarantines").json()["results"]) == 2


def test_queries_do_not_grow_with_what_is_held(client_of: ClientOf, office: Office) -> None:
    counts = []
    drum = Container.objects.get(label="D-1")
    for many in (1, 8):
        for number in range(many):
            pour(office.world, drum, make_vessel(office.world, f"P-{many}-{number}"), 1, hours=0.5)
        names = opened_quarantine(office, "D-1")
        with CaptureQueriesContext(connection) as queries:
            get(client_of("safety"), names)
        counts.append(len(queries))
        Quarantine.objects.update(lifted_at=at(1), lifted_by=office.world.actor, lift_reason="sample fine")
        Container.objects.update(state="open")
    assert counts[0] == counts[1]
