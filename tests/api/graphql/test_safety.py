"""Findings, incidents, limits, fittings and claims over GraphQL: the rows of REST, for the same readers."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from tests.api.graphql.asking import ask
from tests.factories.accounts import Office
from tests.factories.safety import make_finding, make_limit

ClientOf = Callable[[str], APIClient]
EVERY = """{ findings { results { id rule severity state sentence lowered: caution run causedBy { code } } }
    incidents { results { id kind told { who at how } } } pressureLimits { results { purpose weakestPart } }
    taggedFittings { results { tag uses } } }"""


def test_crew_reads_findings_of_its_own_days_only(client_of: ClientOf, office: Office) -> None:
    make_limit("extraction")
    for crew, run in ((office.crew, office.run), (office.foreign_crew, None)):
        make_finding("projectile_inside", crew_day=crew.days.get(), run=run)
    found = ask(client_of("crew"), EVERY)
    assert [row["run"] for row in found["findings"]["results"]] == [office.run.name]
    assert found["pressureLimits"]["results"] == [{"purpose": "extraction", "weakestPart": "the long hose"}]
    assert len(ask(client_of("safety"), EVERY)["findings"]["results"]) == 2


def test_findings_take_as_many_queries_for_ten_rows_as_for_one(client_of: ClientOf, office: Office) -> None:
    client, counts = client_of("safety"), []
    for many in (1, 10):
        for _number in range(many):
            make_finding("projectile_inside", crew_day=office.crew.days.get(), run=office.run)
        with CaptureQueriesContext(connection) as queries:
            ask(client, EVERY)
        counts.append(len(queries))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("role", ["crew", "safety"])
def test_claims_are_for_who_may_see_money(client_of: ClientOf, role: str) -> None:
    query = "{ claims { party { code } cost { value } } }"
    assert ask(client_of("accounts"), query) == {"claims": []}
    errors = client_of(role).post("/graphql", {"query": query}, format="json").json()["errors"]
    assert {error["extensions"]["code"] for error in errors} == {"not_allowed"}


def test_safety_is_told_of_what_waits(client_of: ClientOf, office: Office) -> None:
    make_finding("projectile_inside", crew_day=office.crew.days.get(), run=office.run)
    query = "{ safetyNotices { kind sentence happenedAt dueDate } }"
    (notice,) = ask(client_of("safety"), query)["safetyNotices"]
    rows = client_of("safety").get("/api/v1/safety-notices").json()["results"]
    assert (notice["kind"], notice["sentence"], notice["dueDate"]) == ("stop", rows[0]["sentence"], None)
    refused = client_of("crew").post("/graphql", {"query": query}, format="json").json()["errors"]
    assert {error["extensions"]["code"] for error in refused} == {"not_allowed"}
