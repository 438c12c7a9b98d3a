"""What a counter comes across that nobody asked for."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Actor, Container, CountSheet, Entry, LineCount, Movement
from inventory.services.counting.entering import AnotherMustCount, Finding, enter_count
from inventory.services.counting.finding import Come, NewVessel, add_found
from inventory.services.counting.sheets import (
    SheetClosed,
    drop_count_sheet,
    list_lines_to_count,
    make_count_sheet,
    post_count_sheet,
)
from inventory.services.documents import DocumentConflict
from inventory.services.goods import transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.short_codes import make_short_code, read_short_code
from inventory.units import MILLION, parse_amount
from tests.factories.inventory import World, at, each, gal, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = make_world()
    world.drum("D-1", 55, cost=550)
    world.loose(world.projectile, each(100), cost=200)
    return world


@pytest.fixture
def sheet(world: World) -> CountSheet:
    """Projectiles only; the drum stands there too, and nobody asked for it."""
    return make_count_sheet(
        id=uuid4(), by=world.actor, occurred_at=at(10), place=world.warehouse, materials=[world.projectile]
    )


def find(world: World, sheet: CountSheet, come: Come, finding: Finding, **more: object) -> LineCount:
    fields = {"id": uuid4(), "by": world.actor, "counted_at": at(12), **more}
    return add_found(sheet=sheet, come=come, finding=finding, **fields)  # type: ignore[arg-type]


def count_again(world: World, line: LineCount, finding: Finding, by: Actor | None = None) -> LineCount:
    return enter_count(
        id=uuid4(), by=by or world.other_actor, counted_at=at(13), line=line.line, finding=finding
    )


def post(world: World, sheet: CountSheet, reasons: dict[int, str] | None = None) -> CountSheet:
    enter_count(
        id=uuid4(),
        by=world.actor,
        counted_at=at(12),
        line=sheet.lines.get(position=1),
        finding=Finding(each(100)),
    )
    return post_count_sheet(sheet=sheet, by=world.actor, occurred_at=at(20), reasons=reasons)


def test_what_is_found_as_the_book_says_is_taken_without_a_word(world: World, sheet: CountSheet) -> None:
    drum = Container.objects.get(label="D-1")
    come = Come(world.warehouse, world.fluid, container=drum)
    found = find(world, sheet, come, Finding(gal(55)))
    assert (found.line.position, found.line.is_found, found.book_quantity) == (2, True, 55 * MILLION)
    assert post(world, sheet).state == CountSheet.State.POSTED


def test_what_the_book_does_not_know_is_counted_by_another_and_given_a_reason(
    world: World, sheet: CountSheet
) -> None:
    come = Come(world.warehouse, world.fluid)
    id = uuid4()
    found = find(world, sheet, come, Finding(gal(3)), id=id)
    assert find(world, sheet, come, Finding(gal(3)), id=id) == found
    with pytest.raises(DocumentConflict):
        find(world, sheet, come, Finding(gal(4)), id=id)
    assert (found.book_quantity, sheet.lines.count()) == (0, 2)
    with pytest.raises(AnotherMustCount):
        count_again(world, found, Finding(gal(3)), by=world.actor)
    assert [line.position for line in list_lines_to_count(sheet)] == [1, 2]
    count_again(world, found, Finding(gal(3)))
    with pytest.raises(BadInput, match="differs by 3"):
        post(world, sheet)
    post_count_sheet(sheet=sheet, by=world.actor, occurred_at=at(20), reasons={2: "poured out of a pail"})
    assert held(world.warehouse, world.fluid) == 3 * MILLION
    assert Movement.objects.get(purpose="counted").entry.reason == "poured out of a pail"


def test_a_drum_without_label_gets_its_short_code_and_is_counted_by_weighing(
    world: World, sheet: CountSheet
) -> None:
    vessel = NewVessel("drum", capacity=gal(55), tare_kg=20.0)
    weighed = Finding(parse_amount("231.9", "kg"), method="weighed", temperature_c=15.0)
    found = find(world, sheet, Come(world.warehouse, world.fluid, vessel=vessel), weighed)
    drum = found.line.container
    assert drum is not None
    assert drum.label == make_short_code(drum.pk)
    assert read_short_code(drum.label) == drum.pk
    assert (drum.kind, drum.capacity, drum.tare_kg, drum.state) == ("drum", 55 * MILLION, 20.0, "open")
    # 211.9 kg of 1020 kg/m3 is 207.7 L.
    assert found.quantity / MILLION == pytest.approx(54.88, abs=0.02)
    assert not Entry.objects.filter(kind="count").exists()
    count_again(world, found, weighed)
    post(world, sheet, {2: "its label was washed off"})
    assert held(world.warehouse, world.fluid, drum) == found.quantity


def test_a_container_that_the_book_has_elsewhere_is_found_here(world: World, sheet: CountSheet) -> None:
    drum = Container.objects.get(label="D-1")
    north = world.second_warehouse
    transfer(
        id=uuid4(), by=world.actor, occurred_at=at(5),
        lines=[Line(world.projectile, each(1), End(world.warehouse), End(north))],
    )  # fmt: skip
    elsewhere = make_count_sheet(
        id=uuid4(), by=world.actor, occurred_at=at(10), place=north, materials=[world.projectile]
    )
    found = find(world, elsewhere, Come(north, world.fluid, container=drum), Finding(gal(55)))
    assert found.book_quantity == 55 * MILLION
    enter_count(
        id=uuid4(), by=world.actor, counted_at=at(12), line=elsewhere.lines.get(position=1),
        finding=Finding(each(1)),
    )  # fmt: skip
    post_count_sheet(sheet=elsewhere, by=world.actor, occurred_at=at(20))
    drum.refresh_from_db()
    assert drum.place == north
    assert held(north, world.fluid, drum) == 55 * MILLION
    assert held(world.warehouse, world.fluid, drum) == 0


def test_add_found_refuses_what_cannot_be(world: World, sheet: CountSheet) -> None:
    drum = Container.objects.get(label="D-1")
    cases = {
        "/place": Come(world.second_warehouse, world.fluid),
        "/material": Come(world.warehouse, world.projectile),
        "/owner": Come(world.warehouse, world.fluid, owner=world.customer, container=drum),
        "/vessel": Come(world.warehouse, world.fluid, container=drum, vessel=NewVessel("drum")),
        "/vessel/kind": Come(world.warehouse, world.fluid, vessel=NewVessel("reel")),
        "/vessel/label": Come(world.warehouse, world.fluid, vessel=NewVessel("drum", "D-1")),
    }
    for pointer, come in cases.items():
        with pytest.raises(BadInput) as refusal:
            find(world, sheet, come, Finding(gal(3)))
        assert [fault.pointer for fault in refusal.value.faults] == [pointer]
    with pytest.raises(BadInput, match="less than nothing"):
        find(world, sheet, Come(world.warehouse, world.fluid, vessel=NewVessel("pail")), Finding(gal(-1)))
    assert (sheet.lines.count(), Container.objects.count()) == (1, 1)
    drop_count_sheet(sheet=sheet, by=world.actor, occurred_at=at(20))
    sheet.refresh_from_db()
    assert list_lines_to_count(sheet) == []
    with pytest.raises(SheetClosed):
        find(world, sheet, Come(world.warehouse, world.fluid), Finding(gal(3)))
