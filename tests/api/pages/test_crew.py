"""The crew's pages, and what its phone is given to keep."""

import gzip
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.pages.crew import FIELD_FILES
from jobs.queries.rules import get_rule_book
from tests.factories.accounts import Office
from tests.factories.jobs import DAY, add_step, make_span

Browse = Callable[[str], Client]


def test_crew_sees_its_own_days_and_the_office_all_of_them(browse: Browse) -> None:
    own = browse("crew").get(f"/days?date={DAY}").content.decode()
    assert "north crew" in own
    assert "south crew" not in own
    every = browse("planner").get(f"/days?date={DAY}").content.decode()
    assert "north crew" in every
    assert "south crew" in every


def test_day_sheet_shows_steps_needs_and_cautions(browse: Browse) -> None:
    text = browse("crew").get(f"/days/north/{DAY}").content.decode()
    assert "Extract span S1" in text
    assert "Eye protection" in text
    assert "no limit approved" in text


@pytest.mark.parametrize("address", [f"/days/south/{DAY}", "/days/north/2026-02-30", "/days/none/2026-03-02"])
def test_sheet_of_no_day_of_ones_own_is_not_found(browse: Browse, address: str) -> None:
    assert browse("crew").get(address).status_code == 404


def test_pack_holds_the_crews_days_with_rules_and_truck(browse: Browse) -> None:
    pack = browse("crew").get(f"/field/pack?date={DAY}").json()
    assert (pack["person"], pack["system"]) == ("crew", "us")
    assert [(day["crew"]["code"], day["date"]) for day in pack["days"]] == [("north", str(DAY))]
    (day,) = pack["days"]
    assert [(step["kind"], step["job"], step["name"]) for step in day["work"]] == [
        ("extract", "J-north", "S1")
    ]
    assert [(row["label"], row["quantity"]["value"]) for row in day["aboard"]] == [("D-north", "55.000000")]
    assert pack["rules"] == get_rule_book()
    assert pack["limits_kpa"] == {}


def test_pack_asks_as_often_whatever_is_planned_on_a_day(browse: Browse, office: Office) -> None:
    client = browse("crew")
    address = f"/field/pack?date={DAY}"
    client.get(address)
    with CaptureQueriesContext(connection) as before:
        client.get(address)
    day = office.crew.days.get()
    for number in range(2, 12):
        span = make_span(office.run, f"S{number}", f"P{number}", f"P{number + 1}", sequence=number)
        add_step(day, "extract", span=span)
        office.world.drum(f"T-{number}", 55, cost=10, place=office.crew.vehicle)
    with CaptureQueriesContext(connection) as after:
        client.get(address)
    assert len(after) == len(before)


def test_pack_is_for_who_is_signed_in(office: Office) -> None:
    assert Client().get("/field/pack").status_code == 302
    assert Client().get("/field/who").json()["person"] == ""


def test_field_page_is_the_same_for_everybody_and_holds_nobodys_data(browse: Browse, office: Office) -> None:
    """So it can be kept on a phone that changes hands."""
    stranger = Client().get("/field/").content
    assert browse("crew").get("/field/").content == stranger
    assert b"north" not in stranger
    assert b"csrf" not in stranger


def test_worker_keeps_every_file_the_page_asks_for(office: Office) -> None:
    worker = Client().get("/field/worker.js")
    assert worker["Content-Type"].startswith("text/javascript")
    text = worker.content.decode()
    page = Client().get("/field/").content.decode()
    for name in FIELD_FILES:
        assert finders.find(name) is not None
        assert f'"/static/{name}"' in text
    asked = {part.split('"')[0] for part in page.split('"/static/')[1:]}
    assert asked <= set(FIELD_FILES)


def test_first_load_of_the_field_page_is_small_over_the_wire(browse: Browse) -> None:
    client = browse("crew")
    addresses = [
        "/field/",
        "/field/es/",
        f"/field/pack?date={DAY}",
        *(f"/static/{name}" for name in FIELD_FILES),
    ]
    sent = 0
    for address in addresses:
        plain, packed = client.get(address), client.get(address, headers={"Accept-Encoding": "gzip"})
        whole, body = _body(plain), _body(packed)
        if packed.has_header("Content-Encoding"):
            assert gzip.decompress(body) == whole
        else:
            assert len(whole) < 500, address
        sent += len(body)
    assert 10_000 < sent < 100_000


def test_page_with_a_token_is_not_compressed(browse: Browse) -> None:
    answer = browse("crew").get("/days", headers={"Accept-Encoding": "gzip"})
    assert not answer.has_header("Content-Encoding")


def _body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else bytes(answer.content)
