"""Straining and blending keep the book whole and say what state the fluid is in."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Entry, Recipe, RecipeLine
from inventory.queries.fluid_history import get_history
from inventory.queries.verification import verify_ledger
from inventory.services.fluids.contents import WrongContents
from inventory.services.fluids.straining import make_fluid_by_recipe, strain
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.fluids import catch, make_vessel
from tests.factories.inventory import World, at, each, gal, held

pytestmark = pytest.mark.django_db


def state_of(box: Container) -> str:
    box.refresh_from_db()
    return box.contents_state


def test_strain_leaves_the_residue_worthless_in_the_waste(world: World, caught: Container) -> None:
    clean, waste = make_vessel(world, "C2"), make_vessel(world, "W1")
    id = uuid4()
    for _time in range(2):
        strain(
            id=id,
            by=world.actor,
            occurred_at=at(3),
            source=Container.objects.get(pk=caught.pk),
            target=Container.objects.get(pk=clean.pk),
            taken=gal(20),
            strained=gal("19.5"),
            residue=Container.objects.get(pk=waste.pk),
        )
    assert held(world.warehouse, world.recovered, clean) == 19_500_000
    assert held(world.warehouse, world.recovered, waste) == 500_000
    assert held(world.warehouse, world.recovered, caught) == 0
    assert (state_of(clean), state_of(waste)) == ("strained", "spent")
    entry = Entry.objects.get(uuid=id)
    values = dict(
        entry.movements.filter(target_container__isnull=False).values_list("target_container__label", "value")
    )
    # 20 gal came back at half of 2.00 a gallon.
    assert values == {"C2": 20_000_000, "W1": 0}
    assert list(verify_ledger()) == []


def test_strain_uses_supplies_up_and_adds_their_cost(world: World, caught: Container) -> None:
    world.loose(world.projectile, each(10), cost=30)
    clean = make_vessel(world, "C2")
    bag = Line(world.projectile, each(1), End(world.warehouse), End(world.warehouse))
    entry = strain(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(3),
        source=caught,
        target=clean,
        taken=gal(20),
        strained=gal(20),
        supplies=[bag],
    )
    assert entry.movements.get(target_container=clean).value == 23_000_000


def test_strain_onto_caught_fluid_does_not_make_that_strained(world: World, caught: Container) -> None:
    other = make_vessel(world, "C2")
    catch(world, other, 5, hours=2.5)
    strain(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(3),
        source=caught,
        target=other,
        taken=gal(5),
        strained=gal(5),
    )
    assert state_of(other) == "caught"


def test_strain_in_place_makes_the_vessel_strained(world: World, caught: Container) -> None:
    strain(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(3),
        source=caught,
        target=caught,
        taken=gal(20),
        strained=gal(20),
    )
    assert state_of(caught) == "strained"


def test_strain_refuses_what_cannot_be(world: World, caught: Container) -> None:
    clean, fresh = make_vessel(world, "C2"), world.drum("D2", 20)
    common = {"by": world.actor, "occurred_at": at(3), "target": clean}
    with pytest.raises(BadInput, match="name the vessel of waste"):
        strain(id=uuid4(), source=caught, taken=gal(10), strained=gal(9), **common)
    with pytest.raises(BadInput, match="adds nothing"):
        strain(id=uuid4(), source=caught, taken=gal(10), strained=gal(11), **common)
    with pytest.raises(BadInput, match="not the recovered form"):
        strain(id=uuid4(), source=fresh, taken=gal(1), strained=gal(1), **common)
    with pytest.raises(BadInput, match="holds nothing"):
        strain(id=uuid4(), source=clean, taken=gal(1), strained=gal(1), **common)
    Container.objects.filter(pk=caught.pk).update(contents_state="spent")
    with pytest.raises(WrongContents, match="is spent"):
        strain(id=uuid4(), source=caught, taken=gal(1), strained=gal(1), **common)
    assert held(world.warehouse, world.recovered, caught) == 20_000_000


def test_make_fluid_by_recipe_blends_fresh_into_recovered(world: World, caught: Container) -> None:
    recipe = Recipe.objects.create(code="freshen", name="Recovered fluid freshened")
    for material, gallons, is_output in (
        (world.recovered, 3, False),
        (world.fluid, 1, False),
        (world.recovered, 4, True),
    ):
        RecipeLine.objects.create(
            recipe=recipe, material=material, quantity=gallons * 1_000_000, is_output=is_output
        )
    fresh, target, id = world.drum("D2", 20, cost=40), make_vessel(world, "B1"), uuid4()
    for _time in range(2):
        make_fluid_by_recipe(
            id=id,
            by=world.actor,
            occurred_at=at(3),
            recipe=recipe,
            times=5,
            place=world.warehouse,
            sources=[Container.objects.get(pk=box.pk) for box in (caught, fresh)],
            target=target,
        )
    assert held(world.warehouse, world.recovered, target) == 20_000_000
    assert held(world.warehouse, world.fluid, fresh) == 15_000_000
    assert state_of(target) == "strained"
    assert get_history(target).uses == 1
    assert list(verify_ledger()) == []


def test_make_fluid_by_recipe_refuses_a_vessel_without_its_fluids(world: World, caught: Container) -> None:
    recipe = Recipe.objects.create(code="strain", name="Strained fluid")
    for is_output in (False, True):
        RecipeLine.objects.create(
            recipe=recipe, material=world.recovered, quantity=1_000_000, is_output=is_output
        )
    empty, target = make_vessel(world, "E1"), make_vessel(world, "B1")
    common = {"by": world.actor, "occurred_at": at(3), "recipe": recipe, "place": world.warehouse}
    with pytest.raises(BadInput, match="must hold one of the recipe's materials"):
        make_fluid_by_recipe(id=uuid4(), times=1, sources=[empty], target=target, **common)
    make_fluid_by_recipe(id=uuid4(), times=7, sources=[caught], target=target, **common)
    assert held(world.warehouse, world.recovered, target) == 7_000_000
    assert state_of(target) == "strained"
    RecipeLine.objects.filter(is_output=True).update(material=world.projectile)
    with pytest.raises(BadInput, match="no single fluid"):
        make_fluid_by_recipe(id=uuid4(), times=1, sources=[caught], target=target, **common)
