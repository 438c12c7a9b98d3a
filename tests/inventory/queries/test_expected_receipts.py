"""What is on its way, by when, and how sure that is."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import OrderLine, Party, Shipment
from inventory.queries.expected_receipts import list_expected_receipts
from inventory.queries.lead_times import find_lead_times
from inventory.queries.supply_areas import find_supply_areas
from inventory.services.orders.life import call_off, promise_order
from inventory.services.posting import End
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.receipts import receive_delivery
from inventory.services.shipments.sending import SentLine, send_shipment
from inventory.units import MILLION
from tests.factories.inventory import MORNING, World, at, each, make_world
from tests.factories.supply import make_order, make_supplier, make_terms

pytestmark = pytest.mark.django_db
MONDAY = MORNING.date()


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def supplier(world: World) -> Party:
    found = make_supplier()
    make_terms(found, world.projectile, days=4.0, lead_time_sd_days=1.0)
    return found


def bring(world: World, supplier: Party, line: OrderLine, count: int, days: float) -> None:
    came = ArrivedLine(line.material, each(count), End(world.warehouse), line)
    receive_delivery(
        id=uuid4(),
        by=world.actor,
        occurred_at=MORNING + timedelta(days=days),
        supplier=supplier,
        place=world.warehouse,
        lines=[came],
    )


def test_list_expected_receipts_says_what_is_left_and_when(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(10))
    bring(world, supplier, line, 4, 1)
    areas = find_supply_areas()
    [row] = list_expected_receipts(areas, as_of=MONDAY)
    assert (row.place, row.material, row.owner) == (world.warehouse, world.projectile, world.company)
    assert (row.quantity, row.due_date, row.is_late) == (6 * MILLION, MONDAY + timedelta(days=4), False)
    assert row.lateness_sd_days == pytest.approx(1.0)
    [late] = list_expected_receipts(areas, as_of=MONDAY + timedelta(days=9))
    # Due on the fourth day and five days overdue: five more are reckoned with, give or take as much.
    assert (late.planned_date, late.is_late) == (MONDAY + timedelta(days=4), True)
    assert (late.due_date, late.lateness_sd_days) == (MONDAY + timedelta(days=14), 5.0)


def test_list_expected_receipts_does_not_know_the_day_of_what_nobody_states_a_lead_time_for(
    world: World,
) -> None:
    line = make_order(world, make_supplier(), world.projectile, each(10), unit_cost=2)
    areas = find_supply_areas()
    [row] = list_expected_receipts(areas, as_of=MONDAY)
    assert (row.planned_date, row.is_late) == (None, False)
    assert (row.due_date, row.lateness_sd_days) == (MONDAY + timedelta(days=14), 5.0)
    [later] = list_expected_receipts(areas, as_of=MONDAY + timedelta(days=34))
    assert (later.planned_date, later.due_date) == (None, MONDAY + timedelta(days=54))
    order = line.order
    promise_order(order=order, version=order.version, promised_date=MONDAY + timedelta(days=8))
    [promised] = list_expected_receipts(areas, as_of=MONDAY)
    # A quarter of the eight days, as for a lead time of which no spread is stated.
    assert (promised.due_date, promised.lateness_sd_days) == (MONDAY + timedelta(days=8), 2.0)


def test_list_expected_receipts_does_not_take_a_shipment_without_a_day_for_arrived(world: World) -> None:
    world.loose(world.projectile, each(5))
    line = SentLine(world.projectile, each(5), world.warehouse)
    shipment = send_shipment(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        source=world.warehouse,
        target=world.second_warehouse,
        lines=[line],
    )
    areas = find_supply_areas(world.second_warehouse)
    [row] = list_expected_receipts(areas, as_of=MONDAY)
    assert (row.planned_date, row.due_date) == (None, MONDAY + timedelta(days=3))
    assert row.lateness_sd_days > 0
    Shipment.objects.filter(pk=shipment.pk).update(expected_date=MONDAY + timedelta(days=1))
    [late] = list_expected_receipts(areas, as_of=MONDAY + timedelta(days=3))
    assert (late.is_late, late.due_date) == (True, MONDAY + timedelta(days=5))


def test_list_expected_receipts_believes_a_promise(world: World, supplier: Party) -> None:
    order = make_order(world, supplier, world.projectile, each(10)).order
    promise_order(order=order, version=order.version, promised_date=date(2026, 4, 1))
    [row] = list_expected_receipts(find_supply_areas(), as_of=MONDAY)
    assert row.due_date == date(2026, 4, 1)


def test_list_expected_receipts_leaves_out_other_areas_and_what_was_called_off(
    world: World, supplier: Party
) -> None:
    line = make_order(world, supplier, world.projectile, each(10))
    assert list_expected_receipts(find_supply_areas(world.second_warehouse), as_of=MONDAY) == []
    call_off(order=line.order, by=world.actor, occurred_at=at(1))
    assert list_expected_receipts(find_supply_areas(), as_of=MONDAY) == []


def test_find_lead_times_learns_from_orders_that_are_all_in(world: World, supplier: Party) -> None:
    terms = make_terms(supplier, world.projectile, days=4.0, lead_time_sd_days=1.0)
    assert find_lead_times([terms])[terms.pk].deliveries == 0
    whole = make_order(world, supplier, world.projectile, each(10))
    bring(world, supplier, whole, 5, 8)
    # Half of it is still awaited: nothing is learnt yet.
    assert find_lead_times([terms])[terms.pk].deliveries == 0
    bring(world, supplier, whole, 5, 12)
    learnt = find_lead_times([terms])[terms.pk]
    # (2 * 4 days stated + 1 delivery of 10 days) / 3
    assert (learnt.deliveries, learnt.mean_days) == (1, pytest.approx(6.0))
    assert learnt.sd_days > 1.0


def test_list_expected_receipts_asks_as_often_for_ten_orders_as_for_one(
    world: World, supplier: Party
) -> None:
    counts = []
    for more in (1, 9):
        for _time in range(more):
            make_order(world, supplier, world.projectile, each(10))
        areas = find_supply_areas()
        with CaptureQueriesContext(connection) as captured:
            list_expected_receipts(areas, as_of=MONDAY)
        counts.append(len(captured))
    assert counts[0] == counts[1]
