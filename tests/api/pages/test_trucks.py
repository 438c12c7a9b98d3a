"""Who is loaded: what is on each truck, how far its kit is, and whom to chase."""

from collections.abc import Callable

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.models import UnreportedDay
from tests.factories.accounts import Office
from tests.factories.inventory import at

Browse = Callable[[str], Client]


def _address(office: Office) -> str:
    return f"/trucks?date={office.crew.days.get().date.isoformat()}"


def test_each_truck_shows_its_kit_and_what_is_on_it(browse: Browse, office: Office) -> None:
    text = " ".join(browse("stores").get(_address(office)).content.decode().split())
    assert '<a href="/containers/D-north">D-north</a> 55 gal Extraction fluid' in text
    assert "kit planned" in text
    assert "To chase" not in text


def test_truck_that_nobody_reported_is_unconfirmed_and_says_whom_to_ask(
    browse: Browse, office: Office
) -> None:
    UnreportedDay.objects.create(crew_day=office.crew.days.get(), flagged_at=at(30))
    text = browse("planner").get(_address(office)).content.decode()
    assert "is unconfirmed: ask north" in text
    assert text.count('<span class="warn">unconfirmed</span>') == 1


def test_crew_does_not_see_other_trucks(browse: Browse, office: Office) -> None:
    answer = browse("crew").get(_address(office))
    assert answer.status_code == 403
    assert "D-south" not in answer.content.decode()


def test_page_asks_as_often_however_much_is_aboard(browse: Browse, office: Office) -> None:
    client = browse("stores")
    before = _count(client, _address(office))
    for number in range(6):
        office.world.drum(f"M-{number}", place=office.crew.vehicle)
    assert _count(client, _address(office)) == before


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
