"""Tagged fittings: registered once, inspected before each rigging, withdrawn at the company's limit."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, NotFound
from inventory.models import FittingRigging, Material, Place, TaggedFitting
from inventory.services.tagged_fittings import (
    InspectionDiffers,
    Rigged,
    TagTaken,
    approve_fitting_pressure,
    inspect_fitting,
    move_fittings,
    register_fitting,
    rig_fittings,
    set_fitting_limits,
    unrig_fittings,
    withdraw_fitting,
    withdraw_past_limit,
)
from tests.factories.inventory import World, at, make_world

pytestmark = pytest.mark.django_db
MADE = date(2026, 1, 1)


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def pin() -> Material:
    return Material.objects.create(
        code="pin-500", name="Pin connector .500", kind="fitting", stock_unit="1", fitting_role="pressure_end"
    )


def _register(world: World, pin: Material, tag: str = "PF-1", **fields: object) -> TaggedFitting:
    given: dict[str, object] = {
        "material": pin,
        "place": world.vehicle,
        "made_by": "A. Maker",
        "checked_by": "B. Checker",
        "made_date": MADE,
    }
    return register_fitting(tag=tag, **{**given, **fields})  # type: ignore[arg-type]


def _inspect(world: World, hours: float, *, is_passed: bool = True, tag: str = "PF-1") -> None:
    inspect_fitting(id=uuid4(), tag=tag, is_passed=is_passed, by=world.actor, occurred_at=at(hours))


def _rig(world: World, hours: float, reference: str = "report:1") -> Rigged:
    (found,) = rig_fittings(tags=["PF-1"], by=world.actor, occurred_at=at(hours), reference=reference)
    return found


def test_register_fitting_again_gives_the_one_that_stands(world: World, pin: Material) -> None:
    first = _register(world, pin)
    assert _register(world, pin) == first
    with pytest.raises(TagTaken):
        _register(world, pin, made_by="C. Other")


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"tag": " "}, "/tag"),
        ({"tag": "x" * 41}, "/tag"),
        ({"made_by": ""}, "/made_by"),
        ({"checked_by": "A. Maker "}, "/checked_by"),
        ({"uses": -1}, "/uses"),
    ],
)
def test_register_fitting_refuses_by_field(
    world: World, pin: Material, fields: dict[str, object], pointer: str
) -> None:
    with pytest.raises(BadInput) as refusal:
        _register(world, pin, **fields)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]
    assert not TaggedFitting.objects.exists()


def test_register_fitting_refuses_what_is_no_fitting_and_no_place_of_goods(
    world: World, pin: Material
) -> None:
    with pytest.raises(BadInput) as refusal:
        _register(world, world.fluid, place=world.span)
    assert [fault.pointer for fault in refusal.value.faults] == ["/material", "/place"]


def test_maker_and_checker_are_two_below_python_too(world: World, pin: Material) -> None:
    fitting = _register(world, pin)
    with (
        pytest.raises(IntegrityError, match="a_fitting_is_checked_by_another_than_made_it"),
        transaction.atomic(),
    ):
        TaggedFitting.objects.filter(pk=fitting.pk).update(checked_by="A. Maker")


def test_approve_fitting_pressure_names_who_approved(world: World, pin: Material) -> None:
    _register(world, pin)
    fitting = approve_fitting_pressure(tag="PF-1", pressure_kpa=1000.0, by=world.other_actor)
    assert (fitting.approved_pressure_kpa, fitting.approved_by) == (1000.0, world.other_actor)
    for pressure in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(BadInput):
            approve_fitting_pressure(tag="PF-1", pressure_kpa=pressure, by=world.actor)
    with pytest.raises(NotFound):
        approve_fitting_pressure(tag="PF-9", pressure_kpa=1000.0, by=world.actor)


def test_inspect_fitting_again_notes_nothing_and_other_content_is_refused(
    world: World, pin: Material
) -> None:
    fitting, id = _register(world, pin), uuid4()
    for _time in range(2):
        inspect_fitting(id=id, tag="PF-1", is_passed=True, by=world.actor, occurred_at=at(1))
    assert fitting.inspections.count() == 1
    with pytest.raises(InspectionDiffers):
        inspect_fitting(id=id, tag="PF-1", is_passed=False, by=world.actor, occurred_at=at(1))


def test_rig_fittings_holds_an_inspection_for_one_rigging(world: World, pin: Material) -> None:
    _register(world, pin)
    assert not _rig(world, 1, "first").was_inspected
    _inspect(world, 2)
    assert _rig(world, 3, "second").was_inspected
    assert not _rig(world, 4, "third").was_inspected
    assert TaggedFitting.objects.get().uses == 3


def test_rig_fittings_goes_by_moments_not_by_arrival(world: World, pin: Material) -> None:
    _register(world, pin)
    _inspect(world, 2)
    assert _rig(world, 5, "told first").was_inspected
    assert _rig(world, 3, "told late").was_inspected
    assert not _rig(world, 1, "before the inspection").was_inspected


def test_rig_fittings_refuses_no_old_or_failed_inspection(world: World, pin: Material) -> None:
    _register(world, pin)
    _inspect(world, 0)
    assert not _rig(world, 24.1, "a day later").was_inspected
    _inspect(world, 30)
    _inspect(world, 31, is_passed=False)
    assert not _rig(world, 32, "failed").was_inspected


def test_rig_fittings_counts_an_occasion_once(world: World, pin: Material) -> None:
    _register(world, pin, uses=4)
    _inspect(world, 2)
    first, again = _rig(world, 3), _rig(world, 3)
    assert (first.was_inspected, again.was_inspected) == (True, True)
    assert (first.uses, again.uses) == (5, 5)
    assert FittingRigging.objects.count() == 1


def test_rig_fittings_withdraws_at_the_limit_of_uses_only_afterwards(world: World, pin: Material) -> None:
    set_fitting_limits(most_uses=2, longest_age_days=None, inspection_holds_days=1)
    _register(world, pin)
    assert _rig(world, 1, "first").was_in_service
    assert TaggedFitting.objects.get().state == "in_service"
    assert _rig(world, 2, "second").was_in_service
    assert TaggedFitting.objects.get().state == "withdrawn"
    third = _rig(world, 3, "third")
    assert (third.was_in_service, third.uses) == (False, 3)


def test_rig_fittings_tells_of_a_tag_that_nobody_knows(world: World) -> None:
    assert _rig(world, 1).fitting is None


def test_unrig_fittings_takes_the_use_back(world: World, pin: Material) -> None:
    _register(world, pin)
    _rig(world, 1, "wrong")
    _rig(world, 2, "right")
    assert [unrig_fittings(reference="wrong"), unrig_fittings(reference="wrong")] == [1, 0]
    assert TaggedFitting.objects.get().uses == 1


def test_withdraw_fitting_says_when_and_why_once(world: World, pin: Material) -> None:
    _register(world, pin)
    withdraw_fitting(tag="PF-1", reason="thread worn", occurred_at=at(1))
    fitting = withdraw_fitting(tag="PF-1", reason="again", occurred_at=at(2))
    assert (fitting.withdrawn_at, fitting.withdrawn_why) == (at(1), "thread worn")
    with pytest.raises(BadInput):
        withdraw_fitting(tag="PF-1", reason=" ", occurred_at=at(1))


def test_withdraw_past_limit_takes_the_old_and_the_worn(world: World, pin: Material) -> None:
    set_fitting_limits(most_uses=10, longest_age_days=30, inspection_holds_days=1)
    on_date = MADE + timedelta(days=30)
    _register(world, pin, "worn", uses=10)
    _register(world, pin, "good", uses=9)
    _register(world, pin, "old", made_date=MADE - timedelta(days=1))
    gone = withdraw_past_limit(on_date=on_date, occurred_at=at(1))
    assert [fitting.tag for fitting in gone] == ["worn", "old"]
    assert withdraw_past_limit(on_date=on_date, occurred_at=at(1)) == []


@pytest.mark.parametrize(
    ("limits", "pointer"),
    [
        ((0, None, 1), "/most_uses"),
        ((None, -1, 1), "/longest_age_days"),
        ((1, 1, -1), "/inspection_holds_days"),
    ],
)
def test_set_fitting_limits_refuses_by_field(limits: tuple[int, int, int], pointer: str) -> None:
    uses, age, holds = limits
    with pytest.raises(BadInput) as refusal:
        set_fitting_limits(most_uses=uses, longest_age_days=age, inspection_holds_days=holds)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]


def test_move_fittings_says_where_they_lie(world: World, pin: Material) -> None:
    _register(world, pin)
    move_fittings(tags=["PF-1"], place=world.warehouse)
    assert Place.objects.get(tagged_fittings__tag="PF-1") == world.warehouse
