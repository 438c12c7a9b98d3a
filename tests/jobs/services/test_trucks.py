"""Whole trucks: moved to another vehicle, handed over, and what was bought at a counter."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, Instrument, Place, Reservation
from inventory.money import to_money_millionths
from inventory.services.lines import Line, WrongPlace
from inventory.services.posting import End, EntryConflict
from inventory.services.receipts import ReceiptLine
from jobs.models import CounterPurchase, HandOver
from jobs.queries.truck_stock import is_confirmed
from jobs.services.reports.content import ReportContent
from jobs.services.trucks import (
    HandOverAnswered,
    OwnHandOver,
    TicketBooked,
    answer_hand_over,
    buy_at_counter,
    hand_over,
    move_all_to_vehicle,
)
from tests.factories.inventory import at, each, gal, held
from tests.factories.reports import S1, ReportedDay, extracted, gallons, make_reported_day

pytestmark = pytest.mark.django_db
GAL = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


@pytest.fixture
def spare(db: None) -> Place:
    return Place.objects.create(code="truck-9", name="Truck 9", kind="vehicle")


def move(day: ReportedDay, vehicle: Place, **fields: object):  # type: ignore[no-untyped-def]
    values = {"id": uuid4(), "by": day.world.actor, "occurred_at": at(2), "crew_code": "north"}
    return move_all_to_vehicle(**{**values, "date": day.crew_day.date, "vehicle": vehicle, **fields})


def test_move_all_to_vehicle_takes_drums_reels_loose_goods_and_promises(
    day: ReportedDay, spare: Place
) -> None:
    gauge = Instrument.objects.create(
        tag="G-1", kind="gauge", unit="kPa", resolution=10.0, place=day.world.vehicle
    )
    Reservation.objects.create(
        holder="north",
        reference=day.crew_day.requirement_reference,
        place=day.world.vehicle,
        material=day.world.projectile,
        owner=day.world.company,
        quantity=GAL,
    )
    moved = move(day, spare)
    assert moved.vehicle == spare
    assert not day.world.vehicle.containers.exists()
    assert not day.world.vehicle.holdings.filter(quantity__gt=0).exists()
    assert held(spare, day.world.projectile) == 20 * GAL
    assert Container.objects.get(label="C-1").place == spare
    assert held(spare, day.world.fibre, Container.objects.get(label="REEL-1")) == 5000 * GAL
    gauge.refresh_from_db()
    assert (gauge.place, Reservation.objects.get().place) == (spare, spare)
    day.report(ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(5)),)), hours=9)
    assert held(spare, day.world.fluid, Container.objects.get(label="D-1")) == 50 * GAL


def test_move_all_to_vehicle_again_moves_nothing_more(day: ReportedDay, spare: Place) -> None:
    id = uuid4()
    move(day, spare, id=id)
    entries = Entry.objects.count()
    assert move(day, spare, id=id).vehicle == spare
    assert Entry.objects.count() == entries
    with pytest.raises(EntryConflict):
        move(day, day.world.vehicle, id=id)
    with pytest.raises(BadInput, match="already"):
        move(day, spare)
    with pytest.raises(WrongPlace):
        move(day, day.world.warehouse)


def give(day: ReportedDay, target: Place, **fields: object) -> HandOver:
    drum = Container.objects.select_related("place", "owner").get(label="D-1")
    line = Line(day.world.projectile, each(5), End(day.world.vehicle), End(target))
    values = {"id": uuid4(), "by": day.world.actor, "occurred_at": at(3), "source": day.world.vehicle}
    return hand_over(**{**values, "target": target, "lines": [line], "containers": [drum], **fields})  # type: ignore[arg-type]


def test_hand_over_moves_at_once_and_stands_unconfirmed(day: ReportedDay, spare: Place) -> None:
    given = give(day, spare)
    assert held(spare, day.world.projectile) == 5 * GAL
    assert Container.objects.get(label="D-1").place == spare
    assert (given.is_confirmed, is_confirmed(spare)) == (None, False)
    answer_hand_over(id=given.uuid, by=day.world.other_actor, occurred_at=at(4), is_confirmed=True)
    assert is_confirmed(spare)


def test_hand_over_again_moves_nothing_more(day: ReportedDay, spare: Place) -> None:
    id = uuid4()
    assert give(day, spare, id=id) == give(day, spare, id=id)
    assert held(spare, day.world.projectile) == 5 * GAL
    with pytest.raises(EntryConflict):
        give(day, spare, id=id, containers=())


def test_answer_hand_over_is_the_receivers_and_given_once(day: ReportedDay, spare: Place) -> None:
    given = give(day, spare)
    with pytest.raises(OwnHandOver):
        answer_hand_over(id=given.uuid, by=day.world.actor, occurred_at=at(4), is_confirmed=True)
    for _again in range(2):
        answer_hand_over(
            id=given.uuid, by=day.world.other_actor, occurred_at=at(4), is_confirmed=False, note="no drum"
        )
    with pytest.raises(HandOverAnswered, match="disputed"):
        answer_hand_over(id=given.uuid, by=day.world.other_actor, occurred_at=at(5), is_confirmed=True)
    assert Container.objects.get(label="D-1").place == spare


def buy(day: ReportedDay, **fields: object) -> CounterPurchase:
    line = ReceiptLine(day.world.fluid, gal(5), End(day.world.vehicle), to_money_millionths("61.50"))
    values = {
        "id": uuid4(),
        "by": day.world.other_actor,
        "occurred_at": at(3),
        "supplier": day.world.supplier,
        "vehicle": day.world.vehicle,
        "ticket_number": "T-77",
        "lines": [line],
    }
    return buy_at_counter(**{**values, **fields})  # type: ignore[arg-type]


def test_buy_at_counter_puts_goods_on_the_truck_at_the_tickets_cost(day: ReportedDay) -> None:
    bought = buy(day)
    assert held(day.world.vehicle, day.world.fluid) == 5 * GAL
    entry = Entry.objects.get(uuid=bought.entry_uuid)
    assert (entry.document, entry.movements.get().value) == ("ticket:T-77", 61_500_000)


def test_buy_at_counter_books_a_ticket_once(day: ReportedDay) -> None:
    id = uuid4()
    assert buy(day, id=id) == buy(day, id=id)
    with pytest.raises(TicketBooked, match="T-77"):
        buy(day)
    with pytest.raises(BadInput, match="ticket"):
        buy(day, ticket_number="  ")
    assert held(day.world.vehicle, day.world.fluid) == 5 * GAL
