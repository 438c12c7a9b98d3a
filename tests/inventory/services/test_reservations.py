"""Promises, and what they keep others from taking."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Reservation
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End, NotEnoughHeld, PromisedToAnother
from inventory.services.reservations import release, reserve
from tests.factories.inventory import World, at, gal, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def promise(
    world: World, quantity: int, *, holder: str = "crew-b", container: Container | None = None
) -> None:
    reserve(
        holder=holder,
        reference=f"kit of {holder}",
        place=world.warehouse,
        material=world.fluid,
        owner=world.company,
        quantity=quantity * 10**6,
        container=container,
    )


def take(world: World, drum: Container, amount: int, holder: str) -> None:
    line = Line(world.fluid, gal(amount), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], holder=holder)


def test_reserve_an_amount_counts_what_stands_in_drums(world: World) -> None:
    drum = world.drum("D1", 20)
    promise(world, 15)
    with pytest.raises(NotEnoughHeld, match="15 gal is promised to others"):
        take(world, drum, 6, "crew-a")
    take(world, drum, 5, "crew-a")
    take(world, drum, 15, "crew-b")


def test_reserve_an_amount_leaves_out_drums_that_are_promised_whole(world: World) -> None:
    promised, other = world.drum("D1", 50), world.drum("D2", 20)
    promise(world, 50, container=promised)
    with pytest.raises(NotEnoughHeld):
        promise(world, 21, holder="crew-c")
    promise(world, 15, holder="crew-c")
    with pytest.raises(NotEnoughHeld):
        take(world, other, 6, "crew-a")
    with pytest.raises(PromisedToAnother, match="promised to crew-b"):
        take(world, promised, 1, "crew-a")
    take(world, other, 5, "crew-a")


def test_reserve_a_drum_is_refused_where_its_contents_are_promised_as_an_amount(world: World) -> None:
    drum = world.drum("D1", 20)
    promise(world, 15)
    with pytest.raises(NotEnoughHeld, match="has 0 gal"):
        promise(world, 1, holder="crew-c", container=drum)


def test_release_lifts_the_promise(world: World) -> None:
    drum = world.drum("D1", 20)
    promise(world, 20)
    assert release(reference="kit of crew-b") == 1
    assert not Reservation.objects.exists()
    take(world, drum, 20, "crew-a")


@pytest.mark.parametrize("quantity", [0, -5])
def test_reserve_nothing_or_less_is_refused_and_keeps_the_promise_before(world: World, quantity: int) -> None:
    world.drum("D1", 20)
    promise(world, 20)
    with pytest.raises(BadInput, match="more than nothing"):
        promise(world, quantity)
    assert Reservation.objects.get().quantity == 20_000_000
