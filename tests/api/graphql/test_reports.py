"""Field reports over GraphQL are those of REST."""

from collections.abc import Callable
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from tests.api.graphql.asking import ask, refuse
from tests.api.rest.test_field_reports import S1, a_report
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
QUESTION = """query($crew: String!) { fieldReports(crew: $crew, date: "2026-03-02") { id crew isUndone entries
    by { name } attempts { span { job name } outcome pressureKpa wasLeakLookedFor }
    readings { container method amount { value unit } standardUncertainty } } }"""


def post(client: APIClient, monkeypatch: pytest.MonkeyPatch, **parts: object) -> str:
    monkeypatch.setattr("api.rest.field_reports.now", lambda: datetime(2026, 3, 3, 12, tzinfo=UTC))
    body = a_report(**parts)
    assert client.post("/api/v1/field-reports", body, format="json").status_code == 201
    return str(body["id"])


def test_field_reports_of_a_crew_day_are_listed_in_order_of_time(
    client_of: ClientOf, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = client_of("crew")
    late = post(crew, monkeypatch)
    early = post(crew, monkeypatch, occurred_at="2026-03-02T12:00:00-06:00", readings=[])
    found = ask(crew, QUESTION, crew="north")["fieldReports"]
    assert [row["id"] for row in found] == [early, late]
    assert found[1]["attempts"][0]["span"] == S1
    assert found[1]["readings"][0]["amount"]["unit"] == "[gal_us]"
    one = ask(crew, "query($id: UUID!) { fieldReport(id: $id) { id } }", id=late)
    assert one["fieldReport"]["id"] == late
    refuse(crew, QUESTION, "not_found", status=200, crew="south")
    refuse(
        crew, "query($id: UUID!) { fieldReport(id: $id) { id } }", "not_found", status=200, id=str(uuid4())
    )


def test_unconfirmed_trucks_are_none_where_nothing_was_flagged(client_of: ClientOf, office: Office) -> None:
    assert ask(client_of("stores"), "{ unconfirmedTrucks { sentence crew { code } } }") == {
        "unconfirmedTrucks": []
    }
