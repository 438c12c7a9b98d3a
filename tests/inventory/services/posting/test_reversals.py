"""Undoing entries after vessels moved, goods were counted or value changed."""

from uuid import uuid4

import pytest

from inventory.models import Container, CostPool, Entry, Place
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import Revaluation, revalue, reverse
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import AlreadyReversed, End, GoodsMovedOn
from tests.factories.inventory import World, at, each, gal, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def draw_from(world: World, drum: Container, amount: int, hours: float) -> Entry:
    line = Line(world.fluid, gal(amount), End(world.warehouse, drum), End(world.span))
    return draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line], as_report=True)


def count_drum(world: World, drum: Container, amount: int, hours: float) -> Entry:
    found = [Found(world.fluid, gal(amount), End(world.warehouse, drum))]
    return count(id=uuid4(), by=world.actor, occurred_at=at(hours), found=found)


def undo(world: World, entry: Entry) -> Entry:
    return reverse(id=uuid4(), by=world.actor, entry=entry, reason="wrong")


def assert_book_is_whole() -> None:
    assert list(verify_ledger()) == []


def test_plan_reversal_gives_back_into_a_drum_where_it_stands_now(world: World) -> None:
    drum = world.drum("D1", 20, cost=40)
    drawn = draw_from(world, drum, 5, 1)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(2), containers=[(drum, world.vehicle)])
    undo(world, drawn)
    assert held(world.vehicle, world.fluid, drum) == 20_000_000
    assert held(world.warehouse, world.fluid, drum) == 0
    assert_book_is_whole()


def test_plan_reversal_of_a_move_is_refused_once_more_was_poured_in(world: World) -> None:
    drum, other = world.drum("D1", 10), world.drum("D2", 10, place=world.vehicle)
    moved = transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(drum, world.vehicle)])
    pour = Line(world.fluid, gal(3), End(world.vehicle, other), End(world.vehicle, drum))
    decant(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[pour])
    with pytest.raises(GoodsMovedOn, match="cannot be put back to Main yard"):
        undo(world, moved)
    drum.refresh_from_db()
    assert drum.place == world.vehicle
    assert_book_is_whole()


def test_plan_reversal_of_a_move_of_an_empty_drum_is_refused_once_it_was_filled(world: World) -> None:
    full = world.drum("D1", 10, place=world.vehicle)
    empty = Container.objects.create(label="E1", kind="drum", owner=world.company, place=world.warehouse)
    moved = transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(empty, world.vehicle)])
    pour = Line(world.fluid, gal(3), End(world.vehicle, full), End(world.vehicle, empty))
    decant(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[pour])
    with pytest.raises(GoodsMovedOn):
        undo(world, moved)
    assert_book_is_whole()


def test_plan_reversal_of_a_draw_counted_at_the_same_moment_leaves_the_count(world: World) -> None:
    drum = world.drum("D1", 20)
    drawn = draw_from(world, drum, 5, 3)
    count_drum(world, drum, 15, 3)
    undo(world, drawn)
    assert held(world.warehouse, world.fluid, drum) == 15_000_000
    assert_book_is_whole()


def test_plan_reversal_of_a_draw_that_was_short_and_counted_since_leaves_what_was_counted(
    world: World,
) -> None:
    drum = world.drum("D1", 10)
    drawn = draw_from(world, drum, 12, 5)
    count_drum(world, drum, 48, 4)
    # 48 were there before the 12 were drawn; without the draw 48 are there.
    assert held(world.warehouse, world.fluid, drum) == 36_000_000
    undo(world, drawn)
    assert held(world.warehouse, world.fluid, drum) == 48_000_000
    assert_book_is_whole()


def test_plan_reversal_of_a_count_is_possible_once_the_late_entry_was_undone(world: World) -> None:
    drum = world.drum("D1", 20)
    counted = count_drum(world, drum, 15, 4)
    late = draw_from(world, drum, 5, 3)
    with pytest.raises(GoodsMovedOn, match="settled against it"):
        undo(world, counted)
    undo(world, late)
    undo(world, counted)
    assert held(world.warehouse, world.fluid, drum) == 20_000_000
    assert_book_is_whole()


def test_plan_reversal_of_a_reversed_entry_is_refused_by_name(world: World) -> None:
    drawn = draw_from(world, world.drum("D1", 20), 5, 1)
    undo(world, drawn)
    with pytest.raises(AlreadyReversed, match="was reversed on"):
        undo(world, drawn)


def test_plan_reversal_of_a_revaluation_takes_back_at_most_what_the_goods_are_worth(world: World) -> None:
    world.loose(world.projectile, each(10), cost=10)
    up = Revaluation(world.projectile, world.warehouse, 10_000_000)
    raised = revalue(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        changes=[up],
        against=world.supplier,
        reason="freight",
        is_agreed=True,
    )
    line = Line(world.projectile, each(8), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[line])
    undo(world, raised)
    # 20 on ten pieces, two of which are left with 4: those go, the other 6 are a price variance.
    pools = CostPool.objects.filter(material=world.projectile)
    assert pools.get(place=world.warehouse).value == 0
    assert pools.get(place=Place.objects.get(code="price-variance")).value == -6_000_000
    assert_book_is_whole()
