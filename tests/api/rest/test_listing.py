"""Lists as streams: the same rows as the pages, read as they are sent."""

import json
from collections.abc import Callable
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from tests.api.published import assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
LINES = "application/x-ndjson"


def _stream(client: APIClient, address: str) -> Any:
    return client.get(f"/api/v1/{address}", headers={"Accept": LINES})


def _pages(client: APIClient, address: str) -> list[Any]:
    rows, cursor = [], ""
    while True:
        body = client.get(f"/api/v1/{address}{cursor}").json()
        rows += body["results"]
        if body["next_cursor"] is None:
            return rows
        cursor = f"&cursor={body['next_cursor']}"


def test_stream_has_the_rows_of_all_pages(client_of: ClientOf, office: Office) -> None:
    for number in range(12):
        office.world.drum(f"B-{number:02}", 5)
    for role in ("stores", "crew"):
        client = client_of(role)
        for noun in ("holdings", "containers", "entries", "places"):
            response = _stream(client, f"{noun}?limit=5")
            assert (response.status_code, response["Content-Type"]) == (200, LINES)
            lines = [json.loads(line) for line in b"".join(response.streaming_content).splitlines()]
            assert lines == _pages(client, f"{noun}?limit=5")
            assert lines


def test_stream_reads_the_next_page_only_once_it_is_wanted(client_of: ClientOf, office: Office) -> None:
    """So memory holds one page, however long the list is."""
    for number in range(20):
        office.world.drum(f"B-{number:02}", 5)
    with CaptureQueriesContext(connection) as captured:
        response = _stream(client_of("stores"), "containers?limit=5")
        parts = iter(response.streaming_content)
        counts = []
        for _row in range(10):
            next(parts)
            counts.append(len(captured))
    assert len(set(counts[:5])) == 1
    assert len(set(counts[5:])) == 1
    assert counts[5] > counts[4]


def test_stream_takes_filters_and_refuses_as_a_page_does(client_of: ClientOf, office: Office) -> None:
    client = client_of("crew")
    (line,) = b"".join(_stream(client, "holdings?place=truck-north").streaming_content).splitlines()
    assert json.loads(line)["container"] == "D-north"
    assert_refusal(_stream(client, "holdings?colour=red"), 400, "bad_input", "colour")
    assert_refusal(_stream(client_of(""), "holdings"), 401, "not_authenticated")
    assert_refusal(client.get("/api/v1/holdings", headers={"Accept": "text/csv"}), 406, "not_acceptable")
