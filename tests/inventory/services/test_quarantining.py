"""A quarantine holds what it is about and everything that came of it, until somebody else lifts it."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, DomainEvent, Entry, Quarantine
from inventory.money import to_money_millionths
from inventory.queries.quarantine_reach import find_reach
from inventory.services.corrections import dispose
from inventory.services.goods import decant, draw, transfer
from inventory.services.lines import REST, Line
from inventory.services.posting import ContainerHeldBack, End, EntryConflict
from inventory.services.quarantining import (
    NotYoursToLift,
    extend_quarantines,
    lift_quarantine,
    open_quarantine,
)
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.fluids import catch, inject, make_vessel, pour
from tests.factories.inventory import World, at, each, gal, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def hold(world: World, box: Container, *, hours: float = 9, reason: str = "rust in it") -> Quarantine:
    return open_quarantine(id=uuid4(), by=world.actor, occurred_at=at(hours), container=box, reason=reason)


def states(*boxes: Container) -> list[str]:
    for box in boxes:
        box.refresh_from_db()
    return [box.state for box in boxes]


def make_chain(world: World) -> dict[str, Container]:
    """D1 is poured into a pail, the pail injected, and what comes back caught; D2 has no part in it."""
    boxes = {
        "D1": world.drum("D1", 55),
        "D2": world.drum("D2", 55),
        "P1": make_vessel(world, "P1"),
        "C1": make_vessel(world, "C1"),
        "T1": make_vessel(world, "T1"),
        "E1": make_vessel(world, "E1"),
    }
    pour(world, boxes["D1"], boxes["P1"], 20, hours=1)
    inject(world, boxes["P1"], 15, hours=2)
    catch(world, boxes["C1"], 12, hours=3)
    pour(world, boxes["C1"], boxes["T1"], 5, hours=4)
    return boxes


def test_open_quarantine_holds_pours_and_what_came_back_of_the_spans(world: World) -> None:
    boxes = make_chain(world)
    hold(world, boxes["D1"])
    assert states(*boxes.values()) == ["held", "sealed", "held", "held", "held", "clean"]
    reach = find_reach(boxes["D1"])
    assert sorted(box.label for box in reach.containers.values()) == ["C1", "D1", "P1", "T1"]
    (use,) = reach.uses.values()
    assert (use.place, use.quantity, use.first_at) == (world.span, 15_000_000, at(2))
    (event,) = DomainEvent.objects.filter(kind="quarantine_opened")
    assert event.body["held"] == ["C1", "D1", "P1", "T1"]


def test_open_quarantine_leaves_alone_what_was_poured_before(world: World) -> None:
    first, second, third = world.drum("A", 10), make_vessel(world, "B"), make_vessel(world, "C")
    pour(world, first, second, 5, hours=1)
    pour(world, second, third, 2, hours=2)
    late = world.drum("L", 10)
    pour(world, late, second, 3, hours=3)
    hold(world, late)
    assert states(first, second, third, late) == ["open", "held", "open", "held"]


def test_open_quarantine_holds_a_lot_with_all_its_drums(world: World) -> None:
    lot = Container.objects.create(label="LOT-7", kind="lot", material=world.fluid, owner=world.company)
    drums = [
        Container(
            label=label, kind="drum", material=world.fluid, owner=world.company, place=world.warehouse,
            filled_from=lot,
        )
        for label in ("D7", "D8")
    ]  # fmt: skip
    lines = [
        ReceiptLine(world.fluid, gal(55), End(world.warehouse, drum), to_money_millionths(10))
        for drum in drums
    ]
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=world.supplier, lines=lines)
    pail = make_vessel(world, "P1")
    pour(world, drums[0], pail, 5, hours=1)
    hold(world, lot)
    assert states(lot, *drums, pail) == ["held"] * 4


def test_reach_names_goods_of_a_lot_that_lie_loose() -> None:
    world = make_world(cost_formula="fifo")
    lot = Container(label="LOT-7", kind="lot", material=world.projectile, owner=world.company)
    line = ReceiptLine(world.projectile, each(10), End(world.warehouse), to_money_millionths(10), lot)
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=world.supplier, lines=[line])
    used = Line(world.projectile, each(3), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[used])
    reach = find_reach(Container.objects.get(label="LOT-7"))
    assert [(row.place, row.quantity) for row in reach.loose] == [(world.warehouse, 7_000_000)]
    assert [row.quantity for row in reach.uses.values()] == [3_000_000]


def test_held_goods_are_set_apart_and_disposed_of_but_not_used(world: World) -> None:
    drum, pail = world.drum("D1", 20), make_vessel(world, "P1")
    hold(world, drum)
    end = End(world.warehouse, drum)
    with pytest.raises(ContainerHeldBack, match="held back"):
        draw(
            id=uuid4(),
            by=world.actor,
            occurred_at=at(10),
            lines=[Line(world.fluid, gal(1), end, End(world.span))],
        )
    with pytest.raises(ContainerHeldBack):
        decant(
            id=uuid4(),
            by=world.actor,
            occurred_at=at(10),
            lines=[Line(world.fluid, gal(1), end, End(world.warehouse, pail))],
        )
    with pytest.raises(ContainerHeldBack):
        transfer(id=uuid4(), by=world.actor, occurred_at=at(10), containers=[(drum, world.vehicle)])
    transfer(id=uuid4(), by=world.actor, occurred_at=at(10), containers=[(drum, world.second_warehouse)])
    waste = Line(world.fluid, REST, End(world.second_warehouse, drum), End(world.waste))
    dispose(id=uuid4(), by=world.actor, occurred_at=at(11), lines=[waste], document="M-1")


def test_extend_quarantines_holds_what_was_poured_since(world: World) -> None:
    drum, pail, other = world.drum("D1", 20), make_vessel(world, "P1"), make_vessel(world, "P2")
    hold(world, drum)
    pour(world, drum, pail, 5, hours=10)
    assert states(pail) == ["held"]
    pour(world, pail, other, 2, hours=11)
    assert extend_quarantines(by=world.actor, now=at(12)) == 2
    assert extend_quarantines(by=world.actor, now=at(13)) == 0
    quarantine = Quarantine.objects.get()
    lift_quarantine(
        id=uuid4(), by=world.other_actor, occurred_at=at(14), quarantine=quarantine, reason="clean"
    )
    # Whatever they were before, somebody poured from and into them.
    assert states(drum, pail, other) == ["open", "open", "open"]


def test_lift_quarantine_keeps_what_another_one_holds(world: World) -> None:
    first, second, mixed = world.drum("A", 10), world.drum("B", 10), make_vessel(world, "M")
    pour(world, first, mixed, 5, hours=1)
    pour(world, second, mixed, 5, hours=2)
    one, two = hold(world, first), hold(world, second)
    lift_quarantine(
        id=uuid4(), by=world.other_actor, occurred_at=at(10), quarantine=one, reason="lab says fine"
    )
    assert states(first, second, mixed) == ["open", "held", "held"]
    lift_quarantine(id=uuid4(), by=world.other_actor, occurred_at=at(11), quarantine=two, reason="fine too")
    assert states(first, second, mixed) == ["open", "open", "open"]


def test_lift_quarantine_is_not_for_who_caused_it(world: World) -> None:
    quarantine = open_quarantine(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        container=world.drum("D1", 5),
        reason="wrong fluid poured in",
        caused_by=world.other_actor,
    )
    common = {"id": uuid4(), "occurred_at": at(2), "quarantine": quarantine}
    with pytest.raises(NotYoursToLift):
        lift_quarantine(by=world.other_actor, reason="looks fine to me", **common)
    with pytest.raises(BadInput, match="say why"):
        lift_quarantine(by=world.actor, reason=" ", **common)
    assert Quarantine.objects.get().is_open
    for _time in range(2):
        lift_quarantine(by=world.actor, reason="tested", **common)
    with pytest.raises(EntryConflict):
        lift_quarantine(by=world.actor, reason="another story", **common)
    assert Entry.objects.filter(uuid=common["id"]).count() == 1


def test_open_quarantine_sent_again_gives_the_first(world: World) -> None:
    drum, id = world.drum("D1", 5), uuid4()
    common = {"id": id, "by": world.actor, "occurred_at": at(1), "container": drum}
    assert open_quarantine(reason="rust", **common) == open_quarantine(reason="rust", **common)
    with pytest.raises(EntryConflict):
        open_quarantine(reason="salt", **common)
    with pytest.raises(BadInput, match="in quarantine already"):
        hold(world, drum)
    with pytest.raises(BadInput, match="say what the doubt is"):
        hold(world, world.drum("D2", 5), reason="")
    assert Quarantine.objects.count() == 1
