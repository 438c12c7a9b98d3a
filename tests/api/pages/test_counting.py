"""Counting by pages: blind, counted again by another, posted with a reason."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import CountPlan, CountSheet, LineCount
from tests.factories.accounts import Office, make_user
from tests.factories.inventory import held

Browse = Callable[[str], Client]


def _make(client: Client, material: str) -> CountSheet:
    sent = {"id": str(uuid4()), "place": "main-yard", "material": material}
    answers = [client.post("/counts", sent) for _ in range(2)]
    sheet = CountSheet.objects.get()
    assert [answer["Location"] for answer in answers] == [f"/counts/{sheet.reference}"] * 2
    return sheet


def _enter(client: Client, sheet: CountSheet, found: str, **more: str) -> str:
    sent = {"line-1-id": str(uuid4()), "line-1-amount": found, "line-1-amount-unit": "1", **more}
    answer = client.post(f"/counts/{sheet.reference}", sent)
    return "" if answer.status_code == 302 else answer.content.decode()


def test_sheet_is_blind_until_it_is_posted(browse: Browse, office: Office) -> None:
    client = browse("stores")
    sheet = _make(client, office.world.projectile.code)
    address = f"/counts/{sheet.reference}"
    assert ">40<" not in client.get(address).content.decode()
    printed = client.get(f"/api/v1/count-sheets/{sheet.reference}/file.pdf", HTTP_ACCEPT="text/html,*/*")
    assert printed.content.startswith(b"%PDF")
    assert _enter(client, sheet, "40") == ""
    text = client.get(address).content.decode()
    assert "Every line is counted" in text
    assert ">40<" not in text
    assert client.post(address, {"post": "1"}).status_code == 302
    assert '<td class="number">40</td>' in client.get(address).content.decode()


def test_difference_is_counted_again_by_another_and_posted_with_a_reason(
    browse: Browse, office: Office
) -> None:
    client = browse("stores")
    sheet = _make(client, office.world.projectile.code)
    address = f"/counts/{sheet.reference}"
    assert _enter(client, sheet, "31") == ""
    assert "somebody else counts it again" in client.get(address).content.decode()
    assert "waits for a count by somebody else" in _enter(client, sheet, "31")
    other = Client()
    other.force_login(make_user("second", "stores"))
    assert "count it again" in other.get(address).content.decode()
    assert _enter(other, sheet, "31") == ""
    refused = client.post(address, {"post": "1"}).content.decode()
    assert 'id="reasons-1-fault"' in refused
    assert held(office.world.warehouse, office.world.projectile) == 40_000_000
    assert client.post(address, {"post": "1", "reasons-1": "a box was given away"}).status_code == 302
    assert held(office.world.warehouse, office.world.projectile) == 31_000_000
    assert "a box was given away" in client.get(address).content.decode()


def test_same_form_sent_twice_is_one_count(browse: Browse, office: Office) -> None:
    client = browse("stores")
    sheet = _make(client, office.world.projectile.code)
    sent = {"line-1-id": str(uuid4()), "line-1-amount": "31", "line-1-amount-unit": "1"}
    for _ in range(2):
        assert client.post(f"/counts/{sheet.reference}", sent).status_code == 302
    assert LineCount.objects.count() == 1


@pytest.mark.parametrize("found", ["many", "-2"])
def test_amount_that_is_none_is_named_at_its_line(browse: Browse, office: Office, found: str) -> None:
    client = browse("stores")
    sheet = _make(client, office.world.projectile.code)
    text = _enter(client, sheet, found, **{"line-1-note": "behind the door"})
    assert 'id="line-1-amount-fault"' in text
    assert 'value="behind the door"' in text
    assert not LineCount.objects.exists()


def test_sheet_of_nothing_says_what_to_do_and_one_can_be_given_up(browse: Browse, office: Office) -> None:
    client = browse("stores")
    empty = client.post("/counts", {"id": str(uuid4()), "place": "main-yard", "material": ""})
    assert "nothing is due to be counted" in empty.content.decode()
    sheet = _make(client, office.world.projectile.code)
    assert client.post(f"/counts/{sheet.reference}", {"drop": "1"}).status_code == 302
    sheet.refresh_from_db()
    assert sheet.state == CountSheet.State.DROPPED


def test_plan_is_set_in_per_cent_and_a_stale_one_is_refused(browse: Browse) -> None:
    client = browse("stores")
    assert "has no plan" in client.get("/counts").content.decode()
    address = "/counts/plans/main-yard"
    assert 'value="80"' in client.get(address).content.decode()
    sent = {
        "version": "",
        "days_of_use": "200",
        "rules-0-upto_share": "70",
        "rules-0-counts_per_year": "6",
        "rules-0-limit_share": "2",
        "rules-1-upto_share": "100",
        "rules-1-counts_per_year": "1",
        "rules-1-limit_share": "5",
        "rules-1-limit_value": "20",
    }
    assert client.post(address, sent).status_code == 302
    plan = CountPlan.objects.get()
    assert [(rule.upto_share, rule.limit_value) for rule in plan.rules.all()] == [
        (700_000, 0),
        (1_000_000, 20_000_000),
    ]
    wrong = client.post(address, {**sent, "version": "1", "rules-1-counts_per_year": "often"})
    assert 'id="rules-1-counts_per_year-fault"' in wrong.content.decode()
    assert client.post(address, {**sent, "version": "1"}).status_code == 302
    assert "was changed since you read it" in client.post(address, {**sent, "version": "1"}).content.decode()


@pytest.mark.parametrize("role", ["crew", "planner", "accounts", "safety"])
def test_only_stores_count(browse: Browse, office: Office, role: str) -> None:
    sheet = _make(browse("stores"), office.world.projectile.code)
    client = browse(role)
    for address in ("/counts", f"/counts/{sheet.reference}", "/counts/plans/main-yard"):
        assert client.get(address).status_code in {403, 404}
    _enter(client, sheet, "40")
    client.post(f"/counts/{sheet.reference}", {"drop": "1"})
    sheet.refresh_from_db()
    assert (LineCount.objects.count(), sheet.state) == (0, CountSheet.State.OPEN)


def test_sheet_asks_as_often_however_many_lines(browse: Browse, office: Office) -> None:
    client = browse("stores")
    sheet = _make(client, "fluid")
    before = _count(client, f"/counts/{sheet.reference}")
    for number in range(5):
        office.world.drum(f"M-{number}")
    sent = {"id": str(uuid4()), "place": "main-yard", "material": "fluid"}
    longer = client.post("/counts", sent)["Location"]
    assert CountSheet.objects.last().lines.count() == 6  # type: ignore[union-attr]
    assert _count(client, longer) == before


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
