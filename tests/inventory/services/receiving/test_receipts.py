"""What came is recorded as what it is; the order stays open for what did not."""

from datetime import datetime
from uuid import UUID, uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, Movement, Order, OrderLine, Party, Place, Receipt
from inventory.queries.expected_receipts import list_expected_receipts
from inventory.queries.order_progress import find_progress
from inventory.queries.supply_areas import find_supply_areas, sum_usable_stock
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import reverse
from inventory.services.documents import DocumentConflict
from inventory.services.orders.life import call_off
from inventory.services.posting import End
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.receipts import receive_delivery
from inventory.units import MILLION, Amount
from tests.factories.inventory import World, at, each, feet, gal, held, make_world
from tests.factories.supply import make_order, make_supplier, make_terms

pytestmark = pytest.mark.django_db
LINE_STATE = tuple[str, int, str]


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def supplier(world: World) -> Party:
    found = make_supplier()
    make_terms(found, world.fluid, unit_cost=10, pack=55)
    make_terms(found, world.projectile, unit_cost=3)
    make_terms(found, world.fibre, unit_cost=1)
    return found


def take_in(
    world: World,
    supplier: Party,
    *lines: ArrivedLine,
    id: UUID | None = None,
    occurred_at: datetime | None = None,
    **more: object,
) -> Receipt:
    return receive_delivery(
        id=id or uuid4(),
        by=world.actor,
        occurred_at=occurred_at or at(24),
        supplier=supplier,
        place=world.warehouse,
        lines=lines,
        **more,  # type: ignore[arg-type]
    )


def lines_of(receipt: Receipt) -> list[tuple[str, int, str]]:
    return [(row.finding, row.quantity // MILLION, row.place.code) for row in receipt.lines.all()]


def awaited(line: OrderLine) -> int:
    return find_progress([line])[line.pk].awaited // MILLION


def state_of(line: OrderLine) -> str:
    return Order.objects.get(pk=line.order_id).state


def usable(world: World, material: object) -> int:
    stock = sum_usable_stock(find_supply_areas(world.warehouse))
    return stock.get((world.warehouse.pk, material.pk, world.company.pk), 0) // MILLION  # type: ignore[attr-defined]


def test_receive_delivery_puts_what_was_ordered_into_stock_at_its_price(
    world: World, supplier: Party
) -> None:
    line = make_order(world, supplier, world.projectile, each(40))
    first = take_in(world, supplier, ArrivedLine(world.projectile, each(15), End(world.warehouse), line))
    assert (awaited(line), state_of(line)) == (25, Order.State.PART_IN)
    take_in(world, supplier, ArrivedLine(world.projectile, each(25), End(world.warehouse), line))
    assert (awaited(line), state_of(line)) == (0, Order.State.ALL_IN)
    assert held(world.warehouse, world.projectile) == 40 * MILLION
    movement = Movement.objects.get(entry=first.entry)
    assert (movement.value, movement.source_place.code) == (45 * MILLION, "supplier:source")
    assert first.entry.document == f"receipt:{first.uuid}"
    row = first.lines.get()
    assert (row.order_line, row.unit_cost, row.quantity) == (line, 3 * MILLION, 15 * MILLION)


def test_receive_delivery_takes_the_price_of_the_delivery_note(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(10))
    came = ArrivedLine(world.projectile, each(10), End(world.warehouse), line, unit_cost=2_500_000)
    receipt = take_in(world, supplier, came)
    assert Movement.objects.get(entry=receipt.entry).value == 25 * MILLION


def test_receive_delivery_parts_what_is_over_from_what_is_awaited(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(40))
    receipt = take_in(world, supplier, ArrivedLine(world.projectile, each(46), End(world.warehouse), line))
    assert lines_of(receipt) == [("sound", 40, "main-yard"), ("over", 6, "quarantine:main-yard")]
    assert (usable(world, world.projectile), state_of(line)) == (40, Order.State.ALL_IN)
    quarantine = Place.objects.get(code="quarantine:main-yard")
    lot = receipt.lines.get(finding="over").container
    assert lot is not None
    assert (lot.kind, lot.state) == (Container.Kind.LOT, Container.State.HELD)
    assert held(quarantine, world.projectile, lot) == 6 * MILLION
    assert list(verify_ledger()) == []


@pytest.mark.parametrize("finding", ["damaged", "short"])
def test_receive_delivery_holds_back_what_is_not_right_and_awaits_it_still(
    world: World, supplier: Party, finding: str
) -> None:
    line = make_order(world, supplier, world.fluid, gal(55))
    drum = Container(
        label="D-7", kind="drum", material=world.fluid, owner=world.company, place=world.warehouse
    )
    came = ArrivedLine(world.fluid, gal(30), End(world.warehouse, drum), line, finding=finding)
    receipt = take_in(world, supplier, came)
    drum.refresh_from_db()
    assert (drum.place.code, drum.state) == ("quarantine:main-yard", Container.State.HELD)  # type: ignore[union-attr]
    assert (awaited(line), state_of(line), usable(world, world.fluid)) == (55, Order.State.SENT, 0)
    areas = find_supply_areas(world.warehouse)
    [expected] = list_expected_receipts(areas, as_of=at(48).date())
    assert (expected.quantity, expected.reference) == (55 * MILLION, line.order.reference)
    assert Movement.objects.get(entry=receipt.entry).value == 0


def test_receive_delivery_keeps_another_size_as_the_material_it_is(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.fluid, gal(55))
    came = ArrivedLine(world.projectile, each(9), End(world.warehouse), line)
    receipt = take_in(world, supplier, came)
    assert lines_of(receipt) == [("wrong", 9, "quarantine:main-yard")]
    assert receipt.lines.get().material == world.projectile
    assert (awaited(line), usable(world, world.projectile)) == (55, 0)


def test_receive_delivery_without_order_waits_for_matching(world: World, supplier: Party) -> None:
    receipt = take_in(world, supplier, ArrivedLine(world.projectile, each(9), End(world.warehouse)))
    assert lines_of(receipt) == [("unordered", 9, "quarantine:main-yard")]
    assert usable(world, world.projectile) == 0


def test_receive_delivery_takes_a_reel_a_little_longer_and_doubts_one_whose_marks_lack(
    world: World, supplier: Party
) -> None:
    line = make_order(world, supplier, world.fibre, feet(10_000))

    def reel(label: str, outer: int, inner: int, stated: int) -> Container:
        return Container(
            label=label,
            kind="reel",
            material=world.fibre,
            owner=world.company,
            place=world.warehouse,
            outer_mark=outer * MILLION,
            inner_mark=inner * MILLION,
            stated_length=stated * MILLION,
            mark_unit="[ft_i]",
        )

    short = reel("R-1", 20_000, 14_900, 5_200)
    sound = reel("R-2", 100, 10_300, 10_150)
    receipt = take_in(
        world,
        supplier,
        ArrivedLine(world.fibre, feet(5_100), End(world.warehouse, short), line),
        ArrivedLine(world.fibre, feet(10_200), End(world.warehouse, sound), line),
    )
    assert lines_of(receipt) == [("short", 5_100, "quarantine:main-yard"), ("sound", 10_200, "main-yard")]
    sound.refresh_from_db()
    marks = (sound.outer_mark, sound.inner_mark, sound.stated_length)
    assert marks == (100 * MILLION, 10_300 * MILLION, 10_150 * MILLION)
    assert state_of(line) == Order.State.ALL_IN


def test_receive_delivery_holds_back_a_whole_drum_that_nobody_awaits(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.fluid, gal(55))
    drums = [
        Container(label=name, kind="drum", material=world.fluid, owner=world.company, place=world.warehouse)
        for name in ("D-1", "D-2")
    ]
    receipt = take_in(
        world,
        supplier,
        *(ArrivedLine(world.fluid, gal(55), End(world.warehouse, drum), line) for drum in drums),
    )
    assert lines_of(receipt) == [("sound", 55, "main-yard"), ("over", 55, "quarantine:main-yard")]


def test_receive_delivery_again_gives_the_first_and_other_content_is_a_conflict(
    world: World, supplier: Party
) -> None:
    line = make_order(world, supplier, world.fluid, gal(110))

    def came() -> ArrivedLine:
        drum = Container(
            label="D-7", kind="drum", material=world.fluid, owner=world.company, place=world.warehouse
        )
        return ArrivedLine(world.fluid, gal(55), End(world.warehouse, drum), line)

    id = uuid4()
    first = take_in(world, supplier, came(), id=id)
    assert take_in(world, supplier, came(), id=id) == first
    with pytest.raises(DocumentConflict):
        take_in(world, supplier, came(), id=id, note="another word")
    assert Entry.objects.count() == 1
    assert awaited(line) == 55


def test_receive_delivery_refuses_another_supplier_and_stores_nothing(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.fluid, gal(55))
    other = make_supplier("depot", "Depot")
    with pytest.raises(BadInput, match="another supplier") as refusal:
        take_in(world, other, ArrivedLine(world.fluid, gal(55), End(world.warehouse), line))
    assert refusal.value.faults[0].pointer == "/lines/0/order"
    with pytest.raises(BadInput, match="finding"):
        take_in(world, supplier, ArrivedLine(world.fluid, gal(5), End(world.warehouse), line, finding="odd"))
    with pytest.raises(BadInput, match="1 to 500 lines"):
        take_in(world, supplier)
    assert not Entry.objects.exists()
    assert not Receipt.objects.exists()
    assert not Place.objects.filter(code__startswith="quarantine:").exists()


def test_reverse_of_a_receipt_awaits_the_goods_again(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(40))
    receipt = take_in(world, supplier, ArrivedLine(world.projectile, each(40), End(world.warehouse), line))
    reverse(id=uuid4(), by=world.actor, entry=receipt.entry, reason="another firm's goods")
    assert (awaited(line), state_of(line)) == (40, Order.State.SENT)
    assert held(world.warehouse, world.projectile) == 0


def test_receive_delivery_after_calling_off_holds_all_of_it_back(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(40))
    call_off(order=line.order, by=world.actor, occurred_at=at(1))
    receipt = take_in(world, supplier, ArrivedLine(world.projectile, each(40), End(world.warehouse), line))
    assert lines_of(receipt) == [("over", 40, "quarantine:main-yard")]
    assert state_of(line) == Order.State.CALLED_OFF


def test_receive_delivery_counts_two_lines_of_one_order_line_together(world: World, supplier: Party) -> None:
    line = make_order(world, supplier, world.projectile, each(10))
    came = [ArrivedLine(world.projectile, Amount(each(6).value, "1"), End(world.warehouse), line)] * 2
    receipt = take_in(world, supplier, *came)
    assert [row[:2] for row in lines_of(receipt)] == [("sound", 6), ("sound", 4), ("over", 2)]
