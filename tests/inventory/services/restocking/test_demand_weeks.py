"""What was used is the same rolled up and not."""

from datetime import date
from uuid import uuid4

import pytest

from inventory.models import DemandWeek
from inventory.queries.demand_history import UseOfWeek, list_demand, load_demand_history
from inventory.services.goods import draw, return_goods
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.restocking.demand_weeks import roll_up_batch, roll_up_demand
from inventory.services.sealing import seal_all
from tests.factories.inventory import World, at, each, make_world

pytestmark = pytest.mark.django_db
SINCE, BEFORE = date(2026, 1, 5), date(2026, 4, 6)
WEEK = date(2026, 3, 2)


def test_roll_up_demand_changes_nothing_but_where_it_is_read_from() -> None:
    world = make_world()
    used(world, 5, back=2)
    key = (world.warehouse.pk, world.projectile.pk, world.company.pk, WEEK)
    assert listed(world) == [(*key, 3_000_000)]
    seal_all()
    assert roll_up_demand() > 0
    assert DemandWeek.objects.get().used == 3_000_000
    assert listed(world) == [(*key, 3_000_000)]
    used(world, 4, back=0)
    assert listed(world) == [(*key, 3_000_000), (*key, 4_000_000)]
    seal_all()
    assert roll_up_batch() > 0
    assert roll_up_batch() == 0
    assert listed(world) == [(*key, 7_000_000)]
    assert DemandWeek.objects.get().used == 7_000_000


def listed(world: World) -> list[UseOfWeek]:
    return list_demand([world.warehouse.pk], since=SINCE, before=BEFORE)


def used(world: World, amount: int, *, back: int) -> None:
    world.loose(world.projectile, each(amount))
    yard, span = End(world.warehouse), End(world.span)
    taken = Line(world.projectile, each(amount), yard, span)
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[taken])
    if back:
        returned = Line(world.projectile, each(back), span, yard)
        return_goods(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[returned])


def test_load_demand_history_lets_what_came_back_lower_the_weeks_before_it() -> None:
    world = make_world()
    weeks = {date(2026, 2, 16): 9, date(2026, 2, 23): -4, date(2026, 3, 2): 3}
    for week, used_up in weeks.items():
        DemandWeek.objects.create(
            place=world.warehouse,
            material=world.recovered if used_up < 0 else world.fluid,
            owner=world.company,
            week_date=week,
            used=used_up * 1_000_000,
        )
    found = load_demand_history(
        {world.warehouse.pk: world.warehouse.pk},
        before=date(2026, 3, 11),
        weeks=4,
        fresh_forms={world.recovered.pk: (world.fluid.pk, 1.0)},
    )
    row = found.used[found.rows[world.warehouse.pk, world.fluid.pk, world.company.pk]]
    # The week that has begun is left out; nothing is known before the first use.
    assert str((row / 1e6).tolist()) == "[nan, 5.0, 0.0, 3.0]"
