"""What planners say will be needed."""

from datetime import date

import pytest

from inventory.models import Requirement
from inventory.services.requirements import NeededMaterial, replace_many_requirements, replace_requirements
from tests.factories.inventory import World, make_world

pytestmark = pytest.mark.django_db


def _row(world: World, mean: int) -> NeededMaterial:
    return NeededMaterial(world.fluid, world.company, world.warehouse, date(2026, 3, 3), mean)


def _means() -> list[tuple[str, int]]:
    return list(Requirement.objects.order_by("reference", "mean").values_list("reference", "mean"))


def test_replace_requirements_puts_rows_in_the_place_of_the_old_ones() -> None:
    world = make_world()
    replace_requirements(reference="a", rows=[_row(world, 1), _row(world, 2)])
    replace_requirements(reference="b", rows=[_row(world, 3)])
    replace_requirements(reference="a", rows=[_row(world, 4)])
    assert _means() == [("a", 4), ("b", 3)]


def test_replace_requirements_by_nothing_drops_them() -> None:
    world = make_world()
    replace_requirements(reference="a", rows=[_row(world, 1)])
    replace_requirements(reference="a", rows=[])
    assert _means() == []


def test_replace_many_requirements_takes_more_references_than_one_statement() -> None:
    world = make_world()
    replace_many_requirements(
        rows_by_reference={f"day:{number}": [_row(world, number)] for number in range(1, 1203)}
    )
    assert len(_means()) == 1202
