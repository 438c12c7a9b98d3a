"""Received goods followed from lot to lot; rows are written past the service, which makes no such detours."""

from datetime import date
from uuid import uuid4

import pytest

from inventory.models import Container, CostPool, Entry, Material, Movement, Place
from inventory.queries.followed_goods import follow_goods
from tests.factories.inventory import World, at, make_world

pytestmark = pytest.mark.django_db
Purpose = Movement.Purpose


@pytest.fixture
def world(db: None) -> World:
    return make_world()


@pytest.fixture
def lots(world: World) -> list[Container]:
    for number in range(3):
        world.drum(f"D-{number}", 1, cost=1)
    return list(Container.objects.filter(label__startswith="D-").order_by("label"))


def enter(world: World, day: int = 2) -> Entry:
    moment = at(1)
    return Entry.objects.create(
        uuid=uuid4(),
        kind=Entry.Kind.DRAW,
        occurred_at=moment,
        recorded_at=moment,
        booked_date=date(2026, 3, day),
        actor=world.actor,
        fingerprint="0",
    )


def move(
    entry: Entry,
    source: Place,
    target: Place,
    material: Material,
    lot: Container,
    quantity: int,
    purpose: Purpose,
) -> None:
    company = CostPool.objects.filter(owner__is_company=True).values_list("owner", flat=True)[0]
    Movement.objects.create(
        entry=entry,
        line=entry.movements.count() + 1,
        material=material,
        owner_id=company,
        source_place=source,
        target_place=target,
        lot=lot,
        quantity=quantity,
        value=0,
        purpose=purpose,
        effective_at=entry.occurred_at,
    )
    for place, sign in ((source, -1), (target, 1)):
        if place.kind != Place.Kind.PROCESS:
            pool, _is_new = CostPool.objects.get_or_create(
                key=f"{place.pk}:{material.pk}:{lot.pk}",
                defaults={
                    "place": place, "material": material, "owner_id": company, "lot": lot,
                    "quantity": 0, "value": 0, "is_kept": place.keeps_stock,
                },
            )  # fmt: skip
            pool.quantity += sign * quantity
            pool.save()


def find(world: World, receipt: Entry, material: Material) -> dict[tuple[str, int, int], int]:
    heaps = follow_goods([(receipt.pk, material.pk)], closed_until=None)
    codes = dict(Place.objects.values_list("pk", "code"))
    found = {
        (codes[place], of, lot): goods.parts.get((receipt.pk, material.pk), 0)
        for (place, of, lot), goods in heaps.items()
    }
    return {key: quantity for key, quantity in found.items() if quantity}


def test_follow_goods_leaves_other_lots_alone(world: World, lots: list[Container]) -> None:
    fluid, receipt = world.fluid, enter(world)
    move(receipt, world.supplier, world.warehouse, fluid, lots[0], 10, Purpose.RECEIVED)
    move(enter(world), world.supplier, world.warehouse, fluid, lots[1], 10, Purpose.RECEIVED)
    move(enter(world), world.warehouse, world.vehicle, fluid, lots[1], 10, Purpose.MOVED)
    move(enter(world), world.warehouse, world.vehicle, fluid, lots[0], 3, Purpose.MOVED)
    assert find(world, receipt, fluid) == {
        (world.warehouse.code, fluid.pk, lots[0].pk): 7,
        (world.vehicle.code, fluid.pk, lots[0].pk): 3,
    }


def test_follow_goods_goes_on_with_the_lots_that_a_conversion_made(
    world: World, lots: list[Container]
) -> None:
    process = Place.objects.get(code="conversion")
    receipt, first, second = enter(world), enter(world), enter(world)
    move(receipt, world.supplier, world.warehouse, world.fluid, lots[0], 10, Purpose.RECEIVED)
    move(first, world.warehouse, process, world.fluid, lots[0], 10, Purpose.CONVERTED)
    move(first, process, world.warehouse, world.fluid, lots[1], 9, Purpose.CONVERTED)
    move(second, world.warehouse, process, world.fluid, lots[1], 9, Purpose.CONVERTED)
    move(second, process, world.vehicle, world.recovered, lots[2], 8, Purpose.CONVERTED)
    assert find(world, receipt, world.fluid) == {
        (world.vehicle.code, world.recovered.pk, lots[2].pk): 10,
    }


def test_follow_goods_finds_what_comes_back_from_outside_as_another_lot(
    world: World, lots: list[Container]
) -> None:
    outside, receipt, fluid = Place.objects.get(code="variance"), enter(world), world.fluid
    move(receipt, world.supplier, world.warehouse, fluid, lots[0], 10, Purpose.RECEIVED)
    move(enter(world), world.warehouse, outside, fluid, lots[0], 10, Purpose.BOOK_SHORT)
    move(enter(world), outside, world.vehicle, fluid, lots[1], 4, Purpose.FOUND_HERE)
    assert find(world, receipt, fluid) == {
        (outside.code, fluid.pk, 0): 6,
        (world.vehicle.code, fluid.pk, lots[1].pk): 4,
    }
