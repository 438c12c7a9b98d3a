"""The warehouse manager's pages."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, DemandWeek, Order
from inventory.queries.company import get_today
from inventory.services.goods import draw
from inventory.services.lines import End, Line
from inventory.short_codes import make_short_code
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal
from tests.factories.supply import make_supplier, make_terms

Browse = Callable[[str], Client]


def _text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return answer.content.decode()


def test_what_is_where_shows_every_drum_with_its_contents(browse: Browse) -> None:
    text = _text(browse("stores"), "/where")
    for label in ("D-1", "D-north", "D-south"):
        assert f"<b>{label}</b> 55 gal" in text
    assert "165 gal" in text


def test_crew_finds_its_own_truck_only(browse: Browse) -> None:
    text = _text(browse("crew"), "/where")
    assert "D-north" in text
    assert "D-south" not in text
    assert "D-1<" not in text


def test_search_finds_by_label_and_by_short_code(browse: Browse) -> None:
    code = make_short_code(Container.objects.get(label="D-1").pk)
    for search in ("D-1", "d-1", code, code.replace("-", "")):
        text = _text(browse("stores"), f"/where?search={search}")
        assert "<b>D-1</b>" in text
        assert "D-north" not in text


def test_search_that_finds_nothing_says_what_to_try(browse: Browse) -> None:
    assert "Nothing like that is held" in _text(browse("stores"), "/where?search=zzz")


def test_pages_of_stock_ask_as_often_whatever_there_is(browse: Browse, office: Office) -> None:
    client = browse("stores")
    before = _count(lambda: _text(client, "/where"))
    for number in range(30):
        office.world.drum(f"M-{number}", 55, cost=10)
    assert _count(lambda: _text(client, "/where")) == before


def test_container_page_tells_its_story(browse: Browse, office: Office) -> None:
    text = _text(browse("stores"), "/containers/D-1")
    assert "55 gal" in text
    assert "Receipt" in text


def test_container_page_asks_as_often_however_long_its_story(browse: Browse, office: Office) -> None:
    client = browse("stores")
    before = _count(lambda: _text(client, "/containers/D-1"))
    drum = Container.objects.get(label="D-1")
    for hour in range(10):
        line = Line(office.world.fluid, gal(1), End(office.world.warehouse, drum), End(office.world.span))
        draw(id=uuid4(), by=office.world.actor, occurred_at=at(hour + 1), lines=[line])
    assert _count(lambda: _text(client, "/containers/D-1")) == before


def test_restock_page_writes_orders_once(browse: Browse, office: Office) -> None:
    client = browse("stores")
    text = _text(client, "/restock")
    assert "Nothing has to be ordered" in text or 'name="id"' in text
    request = {"id": "5b0c2f7e-3c7b-4d53-9a52-5a6c5b1d0c11", "line": ["main-yard/fluid"]}
    answer = client.post("/restock", request)
    # No supplier has terms here: it is said on the page, and nothing is written.
    assert answer.status_code == 200
    assert "has no line with known terms" in answer.content.decode()


def test_restock_writes_the_line_of_one_warehouse_and_not_of_both(browse: Browse, office: Office) -> None:
    world = office.world
    monday = get_today() - timedelta(days=get_today().weekday())
    places = (world.warehouse, world.second_warehouse)
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=place,
            material=world.projectile,
            owner=world.company,
            week_date=monday - timedelta(weeks=week),
            used=70_000_000,
        )
        for week in range(1, 31)
        for place in places
    )
    make_terms(make_supplier(), world.projectile, pack=50)
    client = browse("stores")
    text = client.get("/restock").content.decode()
    names = [f"{place.code}/{world.projectile.code}" for place in places]
    assert [text.count(f'name="line" value="{name}"') for name in names] == [1, 1]
    answer = client.post("/restock", {"id": str(uuid4()), "line": names[1:]})
    assert answer.status_code == 302
    assert [order.place for order in Order.objects.all()] == [world.second_warehouse]


def _count(action: Callable[[], Any]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        action()
    return len(seen)
