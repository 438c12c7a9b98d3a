"""Instruments and their checks through the door."""

from collections.abc import Callable
from typing import Any

from rest_framework.test import APIClient

from inventory.models import Instrument
from tests.api.published import assert_answer, assert_refusal
from tests.factories.instruments import make_check, make_instrument

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/instruments"
METER = {
    "kind": "meter",
    "unit": "[gal_us]",
    "resolution": 0.1,
    "accuracy_class": 1.0,
    "place": "truck-north",
}


def test_instrument_is_registered_and_read_as_published(client_of: ClientOf) -> None:
    stores = client_of("stores")
    made: Any = assert_answer("save_instrument", stores.put(f"{ADDRESS}/M-1", METER, format="json"))
    assert made["instrument"]["place"]["code"] == "truck-north"
    # Nobody has checked it yet, so it is trusted half as much.
    assert (made["instrument"]["days_overdue"], made["instrument"]["trust_factor"]) == (None, 2.0)
    assert assert_answer("get_instrument", stores.get(f"{ADDRESS}/M-1/")) == made
    rows = assert_answer("list_instruments", client_of("crew").get(ADDRESS, {"kind": "meter"}))["results"]
    assert rows == [made["instrument"]]
    assert client_of("crew").get(ADDRESS, {"kind": "scale"}).json()["results"] == []


def test_instrument_is_changed_only_as_it_was_seen(client_of: ClientOf) -> None:
    stores = client_of("stores")
    seen = stores.put(f"{ADDRESS}/M-1", METER, format="json")["ETag"]
    other = {**METER, "accuracy_class": 1.5}
    assert_refusal(stores.put(f"{ADDRESS}/M-1", other, format="json"), 428, "precondition_missing")
    changed = stores.put(f"{ADDRESS}/M-1", other, format="json", headers={"If-Match": seen})
    assert changed.json()["instrument"]["accuracy_class"] == 1.5
    assert changed["ETag"] != seen
    stale = stores.put(f"{ADDRESS}/M-1", METER, format="json", headers={"If-Match": seen})
    assert_refusal(stale, 412, "stale_version")
    assert Instrument.objects.get().accuracy_class == 1.5


def test_instrument_of_another_kind_wants_a_tag_of_its_own(client_of: ClientOf) -> None:
    make_instrument("M-1")
    scale = {"kind": "scale", "unit": "kg"}
    answer = client_of("stores").put(f"{ADDRESS}/M-1", scale, format="json", headers={"If-Match": "*"})
    assert_refusal(answer, 409, "instrument_in_use")


def test_instrument_names_every_fault(client_of: ClientOf) -> None:
    bad = {"kind": "meter", "unit": "bucket", "resolution": 0, "place": "nowhere"}
    answer = client_of("stores").put(f"{ADDRESS}/M-1", bad, format="json")
    assert_refusal(answer, 400, "bad_input", "/unit", "/resolution")
    wrong = {"kind": "meter", "unit": "kg"}
    assert_refusal(client_of("stores").put(f"{ADDRESS}/M-1", wrong, format="json"), 400, "bad_input", "/unit")
    assert not Instrument.objects.exists()


def test_instrument_check_is_written_down_once(client_of: ClientOf) -> None:
    make_instrument("M-1")
    check = {"checked_date": "2026-03-01", "due_date": "2027-03-01", "drift_fraction": 0.004}
    safety = client_of("safety")
    first = safety.post(f"{ADDRESS}/M-1/checks", check, format="json")
    assert first.status_code == 201
    assert_answer("record_instrument_check", first)
    again = safety.post(f"{ADDRESS}/M-1/checks", check, format="json")
    assert (again.status_code, again.json()) == (200, first.json())
    other = safety.post(f"{ADDRESS}/M-1/checks", {**check, "drift_fraction": 0.1}, format="json")
    assert_refusal(other, 409, "check_conflict")
    shown = client_of("crew").get(f"{ADDRESS}/M-1").json()
    assert [row["drift_fraction"] for row in shown["checks"]] == [0.004]


def test_instruments_are_kept_by_stores_safety_and_admin(client_of: ClientOf) -> None:
    make_check(make_instrument("M-1"))
    check = {"checked_date": "2026-04-01", "due_date": "2027-03-01"}
    for role in ("crew", "planner", "accounts"):
        client = client_of(role)
        assert_refusal(client.put(f"{ADDRESS}/M-2", METER, format="json"), 403, "not_allowed")
        assert_refusal(client.post(f"{ADDRESS}/M-1/checks", check, format="json"), 403, "not_allowed")
    assert_refusal(client_of("stores").get(f"{ADDRESS}/M-9"), 404, "not_found")
    for number, role in enumerate(("stores", "safety", "admin")):
        answer = client_of(role).put(f"{ADDRESS}/N-{number}", METER, format="json")
        assert answer.status_code == 201, role
