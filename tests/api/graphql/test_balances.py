"""Closings over GraphQL: the same as over REST, for whoever sees the day."""

from collections.abc import Callable
from typing import Any

from rest_framework.test import APIClient

from tests.api.graphql.asking import ask, refuse
from tests.api.published import assert_answer
from tests.api.rest.test_balances import ADDRESS, reported
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

ClientOf = Callable[[str], APIClient]
__all__ = ["reported"]
QUERY = """query ($crew: String!, $date: Date!) { balance(crew: $crew, date: $date) { crew date revision entry
    fluids { fluid { code } isConsistent globalStatistic degreesOfFreedom leftOut isAboveLimit
      unaccounted { value unit } unaccountedInterval { low { value } high { value } }
      suspects { kind name statistic } ways { word amount { value } interval { low { value } } }
      streams { kind name source target measured { value } reconciled { value } testStatistic }
      spans { span amounts { injected { value } net { value } adjusted { value } } } } } }"""
STATEMENT = """{ statement(job: "J-north") { fluid { fluid { code } unaccounted { value }
    unaccountedInterval { low { value } high { value } } days amounts { net { value } } } } }"""


def test_balance_is_the_same_as_over_rest(client_of: ClientOf, reported: Office) -> None:
    crew = client_of("crew")
    closed: Any = assert_answer("close_crew_day", crew.post(ADDRESS))
    found = ask(crew, QUERY, crew="north", date=str(DAY))["balance"]
    (fluid,), (other,) = found["fluids"], closed["fluids"]
    assert (found["revision"], found["entry"]) == (closed["revision"], closed["entry"])
    assert fluid["unaccounted"] == other["unaccounted"]
    assert [way["word"] for way in fluid["ways"]] == [way["word"] for way in other["ways"]]
    assert [row["name"] for row in fluid["streams"]] == [row["name"] for row in other["streams"]]
    assert fluid["spans"][0]["amounts"]["net"]["value"] == other["spans"][0]["amounts"]["net"]["value"]


def test_balance_of_anothers_day_is_not_found(client_of: ClientOf, reported: Office) -> None:
    refuse(client_of("crew"), QUERY, "not_found", status=200, crew="south", date=str(DAY))


def test_statement_carries_what_is_unaccounted_with_its_interval(
    client_of: ClientOf, reported: Office
) -> None:
    stores = client_of("stores")
    assert ask(stores, STATEMENT)["statement"]["fluid"] == []
    closed: Any = assert_answer("close_crew_day", stores.post(ADDRESS))
    (fluid,) = ask(stores, STATEMENT)["statement"]["fluid"]
    (day,) = closed["fluids"]
    assert fluid["unaccounted"]["value"] == day["unaccounted"]["value"]
    assert fluid["unaccountedInterval"]["low"]["value"] == day["unaccounted_interval"]["low"]["value"]
    shown: Any = assert_answer("get_statement", stores.get("/api/v1/jobs/J-north/statement"))
    assert shown["fluid"][0]["unaccounted"] == day["unaccounted"]
    assert shown["agrees_with_book"] is True
