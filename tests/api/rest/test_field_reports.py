"""Field reports through REST: taken once, corrected, shown to whom they concern."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Entry, Holding
from jobs.models import FieldReport, RuleFinding, Span
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/field-reports"
S1 = {"job": "J-north", "name": "S1"}


def a_report(**parts: Any) -> dict[str, Any]:
    values: dict[str, Any] = {
        "id": str(uuid4()),
        "crew": "north",
        "date": "2026-03-02",
        "occurred_at": "2026-03-02T17:00:00-06:00",
        "attempts": [
            {
                "span": S1,
                "pressure": {"value": "120", "unit": "[psi]"},
                "temperature": {"value": "68", "unit": "[degF]"},
                "was_leak_looked_for": True,
            }
        ],
        "readings": [{"container": "D-north", "method": "dipped", "value": "35", "unit": "[gal_us]"}],
    }
    return {**values, **parts}


def test_crew_posts_a_report_and_reads_it(client_of: ClientOf, office: Office) -> None:
    crew, body = client_of("crew"), a_report()
    response = crew.post(ADDRESS, body, format="json")
    assert response.status_code == 201, response.content
    assert_answer("post_field_report", response)
    attempt = response.json()["attempts"][0]
    assert attempt["pressure_kpa"] == pytest.approx(827.37, abs=0.01)
    assert attempt["temperature_c"] == pytest.approx(20)
    assert Holding.objects.get(place=office.span.place).quantity == 20_000_000
    assert assert_answer("get_field_report", crew.get(response["Location"])) == response.json()
    entry = response.json()["entries"][0]
    assert crew.get(f"/api/v1/entries/{entry}").status_code == 200
    answer = crew.get(f"{ADDRESS}?crew=north&date=2026-03-02")
    listed = assert_answer("list_field_reports", answer)["results"]
    assert [row["id"] for row in listed] == [body["id"]]


def test_report_with_every_part_is_taken_and_written_out(client_of: ClientOf, office: Office) -> None:
    run = {"job": "J-north", "name": "R1"}
    body = a_report(
        cleanings=[{"run": run, "projectile": "projectile-12", "fired": 3, "retrieved": 3}],
        blowings=[{"run": run, "ran_short_at": {"value": "100", "unit": "m"}, "is_done": False}],
        caught=[
            {"container": "D-1", "spans": [S1], "amount": {"value": "2", "unit": "[gal_us]"}},
            {"container": "D-1", "kind": "swept", "run": run},
        ],
        pieces=[
            {"material": "projectile-12", "amount": {"value": "1", "unit": "1"}, "fate": "lost", "run": run}
        ],
        waste=[{"manifest_number": "M-1", "container": "D-north", "amount": {"value": "1", "unit": "L"}}],
        losses=[
            {
                "material": "fluid",
                "cause": "spill",
                "amount": {"value": "1", "unit": "L"},
                "liable_party": "network",
            }
        ],
        note="wet all day",
    )
    response = client_of("admin").post(ADDRESS, body, format="json")
    assert_answer("post_field_report", response)
    for part in ("cleanings", "blowings", "caught", "pieces", "waste", "losses"):
        assert len(response.json()[part]) == len(body[part]), part


def test_split_and_incident_are_shown_and_a_split_outlives_its_correction(
    client_of: ClientOf, office: Office
) -> None:
    crew = client_of("crew")
    split = {"span": S1, "at": {"value": "100", "unit": "[ft_i]"}, "access_point": "Pit 1"}
    body = a_report(attempts=[], splits=[split], incidents=[{"kind": "spill", "note": "A litre or so."}])
    told = assert_answer("post_field_report", crew.post(ADDRESS, body, format="json"))
    (found,) = told["splits"]
    assert (found["access_point"], found["pieces"]) == ("Pit 1", ["S1-1", "S1-2"])
    assert found["at_m"] == pytest.approx(30.48)
    assert len(told["incidents"]) == 1
    again = {key: value for key, value in a_report(attempts=[]).items() if key not in {"crew", "date"}}
    response = crew.post(f"{ADDRESS}/{body['id']}/correction", again, format="json")
    assert assert_answer("correct_field_report", response)["splits"] == []
    assert crew.get(f"{ADDRESS}/{body['id']}").json()["splits"] == told["splits"]
    assert sorted(Span.objects.filter(split_from=office.span).values_list("name", flat=True)) == [
        "S1-1",
        "S1-2",
    ]


def test_report_again_gives_the_first_answer_and_other_content_a_conflict(
    client_of: ClientOf, office: Office
) -> None:
    crew, body = client_of("crew"), a_report()
    first = crew.post(ADDRESS, body, format="json")
    entries = Entry.objects.count()
    assert crew.post(ADDRESS, body, format="json").json() == first.json()
    assert Entry.objects.count() == entries
    assert_refusal(crew.post(ADDRESS, {**body, "attempts": []}, format="json"), 409, "report_conflict")
    assert FieldReport.objects.count() == 1


def test_correction_takes_the_place_of_a_report(client_of: ClientOf, office: Office) -> None:
    crew, body = client_of("crew"), a_report()
    crew.post(ADDRESS, body, format="json")
    again = {key: value for key, value in a_report().items() if key not in {"crew", "date"}}
    again["attempts"] = [{"span": S1, "outcome": "part_out"}]
    response = crew.post(f"{ADDRESS}/{body['id']}/correction", again, format="json")
    assert assert_answer("correct_field_report", response)["corrects"] == body["id"]
    old = crew.get(f"{ADDRESS}/{body['id']}").json()
    assert (old["is_undone"], old["corrected_by"], old["entries"]) == (True, again["id"], [])
    assert not Span.objects.get(pk=office.span.pk).is_extracted
    refused = crew.post(f"{ADDRESS}/{body['id']}/correction", {**again, "id": str(uuid4())}, format="json")
    assert_refusal(refused, 409, "report_is_undone")


@pytest.mark.parametrize(
    ("parts", "pointer"),
    [
        ({"attempts": [{"span": S1, "outcome": "gone"}]}, "/attempts/0/outcome"),
        ({"attempts": [{"span": {"job": "J-north", "name": "S9"}}]}, "/attempts/0/span"),
        ({"attempts": [{"span": {"job": "J-south", "name": "S1"}}]}, "/attempts/0/span"),
        ({"attempts": [{"span": S1, "pressure": {"value": "1", "unit": "L"}}]}, "/attempts/0/pressure/unit"),
        ({"readings": [{"container": "D-north", "method": "dipped"}]}, "/readings/0/value"),
        ({"cleanings": [{"run": S1, "fired": -1}]}, "/cleanings/0/fired"),
        ({"occurred_at": "2027-03-02T17:00:00-06:00"}, "/occurred_at"),
        ({"surprise": 1}, "/surprise"),
    ],
)
def test_report_of_what_cannot_be_names_the_field_and_stores_nothing(
    client_of: ClientOf, office: Office, parts: dict[str, Any], pointer: str
) -> None:
    response = client_of("crew").post(ADDRESS, a_report(**parts), format="json")
    assert response.status_code == 400, response.content
    assert [fault["pointer"] for fault in response.json()["errors"]] == [pointer]
    assert not FieldReport.objects.exists()


def test_report_of_a_drum_on_no_record_is_taken_with_a_finding(client_of: ClientOf, office: Office) -> None:
    body = a_report(readings=[{"container": "D-99", "method": "empty"}], waste=[{"container": "D-99"}])
    response = client_of("crew").post(ADDRESS, body, format="json")
    assert response.status_code == 201, response.content
    answer = client_of("crew").get(f"{ADDRESS}/{body['id']}").json()
    assert (answer["readings"], answer["waste"]) == ([], [])
    assert "container D-99: there is no container of that name on record" in answer["note"]
    rules = RuleFinding.objects.filter(report__uuid=body["id"]).values_list("rule", flat=True)
    assert list(rules).count("kept_as_told") == 2


@pytest.mark.parametrize(
    ("role", "status"),
    [
        ("", 401),
        ("stores", 201),
        ("crew", 201),
        ("planner", 403),
        ("accounts", 403),
        ("safety", 403),
        ("admin", 201),
    ],
)
def test_role_reports_what_it_may(client_of: ClientOf, office: Office, role: str, status: int) -> None:
    assert client_of(role).post(ADDRESS, a_report(), format="json").status_code == status
    assert FieldReport.objects.count() == (status == 201)


def test_crew_sees_and_reports_no_other_crews_day(client_of: ClientOf, office: Office) -> None:
    body = a_report(crew="south", attempts=[{"span": {"job": "J-south", "name": "S1"}}], readings=[])
    crew = client_of("crew")
    assert_refusal(crew.post(ADDRESS, body, format="json"), 404, "not_found")
    assert client_of("admin").post(ADDRESS, body, format="json").status_code == 201
    assert crew.get(f"{ADDRESS}/{body['id']}").status_code == 404
    assert crew.get(ADDRESS).json()["results"] == []


def test_list_asks_as_many_questions_for_ten_reports_as_for_one(client_of: ClientOf, office: Office) -> None:
    admin = client_of("admin")

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert admin.get(ADDRESS).status_code == 200
        return len(captured)

    admin.post(ADDRESS, a_report(), format="json")
    once = queries()
    for minute in range(10, 19):
        body = a_report(occurred_at=f"2026-03-02T17:{minute}:00-06:00")
        assert admin.post(ADDRESS, body, format="json").status_code == 201
    assert queries() == once
