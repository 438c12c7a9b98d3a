"""Orders from writing to calling off."""

from uuid import UUID, uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import DomainEvent, Order, Party
from inventory.queries.order_progress import find_progress
from inventory.services.documents import DocumentConflict
from inventory.services.lines import WrongPlace
from inventory.services.orders.joint import Wanted, write_joint_orders
from inventory.services.orders.life import OrderClosed, call_off, promise_order, send_order
from inventory.services.orders.lines import NoTerms, OrderedLine
from inventory.services.orders.terms import NotASupplier, save_order_terms
from inventory.services.orders.writing import OrderChanged, OrderSent, rewrite_order, write_order
from inventory.units import MILLION, Amount
from tests.factories.inventory import World, at, each, gal, make_world
from tests.factories.supply import make_order, make_supplier, make_terms

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def supplier(world: World) -> Party:
    found = make_supplier()
    make_terms(found, world.fluid, unit_cost=10, pack=55)
    make_terms(found, world.projectile, unit_cost=3, pack=10, line_cost=2 * MILLION)
    return found


def write(
    world: World, supplier: Party, *lines: tuple[object, Amount], id: UUID | None = None, **more: object
) -> Order:
    fields: dict[str, object] = {
        "id": id or uuid4(),
        "by": world.actor,
        "occurred_at": at(0),
        "supplier": supplier,
        "place": world.warehouse,
        "lines": [OrderedLine(material, amount) for material, amount in lines],  # type: ignore[arg-type]
        **more,
    }
    return write_order(**fields)  # type: ignore[arg-type]


def test_write_order_takes_its_prices_and_costs_from_the_terms(world: World, supplier: Party) -> None:
    save_order_terms(supplier=supplier, order_cost=40 * MILLION)
    order = write(world, supplier, (world.fluid, gal(110)), (world.projectile, each(20)))
    assert order.state == Order.State.WRITTEN
    assert order.reference == f"O-{order.pk:05d}"
    assert order.order_cost == 42 * MILLION
    lines = [(row.position, row.quantity, row.unit_cost) for row in order.lines.all()]
    assert lines == [(1, 110 * MILLION, 10 * MILLION), (2, 20 * MILLION, 3 * MILLION)]


def test_write_order_again_gives_the_first_and_other_content_is_a_conflict(
    world: World, supplier: Party
) -> None:
    first = write(world, supplier, (world.fluid, gal(55)))
    assert write(world, supplier, (world.fluid, gal(55)), id=first.uuid) == first
    with pytest.raises(DocumentConflict, match="another order"):
        write(world, supplier, (world.fluid, gal(110)), id=first.uuid)
    with pytest.raises(DocumentConflict, match="is taken"):
        write(world, supplier, (world.fluid, gal(55)), id=first.uuid, by=world.other_actor)
    assert Order.objects.count() == 1


def test_write_order_refuses_a_supplier_without_terms_and_names_every_line(
    world: World, supplier: Party
) -> None:
    with pytest.raises(NoTerms) as refusal:
        write(world, supplier, (world.fibre, Amount(gal(5).value, "[ft_i]")), (world.recovered, gal(5)))
    assert [fault.pointer for fault in refusal.value.faults] == ["/lines/0/material", "/lines/1/material"]
    assert not Order.objects.exists()


@pytest.mark.parametrize(("amount", "told"), [(each(15), "20"), (each(0), "nothing"), (each(-10), "nothing")])
def test_write_order_refuses_what_is_not_sold_so(
    world: World, supplier: Party, amount: Amount, told: str
) -> None:
    with pytest.raises(BadInput, match=told):
        write(world, supplier, (world.projectile, amount))
    assert not Order.objects.exists()


def test_write_order_takes_any_amount_at_a_price_of_its_own(world: World, supplier: Party) -> None:
    lines = [OrderedLine(world.projectile, each(7), unit_cost=4 * MILLION)]
    order = write(world, supplier, lines=lines)
    assert order.lines.get().unit_cost == 4 * MILLION


def test_write_order_refuses_other_places_and_parties(world: World, supplier: Party) -> None:
    with pytest.raises(WrongPlace):
        write(world, supplier, (world.fluid, gal(55)), place=world.span)
    with pytest.raises(NotASupplier):
        write(world, world.customer, (world.fluid, gal(55)))
    with pytest.raises(BadInput, match="1 to 500 lines"):
        write(world, supplier)


def test_rewrite_order_changes_it_only_while_written_and_as_it_was_read(
    world: World, supplier: Party
) -> None:
    order = write(world, supplier, (world.fluid, gal(55)))
    changed = rewrite_order(order=order, version=1, lines=[OrderedLine(world.projectile, each(10))])
    assert [row.material for row in changed.lines.all()] == [world.projectile]
    with pytest.raises(OrderChanged):
        rewrite_order(order=order, version=1, lines=[OrderedLine(world.fluid, gal(55))])
    send_order(order=order, by=world.actor, occurred_at=at(1))
    with pytest.raises(OrderSent, match="sent"):
        rewrite_order(order=order, version=3, lines=[OrderedLine(world.fluid, gal(55))])
    assert [row.material for row in order.lines.all()] == [world.projectile]


def test_send_order_twice_sends_it_once_and_tells_once(world: World, supplier: Party) -> None:
    order = write(world, supplier, (world.fluid, gal(55)))
    for hours in (1, 2):
        sent = send_order(order=order, by=world.actor, occurred_at=at(hours))
    assert (sent.state, sent.sent_at) == (Order.State.SENT, at(1))
    assert DomainEvent.objects.filter(kind="order.sent").count() == 1


def test_promise_order_keeps_the_day_and_refuses_an_old_copy(world: World, supplier: Party) -> None:
    order = make_order(world, supplier, world.fluid, gal(55)).order
    promised = promise_order(order=order, version=order.version, promised_date=at(100).date())
    assert promised.promised_date == at(100).date()
    with pytest.raises(OrderChanged):
        promise_order(order=order, version=order.version, promised_date=None)


def test_call_off_ends_a_line_then_the_order(world: World, supplier: Party) -> None:
    order = write(world, supplier, (world.fluid, gal(55)), (world.projectile, each(10)))
    send_order(order=order, by=world.actor, occurred_at=at(0))
    part = call_off(order=order, by=world.actor, occurred_at=at(1), positions=[1])
    assert part.state == Order.State.SENT
    assert [row.awaited for row in find_progress(list(order.lines.all())).values()] == [0, 10 * MILLION]
    whole = call_off(order=order, by=world.actor, occurred_at=at(2))
    again = call_off(order=order, by=world.actor, occurred_at=at(3))
    assert (whole.state, again.called_off_at) == (Order.State.CALLED_OFF, at(2))
    with pytest.raises(OrderClosed):
        send_order(order=order, by=world.actor, occurred_at=at(3))
    with pytest.raises(BadInput, match="no line"):
        call_off(order=order, by=world.actor, occurred_at=at(3), positions=[9])


def test_write_joint_orders_makes_one_order_for_each_supplier_and_place(
    world: World, supplier: Party
) -> None:
    other = make_supplier("depot", "Depot")
    make_terms(other, world.fluid, unit_cost=9, pack=5)
    id = uuid4()
    wanted = [
        Wanted(world.warehouse, world.fluid, 60 * MILLION, why="runs out on Friday"),
        Wanted(world.warehouse, world.projectile, 12 * MILLION),
        Wanted(world.second_warehouse, world.fluid, 3 * MILLION, supplier=supplier),
    ]
    arguments = {"id": id, "by": world.actor, "occurred_at": at(0), "wanted": wanted}
    orders = write_joint_orders(**arguments)  # type: ignore[arg-type]
    found = [
        (
            order.supplier.code,
            order.place.code,
            [(row.material.code, row.quantity) for row in order.lines.all()],
        )
        for order in orders
    ]
    assert found == [
        ("depot", "main-yard", [("fluid", 60 * MILLION)]),
        ("source", "main-yard", [("projectile-12", 20 * MILLION)]),
        ("source", "north-yard", [("fluid", 55 * MILLION)]),
    ]
    assert orders[0].lines.get().why == "runs out on Friday"
    assert write_joint_orders(**arguments) == orders  # type: ignore[arg-type]


def test_write_joint_orders_shares_one_order_where_a_second_costs_more(world: World, supplier: Party) -> None:
    other = make_supplier("depot", "Depot")
    make_terms(other, world.fluid, unit_cost=9, pack=5)
    for who in (supplier, other):
        save_order_terms(supplier=who, order_cost=500 * MILLION)
    wanted = [
        Wanted(world.warehouse, world.fluid, 55 * MILLION),
        Wanted(world.warehouse, world.projectile, 10 * MILLION),
    ]
    [order] = write_joint_orders(id=uuid4(), by=world.actor, occurred_at=at(0), wanted=wanted)
    assert order.supplier == supplier
    assert order.lines.count() == 2


def test_write_joint_orders_refuses_what_nobody_sells(world: World, supplier: Party) -> None:
    wanted = [
        Wanted(world.warehouse, world.fluid, 5 * MILLION),
        Wanted(world.warehouse, world.fibre, 5 * MILLION),
    ]
    with pytest.raises(NoTerms, match="no supplier has terms"):
        write_joint_orders(id=uuid4(), by=world.actor, occurred_at=at(0), wanted=wanted)
    assert not Order.objects.exists()
