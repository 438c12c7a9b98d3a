"""Goods on their way between our warehouses, and the name of what did not arrive."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, Place, Shipment, ShipmentArrival
from inventory.queries.expected_receipts import list_expected_receipts
from inventory.queries.supply_areas import find_supply_areas, sum_usable_stock
from inventory.queries.verification import verify_ledger
from inventory.services.documents import DocumentConflict
from inventory.services.posting import NotEnoughHeld
from inventory.services.shipments.arriving import (
    ShipmentClosed,
    Unloaded,
    name_difference,
    receive_shipment,
)
from inventory.services.shipments.sending import SentLine, send_shipment
from inventory.units import MILLION
from tests.factories.inventory import World, at, each, gal, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    found = make_world()
    found.loose(found.projectile, each(40), cost=80)
    found.drum("D-1", 55, cost=550)
    return found


def send(world: World, *lines: SentLine, **more: object) -> Shipment:
    fields: dict[str, object] = {
        "id": uuid4(),
        "by": world.actor,
        "occurred_at": at(1),
        "source": world.warehouse,
        "target": world.second_warehouse,
        "lines": lines,
        **more,
    }
    return send_shipment(**fields)  # type: ignore[arg-type]


def unload(world: World, shipment: Shipment, *unloaded: Unloaded, **more: object) -> ShipmentArrival:
    fields: dict[str, object] = {
        "id": uuid4(),
        "by": world.other_actor,
        "occurred_at": at(5),
        "shipment": shipment,
        "unloaded": unloaded,
        **more,
    }
    return receive_shipment(**fields)  # type: ignore[arg-type]


def state_of(shipment: Shipment) -> str:
    return Shipment.objects.get(pk=shipment.pk).state


def pieces(world: World, count: int) -> SentLine:
    return SentLine(world.projectile, each(count), world.warehouse)


def name(world: World, shipment: Shipment, reason: str, position: int = 1) -> None:
    name_difference(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(6),
        line=shipment.lines.get(position=position),
        reason=reason,
    )


def test_send_shipment_takes_goods_off_their_place_and_awaits_them_at_the_other(world: World) -> None:
    shipment = send(world, pieces(world, 30), containers=[Container.objects.get(label="D-1")])
    assert held(world.warehouse, world.projectile) == 10 * MILLION
    areas = find_supply_areas()
    stock = sum_usable_stock(areas)
    assert (world.second_warehouse.pk, world.projectile.pk, world.company.pk) not in stock
    rows = [(row.material.code, row.quantity) for row in list_expected_receipts(areas, as_of=at(1).date())]
    assert rows == [("fluid", 55 * MILLION), ("projectile-12", 30 * MILLION)]
    unload(world, shipment, Unloaded(1), Unloaded(2))
    assert state_of(shipment) == Shipment.State.SETTLED
    assert held(world.second_warehouse, world.projectile) == 30 * MILLION
    assert Container.objects.get(label="D-1").place == world.second_warehouse
    assert Place.objects.get(pk=shipment.transit_id).is_withdrawn
    assert list_expected_receipts(areas, as_of=at(1).date()) == []
    assert list(verify_ledger()) == []


def test_send_shipment_again_gives_the_first_and_refuses_what_is_not_there(world: World) -> None:
    id = uuid4()
    first = send(world, pieces(world, 30), id=id)
    assert send(world, pieces(world, 30), id=id) == first
    with pytest.raises(DocumentConflict):
        send(world, pieces(world, 5), id=id)
    with pytest.raises(NotEnoughHeld):
        send(world, pieces(world, 30))
    assert Shipment.objects.count() == 1
    assert Place.objects.filter(kind="transit").count() == 1


def test_send_shipment_refuses_to_send_to_itself_or_from_elsewhere(world: World) -> None:
    with pytest.raises(BadInput, match="where the goods are"):
        send(world, pieces(world, 1), target=world.warehouse)
    with pytest.raises(BadInput, match="is not in"):
        send(world, SentLine(world.projectile, each(1), world.second_warehouse))
    with pytest.raises(BadInput, match="does not stand"):
        send(
            world,
            source=world.second_warehouse,
            target=world.warehouse,
            containers=[Container.objects.get(label="D-1")],
        )
    with pytest.raises(BadInput, match="is empty"):
        send(world)
    assert not Shipment.objects.exists()


@pytest.mark.parametrize(
    ("reason", "at_source", "entry_kind"),
    [("left_behind", 12, "transfer"), ("miscounted", 12, "transfer"), ("lost", 10, "count")],
)
def test_name_difference_says_where_missing_goods_are(
    world: World, reason: str, at_source: int, entry_kind: str
) -> None:
    shipment = send(world, pieces(world, 30))
    unload(world, shipment, Unloaded(1, each(20)))
    assert state_of(shipment) == Shipment.State.PART_IN
    unload(world, shipment, Unloaded(1, each(8)), is_last=True)
    assert state_of(shipment) == Shipment.State.DIFFERS
    name(world, shipment, reason)
    assert state_of(shipment) == Shipment.State.SETTLED
    assert held(world.warehouse, world.projectile) == at_source * MILLION
    assert held(world.second_warehouse, world.projectile) == 28 * MILLION
    assert held(shipment.transit, world.projectile) == 0
    assert Entry.objects.order_by("key").last().kind == entry_kind  # type: ignore[union-attr]
    with pytest.raises(ShipmentClosed, match="no difference"):
        name(world, shipment, reason)
    assert list(verify_ledger()) == []


def test_name_difference_of_what_came_over_takes_it_off_the_source(world: World) -> None:
    shipment = send(world, pieces(world, 30))
    unload(world, shipment, Unloaded(1, each(33)), is_last=True)
    assert state_of(shipment) == Shipment.State.DIFFERS
    assert held(world.second_warehouse, world.projectile) == 33 * MILLION
    with pytest.raises(BadInput, match="miscounted"):
        name(world, shipment, "lost")
    name(world, shipment, "miscounted")
    assert held(world.warehouse, world.projectile) == 7 * MILLION
    assert held(Place.objects.get(code="variance"), world.projectile) == 0
    assert state_of(shipment) == Shipment.State.SETTLED


def test_receive_shipment_takes_a_drum_that_leaked_and_states_what_is_left(world: World) -> None:
    drum = Container.objects.get(label="D-1")
    shipment = send(world, containers=[drum])
    unload(world, shipment, Unloaded(1, gal(50)), is_last=True)
    assert state_of(shipment) == Shipment.State.DIFFERS
    assert held(world.second_warehouse, world.fluid, drum) == 55 * MILLION
    name(world, shipment, "lost")
    assert held(world.second_warehouse, world.fluid, drum) == 50 * MILLION
    assert state_of(shipment) == Shipment.State.SETTLED


def test_receive_shipment_that_left_a_drum_behind_puts_it_back(world: World) -> None:
    drum = Container.objects.get(label="D-1")
    shipment = send(world, pieces(world, 5), containers=[drum])
    position = shipment.lines.get(material=world.projectile).position
    unload(world, shipment, Unloaded(position), is_last=True)
    name(world, shipment, "left_behind", shipment.lines.get(material=world.fluid).position)
    drum.refresh_from_db()
    assert drum.place == world.warehouse
    assert state_of(shipment) == Shipment.State.SETTLED


def test_receive_shipment_names_faults_and_closes(world: World) -> None:
    shipment = send(world, pieces(world, 5))
    with pytest.raises(BadInput) as refusal:
        unload(world, shipment, Unloaded(1), Unloaded(1), Unloaded(9), Unloaded(1, each(-1)))
    assert len(refusal.value.faults) == 3
    id = uuid4()
    first = unload(world, shipment, Unloaded(1), id=id)
    assert unload(world, shipment, Unloaded(1), id=id) == first
    with pytest.raises(ShipmentClosed):
        unload(world, shipment, Unloaded(1))
    assert held(world.second_warehouse, world.projectile) == 5 * MILLION
