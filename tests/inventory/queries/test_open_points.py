"""The check list of stores before a period is closed."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Entry, Party, Place
from inventory.queries.open_points import list_open_points
from inventory.services.accounting.bills import Bill, BilledLine
from inventory.services.accounting.invoices import record_invoice
from inventory.services.accounting.write_offs import ask_for_write_off
from inventory.services.counting.sheets import make_count_sheet
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.parties import save_party
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.inventory import World, at, each, make_world

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


@pytest.fixture
def world() -> World:
    world = make_world()
    save_party(code="mill", name="Foam Mill", is_supplier=True)
    return world


def get_pads(world: World, pieces: int, hours: float = 0) -> Entry:
    line = ReceiptLine(world.projectile, each(pieces), End(world.warehouse), pieces * 1_000_000)
    source = Place.objects.get(code="supplier:mill")
    return receive(id=uuid4(), by=world.actor, occurred_at=at(hours), source=source, lines=[line])


def told(until: date = DAY) -> list[tuple[str, str]]:
    return [(point.kind, point.sentence) for point in list_open_points(until)]


def test_a_receipt_is_open_until_a_bill_covers_it(world: World) -> None:
    receipt = get_pads(world, 10)
    [(kind, sentence)] = told()
    assert kind == "receipt"
    assert sentence.startswith("10 each Projectile 12 mm received 2026-03-02 from Foam Mill")
    assert sentence.endswith("have no bill yet (10.00 USD).")
    bill = Bill(
        supplier=Party.objects.get(code="mill"),
        number="B-1",
        invoice_date=DAY,
        lines=[BilledLine(receipt, world.projectile, each(10), 10_000_000)],
    )
    record_invoice(id=uuid4(), by=world.actor, occurred_at=at(1), bill=bill)
    assert told() == []


def test_an_open_count_and_what_the_book_did_not_know_are_to_be_counted(world: World) -> None:
    line = Line(world.projectile, each(2), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)
    assert [kind for kind, _sentence in told()] == ["unsettled"]
    world.loose(world.projectile, each(5), hours=2)
    sheet = make_count_sheet(
        id=uuid4(), by=world.actor, occurred_at=at(3), place=world.warehouse, materials=[world.projectile]
    )
    assert f"Count sheet {sheet} of Main yard is still to be counted." in [
        sentence for _kind, sentence in told()
    ]
    assert [kind for kind, _sentence in told(date(2026, 3, 1))] == ["unsettled"]


def test_a_request_that_nobody_decided_is_open_from_the_day_it_was_asked(world: World) -> None:
    world.loose(world.projectile, each(5))
    line = Line(world.projectile, each(5), End(world.warehouse), End(world.waste))
    ask_for_write_off(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], reason="soaked")
    assert told() == [("second_word", "Stores asked for a second word (write-off): soaked")]
    assert told(date(2026, 3, 1)) == []


def test_the_check_list_asks_the_same_number_of_questions_of_many_points(world: World) -> None:
    get_pads(world, 1)
    with CaptureQueriesContext(connection) as one:
        list_open_points(DAY)
    for number in range(10):
        get_pads(world, 1, hours=number)
    with CaptureQueriesContext(connection) as many:
        assert len(list_open_points(DAY)) == 11
    assert len(many) == len(one)
