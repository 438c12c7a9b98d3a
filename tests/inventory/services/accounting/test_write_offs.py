"""Goods above the limit leave the books by two persons."""

from typing import Any
from uuid import UUID, uuid4

import pytest

from inventory.models import Entry, Place, SecondWord
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.write_offs import ask_for_write_down, ask_for_write_off
from inventory.services.corrections import AboveCost, Revaluation, dispose, revalue
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.posting.special_places import get_special_place
from inventory.services.write_off_limit import SecondWordNeeded, set_write_off_limit
from tests.factories.inventory import World, at, each, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = make_world()
    world.loose(world.projectile, each(10), cost=100)
    set_write_off_limit(limit=50_000_000)
    return world


def disposal(world: World, pieces: int) -> dict[str, Any]:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(world.waste))
    return {"id": uuid4(), "by": world.actor, "occurred_at": at(1), "lines": [line], "reason": "soaked"}


def test_dispose_up_to_the_limit_takes_one_person(world: World) -> None:
    dispose(**disposal(world, 5))
    assert held(world.warehouse, world.projectile) == 5_000_000


def test_dispose_above_the_limit_is_refused_and_changes_nothing(world: World) -> None:
    with pytest.raises(SecondWordNeeded, match=r"60\.00 USD off the books; above 50\.00 USD"):
        dispose(**disposal(world, 6))
    assert held(world.warehouse, world.projectile) == 10_000_000
    assert not Entry.objects.filter(kind="disposal").exists()


def test_what_is_gone_already_is_booked_and_somebody_else_is_asked(world: World) -> None:
    entry = dispose(**disposal(world, 6), as_report=True)
    asked = SecondWord.objects.get()
    assert asked.body == {"entry": str(entry.uuid), "value": 60_000_000}
    assert asked.is_granted is None


def test_granting_a_write_off_disposes_once_in_the_name_of_who_asked(world: World) -> None:
    asked = ask_for_write_off(**disposal(world, 6))
    assert held(world.warehouse, world.projectile) == 10_000_000
    for _again in range(2):
        give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(2), is_granted=True)
    assert held(world.warehouse, world.projectile) == 4_000_000
    entry = Entry.objects.get(kind="disposal")
    assert entry.actor == world.actor
    assert entry.reason == "soaked (agreed by Crew)"
    assert list(verify_ledger()) == []


def test_a_refused_write_off_leaves_the_goods(world: World) -> None:
    asked = ask_for_write_off(**disposal(world, 6))
    give_second_word(
        id=asked.uuid, by=world.other_actor, decided_at=at(2), is_granted=False, note="Dry them."
    )
    assert held(world.warehouse, world.projectile) == 10_000_000


@pytest.mark.outside_check("IAS 2 paragraphs 28-33, write-down and its reversal; how known: by hand")
def test_a_write_down_above_the_limit_takes_two_and_may_be_put_back(world: World) -> None:
    changes = [Revaluation(world.projectile, world.warehouse, -60_000_000)]
    write_down = Place.objects.get(code="write-down")
    asking = {"by": world.actor, "occurred_at": at(1), "changes": changes, "reason": "went out of use"}
    with pytest.raises(SecondWordNeeded):
        revalue(id=uuid4(), against=write_down, **asking)
    asked = ask_for_write_down(id=uuid4(), **asking)
    give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(2), is_granted=True)
    assert sum(pool.value for pool in world.warehouse.cost_pools.all()) == 40_000_000
    revalue(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(3),
        changes=[Revaluation(world.projectile, world.warehouse, 60_000_000)],
        against=write_down,
        reason="in use again",
    )
    assert sum(pool.value for pool in world.warehouse.cost_pools.all()) == 100_000_000


def test_value_goes_to_price_variance_above_the_limit_by_no_single_person(world: World) -> None:
    variance = get_special_place(Place.Kind.PRICE_VARIANCE)
    asking = {"by": world.actor, "occurred_at": at(1), "against": variance, "reason": "billed for less"}
    with pytest.raises(SecondWordNeeded):
        revalue(id=uuid4(), changes=[Revaluation(world.projectile, world.warehouse, -60_000_000)], **asking)
    assert sum(pool.value for pool in world.warehouse.cost_pools.all()) == 100_000_000
    revalue(id=uuid4(), changes=[Revaluation(world.projectile, world.warehouse, -50_000_000)], **asking)
    assert sum(pool.value for pool in world.warehouse.cost_pools.all()) == 50_000_000


@pytest.mark.outside_check("IAS 2 paragraph 33, a reversal is limited to the write-down; how known: by hand")
def test_a_write_down_is_put_back_no_further_than_it_went(world: World) -> None:
    set_write_off_limit(limit=None)

    def change(value: int, id: UUID | None = None) -> None:
        revalue(
            id=id or uuid4(),
            by=world.actor,
            occurred_at=at(1),
            changes=[Revaluation(world.projectile, world.warehouse, value)],
            against=Place.objects.get(code="write-down"),
            reason="market",
        )

    change(-30_000_000)
    change(10_000_000)
    with pytest.raises(AboveCost, match=r"puts 0\.000001 more back on Projectile 12 mm at Main yard"):
        change(20_000_001)
    last = uuid4()
    for _again in range(2):
        change(20_000_000, last)
    assert sum(pool.value for pool in world.warehouse.cost_pools.all()) == 100_000_000
