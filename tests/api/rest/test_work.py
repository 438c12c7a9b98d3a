"""Jobs, statements and pull sheets through their door."""

from collections.abc import Callable
from typing import Any

from rest_framework.test import APIClient

from api.wire.pull_sheets import pull_sheet_body
from jobs.queries.pull_sheet import get_pull_sheet
from tests.api.published import assert_answer
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

ClientOf = Callable[[str], APIClient]


def test_statement_states_what_was_drawn_with_cost_for_those_who_may_see_it(
    client_of: ClientOf, office: Office
) -> None:
    client_of("admin").post("/api/v1/entries", requests.a_draw(office), format="json")
    address = "/api/v1/jobs/J-north/statement"
    shown: Any = assert_answer("get_statement", client_of("accounts").get(address))
    # A drum of 55 gal was bought for 550 USD, so 5 gal are 50 USD.
    assert shown["cost"] == {"value": "50.00", "currency": "USD"}
    assert shown["agrees_with_book"] is True
    assert [(row["material"], row["drawn"]["value"]) for row in shown["materials"]] == [("fluid", "5.000000")]
    hidden = assert_answer("get_statement", client_of("crew").get(f"{address}/"))
    assert "cost" not in hidden
    assert "cost" not in hidden["materials"][0]
    assert hidden["materials"][0]["drawn"] == shown["materials"][0]["drawn"]


def test_pull_sheet_is_that_of_the_query_at_both_addresses(client_of: ClientOf, office: Office) -> None:
    client = client_of("crew")
    expected = pull_sheet_body(get_pull_sheet(crew_code="north", date=DAY))
    by_address = assert_answer("get_pull_sheet", client.get(f"/api/v1/pull-sheets/north/{DAY}/"))
    by_parameters = assert_answer(
        "find_pull_sheet", client.get("/api/v1/pull-sheets", {"crew": "north", "date": str(DAY)})
    )
    assert by_address == by_parameters == expected
    assert [step["job"] for step in by_address["steps"]] == ["J-north"]


def test_jobs_are_listed_and_filtered(client_of: ClientOf) -> None:
    client = client_of("planner")
    rows = assert_answer("list_jobs", client.get("/api/v1/jobs", {"state": "planned"}))["results"]
    assert [row["reference"] for row in rows] == ["J-north", "J-south"]
    assert assert_answer("list_jobs", client.get("/api/v1/jobs", {"state": "closed"}))["results"] == []
    assert assert_answer("get_job", client.get("/api/v1/jobs/J-north"))["customer"]["code"] == "network"


def test_stock_nouns_are_listed_and_found_as_published(client_of: ClientOf, office: Office) -> None:
    client = client_of("stores")
    for noun, name in (("materials", "fluid"), ("places", "main-yard"), ("containers", "D-1")):
        rows = assert_answer(f"list_{noun}", client.get(f"/api/v1/{noun}"))["results"]
        one = assert_answer(f"get_{noun[:-1]}", client.get(f"/api/v1/{noun}/{name}"))
        assert one in rows
    (drum,) = assert_answer("list_holdings", client.get("/api/v1/holdings?container=D-1"))["results"]
    assert drum["quantity"] == {"value": "55.000000", "unit": "[gal_us]"}
    assert drum["unit_cost"] == {"value": "10.00", "currency": "USD"}
