"""What of the tagged fittings a kit may still plan with."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import NotFound
from inventory.models import Material, Place, TaggedFitting
from inventory.queries.tagged_fittings import (
    find_usable_tagged_fittings,
    get_tagged_fitting,
    list_usable_tagged_fittings,
)
from inventory.services.tagged_fittings import (
    hold_fitting,
    inspect_fitting,
    rig_fittings,
    set_fitting_limits,
    withdraw_fitting,
)
from tests.factories.inventory import World, at, make_world

pytestmark = pytest.mark.django_db
DAY = at(0).date()


@pytest.fixture
def world() -> World:
    return make_world()


def _fitting(world: World, tag: str, *, uses: int = 0, made: date = DAY, place: Place | None = None) -> None:
    material, _new = Material.objects.get_or_create(
        code="pin-500",
        defaults={
            "name": "Pin connector",
            "kind": "fitting",
            "stock_unit": "1",
            "fitting_role": "pressure_end",
        },
    )
    TaggedFitting.objects.create(
        tag=tag,
        material=material,
        made_by="A",
        checked_by="B",
        made_date=made,
        place=place or world.warehouse,
        uses=uses,
    )


def _tags(world: World, on_date: date = DAY) -> list[str]:
    return [row.fitting.tag for row in list_usable_tagged_fittings(world.warehouse, on_date)]


def test_list_usable_leaves_out_what_is_at_its_limit_of_uses(world: World) -> None:
    set_fitting_limits(most_uses=3, longest_age_days=None, inspection_holds_days=1)
    for uses in (1, 2, 3):
        _fitting(world, f"used-{uses}", uses=uses)
    assert _tags(world) == ["used-2", "used-1"]


def test_list_usable_goes_by_the_age_on_that_day(world: World) -> None:
    set_fitting_limits(most_uses=None, longest_age_days=10, inspection_holds_days=1)
    _fitting(world, "PF-1")
    assert _tags(world, DAY + timedelta(days=10)) == ["PF-1"]
    assert _tags(world, DAY + timedelta(days=11)) == []
    assert _tags(world, DAY - timedelta(days=1)) == []


def test_list_usable_leaves_out_what_is_withdrawn_held_or_failed(world: World) -> None:
    for tag in ("gone", "held", "failed", "good"):
        _fitting(world, tag)
    withdraw_fitting(tag="gone", reason="cracked", occurred_at=at(0))
    hold_fitting(tag="held", is_held=True)
    inspect_fitting(id=uuid4(), tag="failed", is_passed=False, by=world.actor, occurred_at=at(0))
    assert _tags(world) == ["good"]
    hold_fitting(tag="held", is_held=False)
    inspect_fitting(id=uuid4(), tag="failed", is_passed=True, by=world.actor, occurred_at=at(1))
    assert _tags(world) == ["failed", "good", "held"]


def test_list_usable_says_what_is_left_and_what_no_limit_is_set_for(world: World) -> None:
    _fitting(world, "PF-1", uses=7)
    (row,) = list_usable_tagged_fittings(world.warehouse, DAY)
    assert (row.uses_left, row.days_left, row.approved_pressure_kpa) == (None, None, None)
    set_fitting_limits(most_uses=10, longest_age_days=5, inspection_holds_days=1)
    (row,) = list_usable_tagged_fittings(world.warehouse, DAY + timedelta(days=2))
    assert (row.uses_left, row.days_left) == (3, 3)


def test_list_usable_wants_an_inspection_after_each_rigging(world: World) -> None:
    _fitting(world, "PF-1")
    needs = []
    for step in ("new", "inspected", "rigged"):
        if step == "inspected":
            inspect_fitting(id=uuid4(), tag="PF-1", is_passed=True, by=world.actor, occurred_at=at(1))
        elif step == "rigged":
            rig_fittings(tags=["PF-1"], by=world.actor, occurred_at=at(2), reference="r")
        needs.append(list_usable_tagged_fittings(world.warehouse, DAY)[0].needs_inspection)
    assert needs == [True, False, True]


def test_list_usable_looks_into_bins_and_not_elsewhere(world: World) -> None:
    shelf = Place.objects.create(code="shelf", name="Shelf", kind="bin", parent=world.warehouse)
    _fitting(world, "here")
    _fitting(world, "in-bin", place=shelf)
    _fitting(world, "on-truck", place=world.vehicle)
    found = find_usable_tagged_fittings([world.warehouse, world.vehicle, world.second_warehouse], DAY)
    tags = {key: [row.fitting.tag for row in rows] for key, rows in found.items()}
    assert tags == {
        world.warehouse.pk: ["here", "in-bin"],
        world.vehicle.pk: ["on-truck"],
        world.second_warehouse.pk: [],
    }


def test_find_usable_takes_as_many_queries_for_ten_fittings_as_for_one(world: World) -> None:
    counts = []
    for many in (1, 10):
        for number in range(many):
            _fitting(world, f"PF-{many}-{number}")
        with CaptureQueriesContext(
            connection,
        ) as queries:
            list_usable_tagged_fittings(world.warehouse, DAY)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_get_tagged_fitting_knows_it_by_its_tag(world: World) -> None:
    _fitting(world, "PF-1")
    assert get_tagged_fitting("PF-1").place == world.warehouse
    with pytest.raises(NotFound):
        get_tagged_fitting("PF-2")
