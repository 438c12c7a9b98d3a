"""What no entry may say, whichever way it comes: less than nothing, more than can be written down."""

from uuid import uuid4

import pytest

from inventory.models import CountReading, Place
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import Revaluation, revalue
from inventory.services.counts import Found, count
from inventory.services.goods import transfer
from inventory.services.lines import BadLine, Line
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import AmountOutOfRange
from tests.factories.inventory import at, gal, make_world

pytestmark = pytest.mark.django_db


def test_receive_below_nothing_is_refused() -> None:
    world = make_world()
    line = ReceiptLine(world.fluid, gal(5), End(world.warehouse), -77)
    with pytest.raises(BadLine, match="cannot be less than nothing"):
        receive(id=uuid4(), by=world.actor, occurred_at=at(1), source=world.supplier, lines=[line])


def test_revalue_by_more_than_a_column_holds_is_refused_even_where_it_cancels_out() -> None:
    world = make_world()
    world.drum("D1", 55, cost=550)
    changes = [Revaluation(world.fluid, world.warehouse, change) for change in (10**30, -(10**30))]
    with pytest.raises(AmountOutOfRange):
        revalue(
            id=uuid4(),
            by=world.actor,
            occurred_at=at(1),
            changes=changes,
            against=Place.objects.get(code="price-variance"),
            reason="typed wrong",
        )
    assert list(verify_ledger()) == []


def test_count_adds_up_more_movements_of_the_full_range_than_a_column_holds() -> None:
    world = make_world()
    most = gal(10**12)
    line = ReceiptLine(world.fluid, most, End(world.warehouse), 0)
    receive(id=uuid4(), by=world.actor, occurred_at=at(2), source=world.supplier, lines=[line])
    for number in range(10):
        there = Line(world.fluid, most, End(world.warehouse), End(world.second_warehouse))
        back = Line(world.fluid, most, End(world.second_warehouse), End(world.warehouse))
        for line in (there, back):
            transfer(id=uuid4(), by=world.actor, occurred_at=at(20 + number), lines=[line])
    found = Found(world.fluid, gal(0), End(world.warehouse))
    count(id=uuid4(), by=world.actor, occurred_at=at(1), found=[found])
    reading = CountReading.objects.get()
    assert (reading.counted_quantity, reading.book_quantity) == (0, 0)
