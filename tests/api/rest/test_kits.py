"""Kits through REST: agreed, loaded in goes, sent out; and a warehouse's day with its prints."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import Container, Place, Reservation
from jobs.models import CrewDay
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
SHEET = "/api/v1/pull-sheets/north/2026-03-02"
DAY = "/api/v1/kits-of-day/yard/2026-03-02"


@pytest.fixture(autouse=True)
def yard(office: Office) -> Place:
    """A pail in the yard from which the office's crews fetch their kits."""
    place = Place.objects.get(code="yard")
    for label in ("PAIL", "OTHER"):
        Container.objects.create(
            label=label,
            kind=Container.Kind.PAIL,
            material=office.world.fluid,
            owner=office.world.company,
            place=place,
            state=Container.State.CLEAN,
            capacity=20_000_000,
        )
    return place


def _load(*boxes: dict[str, Any], **values: Any) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "occurred_at": "2026-03-02T07:00:00-06:00",
        "containers": list(boxes),
        **values,
    }


def test_kit_goes_from_agreed_to_out(client_of: ClientOf, office: Office) -> None:
    agreed = client_of("planner").post(f"{SHEET}/state", {"state": "agreed"}, format="json")
    assert assert_answer("change_kit_state", agreed)["state"] == "agreed"
    catch = next(line for line in agreed.json()["lines"] if line["section"] == "catch")
    label = catch["picks"][0]["container"]
    assert [row.container.label for row in Reservation.objects.all()] == [label]  # type: ignore[union-attr]
    crew, body = client_of("crew"), _load({"container": label}, is_complete=True)
    loaded = crew.post(f"{SHEET}/loads", body, format="json")
    answer = assert_answer("load_kit", loaded)
    assert (answer["entry"], answer["pull_sheet"]["state"]) == (body["id"], "loaded")
    assert Container.objects.get(label=label).place == office.crew.vehicle
    assert crew.post(f"{SHEET}/loads", body, format="json").json() == answer
    out = crew.post(f"{SHEET}/state", {"state": "out"}, format="json")
    assert out.json()["state"] == "out"


def test_load_names_every_fault_and_stores_nothing(client_of: ClientOf, office: Office) -> None:
    line = {"material": "nothing", "amount": {"value": "1", "unit": "1"}, "place": "main-yard"}
    response = client_of("crew").post(
        f"{SHEET}/loads", _load({"container": "D-south"}, lines=[line]), format="json"
    )
    pointers = ("/containers/0/container", "/lines/0/material", "/lines/0/place")
    assert_refusal(response, 400, "bad_input", *pointers)
    assert CrewDay.objects.get(crew=office.crew).state == "planned"


def test_load_of_what_the_sheet_does_not_name_wants_a_reason(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    boxes = [{"container": "PAIL"}, {"container": "OTHER"}]
    response = crew.post(f"{SHEET}/loads", _load(*boxes), format="json")
    assert (response.status_code, response.json()["code"]) == (400, "reason_is_missing")
    given = [{**box, "reason": "both are small", "instead_of": "DRUM"} for box in boxes]
    assert crew.post(f"{SHEET}/loads", _load(*given), format="json").status_code == 201


def test_kits_of_a_day_tell_what_changed_since_the_last_print(client_of: ClientOf, office: Office) -> None:
    stores = client_of("stores")
    first = assert_answer("get_kits_of_day", stores.get(DAY))
    assert [sheet["crew"]["code"] for sheet in first["sheets"]] == ["north", "south"]
    assert {line["container"] for line in first["lines"]} == {"OTHER", "PAIL"}
    assert (first["last_print"], first["changes"]) == (None, [])
    assert_answer("print_kits_of_day", stores.post(f"{DAY}/prints"))
    again = stores.get(DAY).json()
    assert (again["last_print"]["number"], again["changes"]) == (1, [])
    # The first pail is held back: its crew gets the other, whose crew gets none.
    label = next(line["container"] for line in again["lines"] if line["crews"][0]["crew"] == "north")
    Container.objects.filter(label=label).update(state="held")
    changes = stores.get(DAY).json()["changes"]
    assert {(change["line"]["container"], change["kind"]) for change in changes} == {
        (label, "gone"),
        ({"PAIL": "OTHER", "OTHER": "PAIL"}[label], "changed"),
    }
    stores.post(f"{DAY}/prints")
    assert stores.get(DAY).json()["last_print"]["number"] == 2
