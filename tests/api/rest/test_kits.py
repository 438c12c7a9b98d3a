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


def test_company_edits_its_check_list(client_of: ClientOf, office: Office) -> None:
    safety = client_of("safety")
    answer = safety.get("/api/v1/check-list")
    lists = assert_answer("get_check_lists", answer)
    assert "Spill kit" in {item["name"] for item in lists["gear"]}
    changed = {
        "gear": [
            {"name": "Spill kit", "detail": "two of them"},
            {"name": "Rain cover", "occasion": "extract"},
        ],
        "protective": [{"name": "Gloves", "material": "projectile-12", "pieces": 2}],
    }
    address = "/api/v1/check-list"
    assert safety.put(address, changed, format="json").status_code == 428
    tag = {"HTTP_IF_MATCH": answer["ETag"]}
    assert client_of("crew").put(address, changed, format="json", **tag).status_code == 403
    stored = assert_answer("set_check_lists", safety.put(address, changed, format="json", **tag))
    assert [item["name"] for item in stored["gear"]] == ["Spill kit", "Rain cover"]
    assert safety.put(address, changed, format="json", **tag).status_code == 412
    sheet = safety.get(SHEET).json()
    assert [item["name"] for item in sheet["check_list"]] == ["Spill kit", "Rain cover"]


def test_check_list_names_what_is_wrong_and_stores_nothing(client_of: ClientOf, office: Office) -> None:
    admin = client_of("admin")
    tag = {"HTTP_IF_MATCH": admin.get("/api/v1/check-list")["ETag"]}
    twice = {"gear": [{"name": "Pump"}, {"name": "Pump "}], "protective": []}
    response = admin.put("/api/v1/check-list", twice, format="json", **tag)
    assert_refusal(response, 400, "bad_input", "/gear/1/name")
    unknown = {"gear": [], "protective": [{"name": "Gloves", "material": "velvet"}]}
    response = admin.put("/api/v1/check-list", unknown, format="json", **tag)
    assert_refusal(response, 400, "bad_input", "/protective/0/material")
    assert admin.get("/api/v1/check-list")["ETag"] == tag["HTTP_IF_MATCH"]


def test_cancelled_job_lists_what_must_come_back(client_of: ClientOf, office: Office) -> None:
    drum = office.world.drum("D-9", 55, place=Place.objects.get(code="yard"))
    body = _load({"container": drum.label, "reason": "nearest"}, is_complete=True)
    loaded = client_of("stores").post(f"{SHEET}/loads", body, format="json")
    assert loaded.status_code == 201, loaded.content
    cancelled = client_of("planner").post("/api/v1/jobs/J-north/state", {"state": "cancelled"}, format="json")
    change = assert_answer("change_job_state", cancelled)
    assert (change["state"], change["dropped"]) == ("cancelled", [])
    answer = client_of("planner").get("/api/v1/jobs/J-north/to-come-back")
    (row,) = assert_answer("list_goods_to_come_back", answer)
    assert (row["container"], row["place"]["code"]) == ("D-9", "truck-north")
    assert row["why"] == "loaded for job J-north"
    assert change["to_come_back"] == [row]
    refused = client_of("planner").post("/api/v1/jobs/J-north/state", {"state": "approved"}, format="json")
    assert_refusal(refused, 409, "state_may_not_follow")


def test_kit_that_is_not_loaded_is_not_sent_out(client_of: ClientOf, office: Office) -> None:
    for role, status in (("stores", 409), ("crew", 409), ("admin", 409), ("planner", 403), ("safety", 403)):
        refused = client_of(role).post(f"{SHEET}/state", {"state": "out"}, format="json")
        code = {409: "day_state_may_not_follow", 403: "not_allowed"}[status]
        assert_refusal(refused, status, code)
    assert CrewDay.objects.get(crew=office.crew).state == "planned"
