"""Where the book sees a vessel when words about it come late."""

from uuid import uuid4

import pytest

from inventory.models import Container, Holding
from inventory.queries.verification import verify_ledger
from inventory.services.conversions import Caught, recover
from inventory.services.corrections import reverse
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import World, at, gal, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world(cost_formula="fifo")


def test_change_container_leaves_a_vessel_that_was_moved_since(world: World) -> None:
    drum = world.drum("D1", 10)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(5), containers=[(drum, world.vehicle)])
    late = [(drum, world.second_warehouse)]
    transfer(id=uuid4(), by=world.actor, occurred_at=at(2), containers=late, as_report=True)
    drum.refresh_from_db()
    assert drum.place == world.vehicle
    assert held(world.vehicle, world.fluid, drum) == 10_000_000
    assert list(verify_ledger()) == []


def test_locate_passes_over_a_move_that_was_undone(world: World) -> None:
    drum = world.drum("D1", 10)
    moved = transfer(id=uuid4(), by=world.actor, occurred_at=at(5), containers=[(drum, world.vehicle)])
    reverse(id=uuid4(), by=world.actor, entry=moved, reason="stayed")
    line = Line(world.fluid, gal(1), End(world.site, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[line], as_report=True)
    drum.refresh_from_db()
    assert drum.place == world.site


def test_locate_carries_the_lots_of_a_material_that_nobody_named(world: World) -> None:
    drum = world.drum("D1", 10, cost=20)
    line = Line(world.recovered, gal(1), End(world.vehicle, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[line], as_report=True)
    assert held(world.vehicle, world.fluid, drum) == 10_000_000
    assert list(verify_ledger()) == []


def test_change_container_takes_the_flag_for_settling_along(world: World) -> None:
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(12), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[line], as_report=True)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(3), containers=[(drum, world.vehicle)])
    assert [row.place for row in Holding.objects.filter(is_unsettled=True)] == [world.vehicle]
    found = [Found(world.fluid, gal(0), End(world.vehicle, drum))]
    count(id=uuid4(), by=world.actor, occurred_at=at(4), found=found)
    assert not Holding.objects.filter(is_unsettled=True).exists()


def test_note_contents_lets_a_pour_be_sent_again(world: World) -> None:
    spent = world.drum("D1", 10)
    Container.objects.filter(pk=spent.pk).update(contents_state="spent")
    empty = Container.objects.create(label="E1", kind="drum", owner=world.company, place=world.warehouse)
    id, entries = uuid4(), set()
    for _attempt in range(2):
        ends = [End(world.warehouse, Container.objects.get(pk=drum.pk)) for drum in (spent, empty)]
        entry = decant(
            id=id, by=world.actor, occurred_at=at(1), lines=[Line(world.fluid, gal(3), ends[0], ends[1])]
        )
        entries.add(entry.pk)
    assert len(entries) == 1
    empty.refresh_from_db()
    assert empty.contents_state == "spent"


def test_note_contents_lets_a_catch_be_sent_again(world: World) -> None:
    catch = Container.objects.create(label="C1", kind="drum", owner=world.company, place=world.vehicle)
    id, entries = uuid4(), set()
    for _attempt in range(2):
        end = End(world.vehicle, Container.objects.get(pk=catch.pk))
        caught = [Caught(world.recovered, gal(5), world.span, end)]
        entries.add(recover(id=id, by=world.actor, occurred_at=at(1), caught=caught).pk)
    assert len(entries) == 1
