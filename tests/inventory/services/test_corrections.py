"""What value cannot do."""

from uuid import uuid4

import pytest

from inventory.models import CostPool, Place
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import Revaluation, revalue
from inventory.services.lines import WrongPlace
from inventory.services.posting.errors import NothingToRevalue
from tests.factories.inventory import World, at, each, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = make_world(cost_formula="fifo")
    world.loose(world.projectile, each(10), cost=1)
    world.loose(world.projectile, each(10), cost=99, hours=1)
    return world


def write_down(world: World, change: int, place: Place) -> None:
    revalue(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(2),
        changes=[Revaluation(world.projectile, place, change)],
        against=Place.objects.get(code="write-down"),
        reason="damp",
    )


def test_revalue_takes_off_each_lot_in_proportion_to_its_value(world: World) -> None:
    write_down(world, -40_000_000, world.warehouse)
    lots = CostPool.objects.filter(place=world.warehouse, quantity__gt=0).order_by("lot__received_at")
    assert [pool.value for pool in lots] == [600_000, 59_400_000]
    assert list(verify_ledger()) == []


def test_revalue_of_more_than_goods_are_worth_is_refused(world: World) -> None:
    with pytest.raises(NothingToRevalue, match="cannot be taken off"):
        write_down(world, -101_000_000, world.warehouse)


def test_revalue_of_an_outside_place_is_refused(world: World) -> None:
    with pytest.raises(WrongPlace):
        write_down(world, 1, world.supplier)
