"""The feed: sealed order, nothing skipped, a cursor of another book refused."""

from collections.abc import Callable
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Entry, Seal, Unsealed
from inventory.services.sealing import record_event, seal_all, seal_batch
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/changes"


def test_changes_are_read_in_sealed_order_page_by_page(client_of: ClientOf, office: Office) -> None:
    record_event(id=uuid4(), kind="kit_ready", occurred_at=datetime.now(UTC), body={"crew": "north"})
    seal_all()
    client, cursor, found = client_of("accounts"), "", []
    while True:
        page = assert_answer("list_changes", client.get(f"{ADDRESS}?limit=3&after={cursor}"))
        found += page["results"]
        cursor = page["next_cursor"]
        if not page["has_more"]:
            break
    assert [row["sequence"] for row in found] == list(range(1, Seal.objects.count() + 1))
    assert [row["entry"]["id"] for row in found if row["entry"]] == [
        str(uuid) for uuid in Entry.objects.order_by("seal__sequence").values_list("uuid", flat=True)
    ]
    assert found[-1]["kind"] == "event.kit_ready"
    assert found[-1]["event"]["body"] == {"crew": "north"}
    assert client.get(f"{ADDRESS}?after={cursor}").json() == {
        "results": [],
        "next_cursor": cursor,
        "has_more": False,
    }


def test_entry_sealed_late_comes_after_the_cursor_though_it_was_posted_first(
    client_of: ClientOf, office: Office
) -> None:
    """As where a long transaction commits after a shorter one that began later."""
    late = Unsealed.objects.order_by("pk").first()
    assert late is not None
    first_entry = late.entry_id
    late.delete()
    seal_all()
    client = client_of("admin")
    page = client.get(ADDRESS).json()
    Unsealed.objects.create(entry_id=first_entry)
    seal_all()
    (row,) = client.get(f"{ADDRESS}?after={page['next_cursor']}").json()["results"]
    assert row["entry"]["id"] == str(Entry.objects.get(pk=first_entry).uuid)


def test_what_is_not_sealed_is_not_told(client_of: ClientOf, office: Office) -> None:
    assert client_of("admin").get(ADDRESS).json()["results"] == []
    seal_batch(2)
    assert len(client_of("admin").get(ADDRESS).json()["results"]) == 2


@pytest.mark.parametrize("cursor", ["x", "1", "99-" + "0" * 64, "1-" + "a" * 64, "0-" + "a" * 64, "-1-x"])
def test_cursor_that_is_not_on_the_chain_is_gone(client_of: ClientOf, office: Office, cursor: str) -> None:
    seal_all()
    assert_refusal(client_of("admin").get(ADDRESS, {"after": cursor}), 410, "cursor_gone")


@pytest.mark.parametrize(
    ("query", "pointer"), [("limit=0", "limit"), ("limit=x", "limit"), ("page=2", "page")]
)
def test_wrong_parameter_is_named(client_of: ClientOf, query: str, pointer: str) -> None:
    assert_refusal(client_of("admin").get(f"{ADDRESS}?{query}"), 400, "bad_input", pointer)


def test_queries_do_not_grow_with_the_page(client_of: ClientOf, office: Office) -> None:
    client, counts = client_of("admin"), []
    for more in (0, 9):
        for _time in range(more):
            client.post("/api/v1/entries", requests.a_draw(office, "1"), format="json")
        seal_all()
        client.get(ADDRESS)
        with CaptureQueriesContext(connection) as captured:
            assert client.get(ADDRESS).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
