"""Hand-overs, purchases, another vehicle and whom to chase, through REST."""

from collections.abc import Callable
from datetime import UTC, datetime, time
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from api.models import User
from inventory.models import Place
from jobs.models import CompanyRules, CrewDay
from jobs.services.unreported import flag_days_without_report
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office, make_user

ClientOf = Callable[[str], APIClient]
MOMENT = "2026-03-02T15:00:00-06:00"


def a_hand_over(**parts: Any) -> dict[str, Any]:
    values = {
        "id": str(uuid4()),
        "occurred_at": MOMENT,
        "source": "truck-north",
        "target": "truck-south",
        "containers": [{"container": "D-north"}],
    }
    return {**values, **parts}


def south_client(office: Office) -> APIClient:
    client = APIClient()
    client.force_login(make_user("south-crew", User.Role.CREW, crew=office.foreign_crew))
    return client


def test_hand_over_is_confirmed_by_the_other_truck(client_of: ClientOf, office: Office) -> None:
    crew, body = client_of("crew"), a_hand_over()
    given = assert_answer("hand_over", crew.post("/api/v1/hand-overs", body, format="json"))
    assert given["is_confirmed"] is None
    answer = {"occurred_at": MOMENT, "is_confirmed": True}
    address = f"/api/v1/hand-overs/{body['id']}/answer"
    assert_refusal(crew.post(address, answer, format="json"), 403, "not_allowed")
    south = south_client(office)
    waiting = assert_answer("list_hand_overs", south.get("/api/v1/hand-overs?is_open=true"))
    assert [row["id"] for row in waiting["results"]] == [body["id"]]
    confirmed = assert_answer("answer_hand_over", south.post(address, answer, format="json"))
    assert (confirmed["is_confirmed"], confirmed["answered_by"]["code"]) == (True, "user-south-crew")
    otherwise = south.post(address, {**answer, "is_confirmed": False}, format="json")
    assert_refusal(otherwise, 409, "hand_over_answered")
    assert client_of("planner").get("/api/v1/hand-overs?is_open=true").json()["results"] == []


def test_hand_over_of_anothers_goods_is_refused(client_of: ClientOf, office: Office) -> None:
    body = a_hand_over(source="truck-south", target="truck-north", containers=[])
    body["lines"] = [{"material": "fluid", "amount": {"value": "1", "unit": "L"}}]
    response = client_of("crew").post("/api/v1/hand-overs", body, format="json")
    assert_refusal(response, 403, "not_allowed")


def a_purchase(**parts: Any) -> dict[str, Any]:
    line = {
        "material": "fluid",
        "amount": {"value": "5", "unit": "[gal_us]"},
        "cost": {"value": "61.50", "currency": "USD"},
    }
    values = {
        "id": str(uuid4()),
        "occurred_at": MOMENT,
        "supplier": "supplier-1",
        "vehicle": "truck-north",
        "ticket_number": "T-77",
        "lines": [line],
    }
    return {**values, **parts}


def test_purchase_at_a_counter_is_taken_once(client_of: ClientOf, office: Office) -> None:
    admin, body = client_of("admin"), a_purchase()
    bought = assert_answer("buy_at_counter", admin.post("/api/v1/purchases", body, format="json"))
    assert bought["ticket_number"] == "T-77"
    assert admin.post("/api/v1/purchases", body, format="json").json() == bought
    other = admin.post("/api/v1/purchases", a_purchase(), format="json")
    assert_refusal(other, 409, "ticket_booked")


@pytest.mark.parametrize(
    ("role", "status"), [("", 401), ("stores", 201), ("crew", 201), ("planner", 403), ("safety", 403)]
)
def test_role_buys_what_it_may(client_of: ClientOf, office: Office, role: str, status: int) -> None:
    assert client_of(role).post("/api/v1/purchases", a_purchase(), format="json").status_code == status


def test_crew_moves_all_to_another_vehicle(client_of: ClientOf, office: Office) -> None:
    Place.objects.create(code="truck-9", name="Truck 9", kind="vehicle")
    crew = client_of("crew")
    body = {"id": str(uuid4()), "occurred_at": MOMENT, "vehicle": "truck-9"}
    address = "/api/v1/crew-days/north/2026-03-02/vehicle"
    moved = assert_answer("move_all_to_vehicle", crew.post(address, body, format="json"))
    assert moved["vehicle"] == "truck-9"
    assert Place.objects.get(code="truck-9").containers.get().label == "D-north"
    assert crew.post(address.replace("north", "south"), body, format="json").status_code == 404


def test_unconfirmed_trucks_say_whom_to_chase(client_of: ClientOf, office: Office) -> None:
    CompanyRules.objects.update_or_create(pk=1, defaults={"report_cut_off_time": time(20)})
    CrewDay.objects.update(state=CrewDay.State.LOADED)
    flag_days_without_report(now=datetime(2026, 3, 3, 3, tzinfo=UTC))
    address = "/api/v1/unconfirmed-trucks"
    stores = assert_answer("list_unconfirmed_trucks", client_of("stores").get(address))
    assert [row["crew"]["code"] for row in stores["results"]] == ["north", "south"]
    crew = client_of("crew").get(address).json()["results"]
    assert [row["vehicle"]["code"] for row in crew] == ["truck-north"]
