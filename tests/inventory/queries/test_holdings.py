"""What is where, row by row and summed up, in a fixed number of queries."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Holding, Place
from inventory.money import to_money_millionths
from inventory.queries.holdings import list_bins, list_contents, list_empty_vessels, list_holdings, on_hand
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.inventory import World, at, each, feet, gal, make_world

pytestmark = pytest.mark.django_db


def make_bin(world: World, code: str, parent: Place | None = None) -> Place:
    return Place.objects.create(code=code, name=code, kind="bin", parent=parent or world.warehouse)


def put(world: World, place: Place, count: int, *, cost: int = 0) -> None:
    line = ReceiptLine(world.projectile, each(count), End(place), to_money_millionths(cost))
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=world.supplier, lines=[line])


def count_queries(act: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        act()
    return len(captured)


def show(rows: object) -> list[str]:
    """Everything that a page or a wire form reads off a row."""
    assert isinstance(rows, list)
    return [
        f"{row.place} {row.place.parent} {row.material} {row.owner} {row.container} "
        f"{row.container.owner if row.container else ''} {row.quantity}"
        for row in rows
    ]


def test_list_holdings_finds_by_place_with_its_bins() -> None:
    world = make_world()
    shelf = make_bin(world, "shelf")
    put(world, make_bin(world, "box", shelf), 4)
    put(world, world.warehouse, 3)
    put(world, world.vehicle, 2)
    rows = list_holdings(place=world.warehouse)
    assert [(row.place.code, row.quantity) for row in rows] == [("box", 4_000_000), ("main-yard", 3_000_000)]
    assert [row.quantity for row in list_holdings(place=world.warehouse, with_bins=False)] == [3_000_000]
    assert list_bins(shelf) == [shelf.pk, Place.objects.get(code="box").pk]


def test_list_holdings_finds_by_what_it_is_and_whose() -> None:
    world = make_world()
    drum = world.drum("D1", 55)
    reel = Container(
        label="R1", kind="reel", material=world.fibre, owner=world.customer, place=world.warehouse
    )
    line = ReceiptLine(world.fibre, feet(900), End(world.warehouse, reel), 0)
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=world.supplier, lines=[line])
    put(world, world.warehouse, 3)
    assert [row.quantity for row in list_holdings(kind="fluid")] == [55_000_000]
    assert [row.quantity for row in list_holdings(container=drum)] == [55_000_000]
    assert [row.material for row in list_holdings(is_loose=True)] == [world.projectile]
    assert [row.material for row in list_holdings(owner=world.customer)] == [world.fibre]
    assert [row.quantity for row in list_holdings(material=world.projectile)] == [3_000_000]
    assert [(row.owner, row.quantity) for row in on_hand(owner=world.customer)] == [
        (world.customer, 900_000_000)
    ]
    Holding.objects.filter(material=world.projectile, place=world.warehouse).update(is_unsettled=True)
    assert [row.material for row in list_holdings(is_unsettled=True)] == [world.projectile]


def test_list_holdings_leaves_out_use_and_what_has_become_nothing_unless_asked() -> None:
    world = make_world()
    drum = world.drum("D1", 5)
    line = Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    assert not list_holdings().exists()
    assert [row.quantity for row in list_holdings(with_empty=True)] == [0]
    assert [row.place for row in list_holdings(place_kinds=Place.USE_KINDS)] == [world.span]


@pytest.mark.parametrize("count", [1, 10])
def test_list_holdings_asks_once_however_many_rows(count: int) -> None:
    world = make_world()
    for number in range(count):
        world.drum(f"D{number}", 5)
    assert count_queries(lambda: show(list(list_holdings(place=world.warehouse)))) == 2
    drums = list(Container.objects.all())
    assert count_queries(lambda: list_contents(drums)) == 1
    assert count_queries(on_hand) == 5
    assert count_queries(lambda: on_hand(place=world.warehouse)) == 5


def test_list_contents_tells_of_empty_containers_too() -> None:
    world = make_world()
    full, empty = world.drum("D1", 55), world.drum("D2", 5)
    line = Line(world.fluid, gal(5), End(world.warehouse, empty), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    contents = list_contents([full, empty])
    assert [row.quantity for row in contents[full.pk]] == [55_000_000]
    assert contents[empty.pk] == []
    assert list(list_empty_vessels(place=world.warehouse)) == [empty]
    assert list(list_empty_vessels(place=world.vehicle)) == []


def test_on_hand_counts_bins_to_their_place_and_sums_quantity_and_value() -> None:
    world = make_world()
    put(world, make_bin(world, "shelf"), 4, cost=10)
    put(world, world.warehouse, 3, cost=6)
    put(world, world.vehicle, 2, cost=5)
    rows = on_hand(material=world.projectile)
    assert [(row.place, row.quantity, row.value, row.holdings) for row in rows] == [
        (world.warehouse, 7_000_000, to_money_millionths(16), 2),
        (world.vehicle, 2_000_000, to_money_millionths(5), 1),
    ]
    (shelf,) = on_hand(place=Place.objects.get(code="shelf"))
    assert (shelf.place.code, shelf.quantity, shelf.value) == ("shelf", 4_000_000, to_money_millionths(10))


def test_on_hand_shows_what_is_in_transit_apart() -> None:
    world = make_world()
    road = Place.objects.create(code="road", name="Road", kind="transit", parent=world.warehouse)
    drum = world.drum("D1", 55, cost=110)
    world.drum("D2", 20, cost=40)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(drum, road)])
    rows = {row.place.code: row for row in on_hand()}
    assert (rows["road"].quantity, rows["road"].is_in_transit) == (55_000_000, True)
    assert (rows["main-yard"].quantity, rows["main-yard"].is_in_transit) == (20_000_000, False)
    assert (rows["road"].containers, rows["road"].value) == (1, to_money_millionths(110))


def test_on_hand_of_a_place_that_holds_no_stock_is_nothing() -> None:
    world = make_world()
    drum = world.drum("D1", 55)
    line = Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    assert on_hand(place=world.span) == []
