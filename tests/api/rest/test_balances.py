"""Closing days and reading what came of it, through the door."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from jobs.models import DayBalance
from jobs.services.reports.content import (
    AttemptContent,
    CatchContent,
    ReadingContent,
    ReportContent,
    WorkName,
)
from jobs.services.reports.reporting import post_report
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.inventory import at
from tests.factories.jobs import DAY
from tests.factories.reports import gallons

ClientOf = Callable[[str], APIClient]
ADDRESS = f"/api/v1/crew-days/north/{DAY}/balance"


@pytest.fixture
def reported(office: Office) -> Office:
    """The crew of the north has extracted its span: 14 gal went in, 41 gal are left."""
    span = WorkName("J-north", "S1")
    content = ReportContent(
        attempts=(AttemptContent(span=span, source_container="D-north", injected=gallons("14")),),
        readings=(ReadingContent(container="D-north", method="dipped", value=41, unit="[gal_us]"),),  # type: ignore[arg-type]
    )
    post_report(
        id=uuid4(),
        by=office.users["crew"].actor,
        occurred_at=at(9),
        crew_code="north",
        date=DAY,
        content=content,
    )
    return office


def test_balance_is_closed_and_read_as_published(client_of: ClientOf, reported: Office) -> None:
    crew = client_of("crew")
    assert_refusal(crew.get(ADDRESS), 404, "not_found")
    closed = assert_answer("close_crew_day", crew.post(ADDRESS))
    assert closed == assert_answer("get_balance", crew.get(f"{ADDRESS}/"))
    assert (closed["crew"], closed["date"], closed["revision"]) == ("north", str(DAY), 1)
    (fluid,) = closed["fluids"]
    assert fluid["fluid"]["code"] == "fluid"
    assert fluid["unaccounted"]["unit"] == "[gal_us]"
    assert {way["word"] for way in fluid["ways"]} >= {"out", "bore", "unaccounted"}
    assert fluid["picture"]["svg"].startswith("<svg")
    rows = fluid["picture"]["table"]["rows"]
    assert (rows[0]["way"], rows[0]["amount"]) == ("came out of drums", "14.00")
    assert closed == assert_answer("close_crew_day", crew.post(ADDRESS))
    assert DayBalance.objects.count() == 1


def test_balance_of_a_day_nobody_reported_is_refused(client_of: ClientOf, office: Office) -> None:
    assert_refusal(client_of("crew").post(ADDRESS), 409, "nothing_reported")
    assert_refusal(client_of("stores").post(ADDRESS.replace(str(DAY), "yesterday")), 404, "not_found")


def test_balance_is_closed_by_those_who_report_and_read_by_all_who_see_the_day(
    client_of: ClientOf, reported: Office
) -> None:
    for role, status in (
        ("planner", 403),
        ("accounts", 403),
        ("safety", 403),
        ("stores", 200),
        ("crew", 200),
    ):
        assert client_of(role).post(ADDRESS).status_code == status, role
    for role in ("planner", "accounts", "safety", "stores", "crew", "admin"):
        assert client_of(role).get(ADDRESS).status_code == 200, role
    other = f"/api/v1/crew-days/south/{DAY}/balance"
    assert_refusal(client_of("crew").get(other), 404, "not_found")
    assert_refusal(client_of("crew").post(other), 404, "not_found")


def test_fluid_of_job_and_month_are_the_same_sum(client_of: ClientOf, reported: Office) -> None:
    stores = client_of("stores")
    stores.post(ADDRESS)
    job: Any = assert_answer("get_job_fluid", stores.get("/api/v1/jobs/J-north/fluid"))
    month: Any = assert_answer("get_month_fluid", stores.get(f"/api/v1/months/{DAY:%Y-%m}/fluid"))
    assert job["sums"] == month["sums"]
    assert [(part["kind"], part["name"]) for part in job["parts"]] == [("run", "R1"), ("span", "S1")]
    assert job["parts"][1]["sum"] == job["sums"][0]
    assert job["sums"][0]["days"] == 1
    assert_refusal(stores.get("/api/v1/months/2026-13/fluid"), 404, "not_found")
    assert_refusal(client_of("crew").get(f"/api/v1/months/{DAY:%Y-%m}/fluid"), 403, "not_allowed")
    assert_refusal(client_of("crew").get("/api/v1/jobs/J-south/fluid"), 404, "not_found")


def test_balance_is_read_in_a_fixed_number_of_queries(client_of: ClientOf, reported: Office) -> None:
    stores = client_of("stores")
    stores.post(ADDRESS)
    stores.get(ADDRESS)
    with CaptureQueriesContext(connection) as first:
        stores.get(ADDRESS)
    for number in range(9):
        content = ReportContent(
            caught=(CatchContent(container="D-north", spans=(WorkName("J-north", "S1"),)),),
            readings=(ReadingContent(container="D-1", method="dipped", value=50 - number, unit="[gal_us]"),),  # type: ignore[arg-type]
        )
        post_report(
            id=uuid4(),
            by=reported.users["stores"].actor,
            occurred_at=at(10 + number / 10),
            crew_code="north",
            date=DAY,
            content=content,
        )
    stores.post(ADDRESS)
    with CaptureQueriesContext(connection) as many:
        stores.get(ADDRESS)
    assert len(many) == len(first)
