"""The accountant's pages: every figure opens down to its entries."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Movement
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal

Browse = Callable[[str], Client]


def _draw(office: Office, gallons: int, hour: int) -> None:
    drum = Container.objects.get(label="D-1")
    line = Line(office.world.fluid, gal(gallons), End(office.world.warehouse, drum), End(office.span.place))
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(hour), lines=[line])


def _text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return answer.content.decode()


def test_cost_opens_from_the_job_down_to_the_entry(browse: Browse, office: Office) -> None:
    _draw(office, 10, 2)
    client = browse("accounts")
    assert 'href="/jobs/J-north/cost"' in _text(client, "/jobs")
    sheet = _text(client, "/jobs/J-north/cost")
    # A tenth of a drum of 55 gal that cost 550.
    assert "100.00 USD" in sheet
    owner = office.world.company.code
    line = f"/jobs/J-north/cost/fluid/{owner}"
    assert f'href="{line}"' in sheet
    movements = _text(client, line)
    assert "10 gal" in movements
    entry = next(part.split('"')[0] for part in movements.split('href="') if part.startswith("/entries/"))
    shown = _text(client, entry)
    assert "Draw" in shown
    assert "100.00 USD" in shown


def test_cost_says_what_each_part_took_and_what_was_lost_for_how_much(browse: Browse, office: Office) -> None:
    drum = End(office.world.warehouse, Container.objects.get(label="D-1"))
    spilt = Movement.Purpose.LOST
    lines = [
        Line(office.world.fluid, gal(3), drum, End(office.span.place), purpose=spilt, cause="spill"),
        Line(office.world.fluid, gal(4), drum, End(office.job.place)),
    ]
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(2), lines=lines)
    sheet = " ".join(_text(browse("accounts"), "/jobs/J-north/cost").split())
    assert '3 gal <span class="quiet">spill</span><br><small class="quiet">30.00 USD</small>' in sheet
    by_part = sheet.split("<summary>By span and run</summary>")[1]
    assert "the job itself" in by_part
    link = '<a href="/jobs/J-north/cost/fluid/own?job=">Extraction fluid</a>'
    assert f"<li>4 gal {link} · 40.00 USD</li>" in by_part
    assert "span S1" in by_part


def test_pages_of_cost_ask_as_often_however_much_was_drawn(browse: Browse, office: Office) -> None:
    client = browse("accounts")
    _draw(office, 1, 1)
    addresses = ("/jobs/J-north/cost", f"/jobs/J-north/cost/fluid/{office.world.company.code}", "/jobs")
    before = [_count(client, address) for address in addresses]
    for hour in range(2, 12):
        _draw(office, 1, hour)
    assert [_count(client, address) for address in addresses] == before


def test_long_list_of_movements_goes_on_within_an_entry(browse: Browse, office: Office) -> None:
    """No movement is left out where a page ends in the middle of an entry."""
    drum = Container.objects.get(label="D-1")
    ends = End(office.world.warehouse, drum), End(office.span.place)
    lines = [Line(office.world.fluid, gal("0.5"), *ends) for _ in range(60)]
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(2), lines=lines)
    client = browse("accounts")
    address = f"/jobs/J-north/cost/fluid/{office.world.company.code}"
    first = _text(client, address)
    following = address + first.split('rel="next" href="')[1].split('"')[0].replace("&amp;", "&")
    assert (first.count("0.5 gal"), _text(client, following).count("0.5 gal")) == (50, 10)


@pytest.mark.parametrize("address", ["/jobs/J-north/cost", "/closing", "/jobs/J-north/cost/fluid/own"])
@pytest.mark.parametrize("role", ["crew", "safety"])
def test_cost_is_for_who_sees_money(browse: Browse, address: str, role: str) -> None:
    answer = browse(role).get(address)
    assert answer.status_code == 403
    assert "USD" not in answer.content.decode()


def test_entry_of_others_is_not_found_by_a_crew(browse: Browse, office: Office) -> None:
    _draw(office, 1, 1)
    foreign = office.foreign_span.place
    drum = Container.objects.get(label="D-1")
    line = Line(office.world.fluid, gal(1), End(office.world.warehouse, drum), End(foreign))
    entry = draw(id=uuid4(), by=office.world.actor, occurred_at=at(3), lines=[line])
    assert browse("crew").get(f"/entries/{entry.uuid}").status_code == 404
    assert browse("accounts").get(f"/entries/{entry.uuid}").status_code == 200


def test_closing_list_names_days_without_report(browse: Browse) -> None:
    text = _text(browse("accounts"), "/closing?date=2026-03-31")
    assert "north" in text
    assert "No period has been closed yet" in text


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        _text(client, address)
    return len(seen)
