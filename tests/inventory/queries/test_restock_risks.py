"""Which crew-days would stand if nothing is done."""

from datetime import date

import pytest

from inventory.queries.restock import list_restock
from tests.factories.inventory import make_world
from tests.inventory.queries.test_restock import MONDAY, need, ordered

pytestmark = pytest.mark.django_db


def test_list_restock_names_the_days_that_would_stand_and_not_all_later_ones() -> None:
    world = make_world()
    world.drum("D1", 50)
    for day, mean in ((4, 30), (6, 40), (9, 15), (10, 4), (11, 2)):
        need(world, world.fluid, day, mean)
    [line] = list_restock(as_of=MONDAY).lines
    # 20 are left after the 4th: too little for the 6th, enough for the 9th and 10th, and 1 for the 11th.
    assert line.standing == ("crew-day:6", "crew-day:11")
    assert (line.at_risk, line.needs_at_risk) == (line.standing, 2)
    assert [need.chance_to_stand for need in line.needs] == [0, 1, 0, 0, 1]


def test_list_restock_does_not_name_days_after_what_is_on_order() -> None:
    world = make_world()
    world.drum("D1", 10)
    need(world, world.fluid, 4, 30)
    need(world, world.fluid, 20, 30)
    ordered(world, world.fluid, 55, date(2026, 3, 9))
    [line] = list_restock(as_of=MONDAY).lines
    assert line.at_risk == ("crew-day:4",)


def test_list_restock_tells_apart_days_that_would_and_that_might_stand() -> None:
    world = make_world()
    world.drum("D1", 55)
    need(world, world.fluid, 4, 45, variance=100.0)
    need(world, world.fluid, 5, 12)
    [line] = list_restock(as_of=MONDAY).lines
    # The first lacks goods with 16 %, the second with P(Z > -0.2) = 58 %.
    assert line.at_risk == ("crew-day:4", "crew-day:5")
    assert line.standing == ("crew-day:5",)
    assert [round(need.chance_to_stand, 2) for need in line.needs] == [0.16, 0.58]


def test_list_restock_takes_several_rows_of_one_day_for_one_use() -> None:
    world = make_world()
    world.drum("D1", 50)
    need(world, world.fluid, 4, 30)
    need(world, world.fluid, 4, 30)
    need(world, world.fluid, 5, 45)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.at_risk == ("crew-day:4",)
