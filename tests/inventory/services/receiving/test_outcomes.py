"""What becomes of goods held back: kept, matched, refused, sent back."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import (
    Container,
    CostPool,
    Entry,
    HeldOutcome,
    Material,
    Order,
    Party,
    Place,
    ReceivedLine,
)
from inventory.queries.order_progress import find_progress
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import reverse
from inventory.services.posting import End
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.outcomes import Decision, NotHeldBack, decide_held, find_held_quantity
from inventory.services.receiving.receipts import receive_delivery
from inventory.units import MILLION
from tests.factories.inventory import World, at, each, gal, held, make_world
from tests.factories.supply import make_order, make_supplier, make_terms

pytestmark = pytest.mark.django_db


@pytest.fixture(params=["weighted_average", "fifo"])
def world(request: pytest.FixtureRequest) -> World:
    return make_world(cost_formula=request.param)


@pytest.fixture
def supplier(world: World) -> Party:
    found = make_supplier()
    make_terms(found, world.fluid, unit_cost=10, pack=55)
    make_terms(found, world.projectile, unit_cost=3)
    return found


def hold(world: World, supplier: Party, line: ArrivedLine) -> ReceivedLine:
    receipt = receive_delivery(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(24),
        supplier=supplier,
        place=world.warehouse,
        lines=[line],
    )
    return receipt.lines.exclude(finding="sound").get()


def decide(world: World, line: ReceivedLine, outcome: str, **more: object) -> HeldOutcome:
    decision = Decision(outcome, **more)  # type: ignore[arg-type]
    return decide_held(id=uuid4(), by=world.actor, occurred_at=at(30), received_line=line, decision=decision)


def value_at(place: Place, material: Material) -> int:
    return sum(CostPool.objects.filter(place=place, material=material).values_list("value", flat=True))


def test_kept_damaged_goods_fill_their_order_line_at_the_agreed_price(world: World, supplier: Party) -> None:
    world.loose(world.projectile, each(10), cost=30)
    ordered = make_order(world, supplier, world.projectile, each(10))
    came = ArrivedLine(world.projectile, each(10), End(world.warehouse), ordered, finding="damaged")
    line = hold(world, supplier, came)
    outcome = decide(world, line, "kept", amount=each(4), unit_cost=1_500_000)
    assert find_progress([ordered])[ordered.pk].awaited == 6 * MILLION
    assert Order.objects.get(pk=ordered.order_id).state == Order.State.PART_IN
    assert held(world.warehouse, world.projectile) == 14 * MILLION
    assert value_at(world.warehouse, world.projectile) == 36 * MILLION
    assert find_held_quantity(line) == 6 * MILLION
    reverse(id=uuid4(), by=world.actor, entry=outcome.entry, reason="not agreed after all")
    assert find_held_quantity(line) == 10 * MILLION
    assert find_progress([ordered])[ordered.pk].awaited == 10 * MILLION
    assert list(verify_ledger()) == []


def test_kept_wrong_goods_leave_the_order_open(world: World, supplier: Party) -> None:
    ordered = make_order(world, supplier, world.fluid, gal(55))
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse), ordered))
    decide(world, line, "kept", unit_cost=2 * MILLION)
    assert find_progress([ordered])[ordered.pk].awaited == 55 * MILLION
    assert value_at(world.warehouse, world.projectile) == 16 * MILLION


def test_kept_drum_goes_where_it_was_to_go_with_what_is_in_it(world: World, supplier: Party) -> None:
    ordered = make_order(world, supplier, world.fluid, gal(55))
    drum = Container(
        label="D-7", kind="drum", material=world.fluid, owner=world.company, place=world.warehouse
    )
    came = ArrivedLine(world.fluid, gal(40), End(world.warehouse, drum), ordered, finding="short")
    line = hold(world, supplier, came)
    with pytest.raises(BadInput, match="as a whole"):
        decide(world, line, "kept", amount=gal(10), unit_cost=10 * MILLION)
    decide(world, line, "kept", unit_cost=9 * MILLION)
    drum.refresh_from_db()
    assert (drum.place, drum.state) == (world.warehouse, Container.State.SEALED)
    assert held(world.warehouse, world.fluid, drum) == 40 * MILLION
    assert value_at(world.warehouse, world.fluid) == 360 * MILLION
    assert find_progress([ordered])[ordered.pk].awaited == 15 * MILLION
    assert list(verify_ledger()) == []


def test_matched_goods_fill_the_order_they_are_for_at_its_price(world: World, supplier: Party) -> None:
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse)))
    ordered = make_order(world, supplier, world.projectile, each(8))
    with pytest.raises(BadInput, match="order line"):
        decide(world, line, "matched")
    decide(world, line, "matched", serves=ordered)
    assert Order.objects.get(pk=ordered.order_id).state == Order.State.ALL_IN
    assert value_at(world.warehouse, world.projectile) == 24 * MILLION


def test_matched_goods_must_be_of_that_material_and_supplier(world: World, supplier: Party) -> None:
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse)))
    of_fluid = make_order(world, supplier, world.fluid, gal(55))
    other = make_supplier("depot", "Depot")
    make_terms(other, world.projectile)
    of_other = make_order(world, other, world.projectile, each(8))
    for ordered, told in ((of_fluid, "came"), (of_other, "another supplier")):
        with pytest.raises(BadInput, match=told):
            decide(world, line, "matched", serves=ordered)
    assert not HeldOutcome.objects.exists()


def test_goods_sent_back_leave_with_the_credit_that_is_expected(world: World, supplier: Party) -> None:
    ordered = make_order(world, supplier, world.projectile, each(10))
    came = ArrivedLine(world.projectile, each(10), End(world.warehouse), ordered, finding="damaged")
    line = hold(world, supplier, came)
    usual = decide(world, line, "sent_back", amount=each(4))
    agreed = decide(world, line, "sent_back", expected_credit=5 * MILLION)
    assert (usual.expected_credit, agreed.expected_credit) == (12 * MILLION, 5 * MILLION)
    assert (usual.entry.kind, usual.entry.document) == (Entry.Kind.RETURN, f"receipt:{line.receipt.uuid}")
    assert held(line.place, world.projectile, line.container) == 0
    assert Container.objects.get(pk=line.container_id).state == Container.State.GONE
    assert find_progress([ordered])[ordered.pk].awaited == 10 * MILLION
    assert list(verify_ledger()) == []


def test_refused_drum_is_gone_and_nothing_is_credited(world: World, supplier: Party) -> None:
    drum = Container(
        label="D-7", kind="drum", material=world.fluid, owner=world.company, place=world.warehouse
    )
    line = hold(world, supplier, ArrivedLine(world.fluid, gal(55), End(world.warehouse, drum)))
    outcome = decide(world, line, "refused")
    drum.refresh_from_db()
    assert (outcome.expected_credit, drum.state) == (None, Container.State.GONE)
    assert held(line.place, world.fluid, drum) == 0


def test_decide_held_refuses_more_than_is_held_and_a_second_time(world: World, supplier: Party) -> None:
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse)))
    with pytest.raises(NotHeldBack, match="8 each"):
        decide(world, line, "refused", amount=each(9))
    decide(world, line, "refused")
    with pytest.raises(NotHeldBack, match="0 each"):
        decide(world, line, "refused")


def test_decide_held_names_what_is_missing(world: World, supplier: Party) -> None:
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse)))
    for outcome, pointer in (("kept", "/unit_cost"), ("sent_back", "/expected_credit"), ("lost", "/outcome")):
        with pytest.raises(BadInput) as refusal:
            decide(world, line, outcome)
        assert refusal.value.faults[0].pointer == pointer
    assert find_held_quantity(line) == 8 * MILLION


def test_decide_held_again_gives_the_first_answer(world: World, supplier: Party) -> None:
    line = hold(world, supplier, ArrivedLine(world.projectile, each(8), End(world.warehouse)))
    arguments = {
        "id": uuid4(),
        "by": world.actor,
        "occurred_at": at(30),
        "received_line": line,
        "decision": Decision("kept", unit_cost=MILLION),
    }
    first = decide_held(**arguments)  # type: ignore[arg-type]
    assert decide_held(**arguments) == first  # type: ignore[arg-type]
    assert held(world.warehouse, world.projectile) == 8 * MILLION
