"""Goods above the limit leave the books by two persons."""

from datetime import date
from typing import Any
from uuid import UUID, uuid4

import pytest

from inventory.models import Company, Container, CostPool, Entry, Place, SecondWord
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.periods import close_period
from inventory.services.accounting.write_offs import ask_for_write_down, ask_for_write_off
from inventory.services.corrections import AboveCost, Revaluation, dispose, revalue, reverse
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.posting.special_places import get_special_place
from inventory.services.second_word import RequestExpired
from inventory.services.write_off_limit import SecondWordNeeded, set_write_off_limit
from tests.factories.inventory import World, at, each, feet, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = make_world()
    world.loose(world.projectile, each(10), cost=100)
    set_write_off_limit(limit=50_000_000, by=world.actor, occurred_at=at(0))
    return world


def disposal(world: World, pieces: int) -> dict[str, Any]:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(world.waste))
    return {"id": uuid4(), "by": world.actor, "occurred_at": at(1), "lines": [line], "reason": "soaked"}


def test_dispose_up_to_the_limit_takes_one_person(world: World) -> None:
    dispose(**disposal(world, 5))
    assert held(world.warehouse, world.projectile) == 5_000_000


def test_dispose_above_the_limit_is_refused_and_changes_nothing(world: World) -> None:
    with pytest.raises(SecondWordNeeded, match=r"60\.00 USD off the books.* above 50\.00 USD"):
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
    Company.objects.update(write_off_limit=None)

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


def write_down(world: World, value: int, *, place: Place | None = None, lot: Container | None = None) -> None:
    revalue(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        changes=[Revaluation(world.projectile, place or world.warehouse, value, lot)],
        against=Place.objects.get(code="write-down"),
        reason="market",
    )


@pytest.fixture
def lots() -> tuple[World, Container, Container]:
    """Two lots of ten at 100 each in one place, cost by lot, no limit for one person."""
    world = make_world(cost_formula="fifo")
    world.loose(world.projectile, each(10), cost=100)
    world.loose(world.projectile, each(10), cost=100, hours=1)
    first, second = (
        pool.lot for pool in CostPool.objects.filter(lot__isnull=False).order_by("lot__received_at")
    )
    assert first is not None
    assert second is not None
    return world, first, second


@pytest.mark.outside_check("IAS 2 paragraphs 29, 33: item by item, up to the original; how known: by hand")
def test_a_write_down_is_put_back_on_its_own_lot_only(lots: tuple[World, Container, Container]) -> None:
    world, first, second = lots
    write_down(world, -30_000_000, lot=first)
    with pytest.raises(AboveCost, match=rf"puts 30\.000000 more back .* \(lot {second.label}\)"):
        write_down(world, 30_000_000, lot=second)
    write_down(world, 30_000_000, lot=first)
    assert [pool.value for pool in CostPool.objects.filter(lot__isnull=False)] == [100_000_000] * 2


@pytest.mark.outside_check(
    "IAS 2 paragraph 33, the lower of cost and value of what is left; how known: by hand"
)
def test_a_write_down_goes_with_the_goods_and_not_with_the_place(
    lots: tuple[World, Container, Container],
) -> None:
    world, first, _second = lots
    write_down(world, -30_000_000, lot=first)
    move = Line(world.projectile, each(4), End(world.warehouse), End(world.vehicle))
    transfer(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[move])
    used = Line(world.projectile, each(3), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[used])
    for place, most in ((world.warehouse, 9_000_000), (world.vehicle, 12_000_000)):
        with pytest.raises(AboveCost, match=r"puts 0\.000001 more back"):
            write_down(world, most + 1, place=place, lot=first)
        write_down(world, most, place=place, lot=first)
    for pool in CostPool.objects.filter(place__in=[world.warehouse, world.vehicle], lot=first):
        assert pool.value == pool.quantity * 10
    assert list(verify_ledger()) == []


def test_small_write_offs_of_the_same_goods_by_one_person_add_up(world: World) -> None:
    dispose(**disposal(world, 3))
    with pytest.raises(SecondWordNeeded, match=r"takes 60\.00 USD off the books"):
        dispose(**disposal(world, 3))
    # Another person, and other goods, count for themselves.
    dispose(**(disposal(world, 3) | {"by": world.other_actor}))
    world.loose(world.fibre, feet(100), cost=40)
    line = Line(world.fibre, feet(100), End(world.warehouse), End(world.waste))
    dispose(**(disposal(world, 0) | {"lines": [line]}))
    assert held(world.warehouse, world.projectile) == 4_000_000


def test_a_write_down_after_a_write_off_of_the_same_goods_adds_up(world: World) -> None:
    dispose(**disposal(world, 3))
    changes = [Revaluation(world.projectile, world.warehouse, -30_000_000)]
    asking = {"by": world.actor, "occurred_at": at(1), "changes": changes, "reason": "dented"}
    with pytest.raises(SecondWordNeeded):
        revalue(id=uuid4(), against=Place.objects.get(code="write-down"), **asking)


def test_what_was_agreed_reversed_or_closed_counts_no_more(world: World) -> None:
    asked = ask_for_write_off(**disposal(world, 2))
    give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(2), is_granted=True)
    mistaken = dispose(**disposal(world, 4))
    reverse(id=uuid4(), by=world.actor, entry=mistaken, reason="another lot")
    dispose(**disposal(world, 4))
    close_period(last_date=date(2026, 3, 2), by=world.actor, occurred_at=at(48))
    dispose(**(disposal(world, 4) | {"occurred_at": at(49)}))
    assert held(world.warehouse, world.projectile) == 0


def test_what_is_gone_bit_by_bit_is_shown_to_somebody_else_with_its_sum(world: World) -> None:
    dispose(**disposal(world, 3), as_report=True)
    assert not SecondWord.objects.exists()
    entry = dispose(**disposal(world, 3), as_report=True)
    asked = SecondWord.objects.get()
    assert asked.body == {"entry": str(entry.uuid), "value": 60_000_000}
    give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(2), is_granted=True)
    dispose(**disposal(world, 2))


def test_a_write_off_that_waited_too_long_is_refused_and_asked_anew(world: World) -> None:
    asked = ask_for_write_off(**disposal(world, 6))
    with pytest.raises(RequestExpired, match="2026-04-01"):
        give_second_word(id=asked.uuid, by=world.other_actor, decided_at=at(24 * 31), is_granted=True)
    assert held(world.warehouse, world.projectile) == 10_000_000
    refused = give_second_word(
        id=asked.uuid, by=world.other_actor, decided_at=at(24 * 31), is_granted=False, note="Too old."
    )
    assert refused.is_granted is False
