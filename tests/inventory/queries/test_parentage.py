"""From where a drum's contents came and where they went."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Entry, Material
from inventory.queries.parentage import Pour, find_destinations, find_parents
from inventory.services.conversions import Caught, convert, recover
from inventory.services.corrections import reverse
from inventory.services.goods import decant, draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import World, at, gal, make_world

pytestmark = pytest.mark.django_db


def pour(world: World, source: Container, target: Container, amount: int, *, hours: float) -> Entry:
    ends = (End(world.warehouse, source), End(world.warehouse, target))
    line = Line(world.fluid, gal(amount), *ends)
    return decant(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def empty_drum(world: World, label: str, material: Material | None = None) -> Container:
    return Container.objects.create(
        label=label, kind="drum", material=material, owner=world.company, place=world.warehouse, state="clean"
    )


def sources(pours: list[Pour]) -> list[tuple[int, str, int]]:
    return [
        (row.depth, str(row.source_container or row.source_place), row.quantity // 1_000_000) for row in pours
    ]


def targets(pours: list[Pour]) -> list[tuple[int, str, int]]:
    return [
        (row.depth, str(row.target_container or row.target_place), row.quantity // 1_000_000) for row in pours
    ]


def test_find_parents_goes_back_pour_by_pour_to_the_supplier() -> None:
    world = make_world()
    first, second = world.drum("A", 55), world.drum("B", 30)
    mixed, pail = empty_drum(world, "M"), empty_drum(world, "P")
    pour(world, first, mixed, 10, hours=1)
    pour(world, second, mixed, 20, hours=2)
    pour(world, mixed, pail, 5, hours=3)
    assert sources(find_parents(pail)) == [
        (1, "M", 5),
        (2, "A", 10),
        (2, "B", 20),
        (3, "Supplier 1", 55),
        (3, "Supplier 1", 30),
    ]
    assert {row.purpose for row in find_parents(pail)} == {"poured", "received"}


def test_find_parents_leaves_out_what_was_poured_in_later() -> None:
    world = make_world()
    first, second, mixed, pail = (
        world.drum("A"),
        world.drum("B"),
        empty_drum(world, "M"),
        empty_drum(world, "P"),
    )
    pour(world, first, mixed, 10, hours=1)
    pour(world, mixed, pail, 5, hours=2)
    pour(world, second, mixed, 20, hours=3)
    assert [name for _depth, name, _amount in sources(find_parents(pail))] == ["M", "A", "Supplier 1"]
    assert [name for depth, name, _amount in sources(find_parents(mixed)) if depth == 1] == ["A", "B"]


def test_find_parents_ends_where_drums_were_poured_to_and_fro() -> None:
    world = make_world()
    first, second = world.drum("A", 30), world.drum("B", 10)
    pour(world, first, second, 5, hours=1)
    pour(world, second, first, 3, hours=2)
    assert sources(find_parents(first)) == [
        (1, "Supplier 1", 30),
        (1, "B", 3),
        (2, "Supplier 1", 10),
        (2, "A", 5),
    ]


def test_find_parents_does_not_take_a_move_or_a_reversed_pour_for_a_pour() -> None:
    world = make_world()
    first, second, mixed = world.drum("A"), world.drum("B"), empty_drum(world, "M")
    pour(world, first, mixed, 10, hours=1)
    wrong = pour(world, second, mixed, 7, hours=2)
    reverse(id=uuid4(), by=world.actor, entry=wrong, reason="wrong drum")
    transfer(id=uuid4(), by=world.actor, occurred_at=at(4), containers=[(mixed, world.vehicle)])
    assert sources(find_parents(mixed)) == [(1, "A", 10), (2, "Supplier 1", 55)]


def test_find_parents_goes_through_a_conversion_to_its_inputs() -> None:
    world = make_world()
    drum, catch = world.drum("A", 55), empty_drum(world, "C", world.recovered)
    yard = world.warehouse
    lines = (Line(world.fluid, gal(8), End(yard, drum), End(yard, drum)),)
    outputs = (Line(world.recovered, gal(8), End(yard, catch), End(yard, catch)),)
    convert(id=uuid4(), by=world.actor, occurred_at=at(1), inputs=lines, outputs=outputs)
    assert sources(find_parents(catch)) == [(1, "A", 8), (2, "Supplier 1", 55)]
    assert targets(find_destinations(drum)) == [(1, "C", 8)]


def test_find_parents_of_recovered_fluid_names_the_span_it_came_from() -> None:
    world = make_world()
    drum, catch = world.drum("A", 55), empty_drum(world, "C")
    line = Line(world.fluid, gal(20), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    caught = Caught(world.recovered, gal(6), world.span, End(world.warehouse, catch))
    recover(id=uuid4(), by=world.actor, occurred_at=at(2), caught=[caught])
    assert [(row.source_place, row.material, row.purpose) for row in find_parents(catch)] == [
        (world.span, world.fluid, "recovered")
    ]


def test_find_destinations_follows_the_contents_and_not_what_was_there_before() -> None:
    world = make_world()
    drum, mixed = world.drum("A", 55), world.drum("M", 10)
    early = Line(world.fluid, gal(2), End(world.warehouse, mixed), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[early])
    pour(world, drum, mixed, 10, hours=2)
    late = Line(world.fluid, gal(4), End(world.warehouse, mixed), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[late])
    assert targets(find_destinations(drum)) == [(1, "M", 10), (2, "Span 1", 4)]


@pytest.mark.parametrize("count", [1, 10])
def test_find_parents_asks_as_often_however_many_drums_were_poured_in(count: int) -> None:
    world = make_world()
    mixed = empty_drum(world, "M")
    for number in range(count):
        pour(world, world.drum(f"D{number}", 5), mixed, 1, hours=number + 1)
    with CaptureQueriesContext(connection) as captured:
        found = find_parents(mixed)
        assert len(sources(found)) == 2 * count
    # One for the pours into M, one for what came into the drums; no conversion, so none for its inputs.
    assert len(captured) == 2
