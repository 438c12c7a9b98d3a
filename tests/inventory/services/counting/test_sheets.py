"""Count plans, blind sheets, second counts by another person, and what is posted."""

from datetime import timedelta
from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import (
    Actor,
    Container,
    CountPlan,
    CountReading,
    CountSheet,
    Entry,
    LineCount,
    Movement,
)
from inventory.queries.company import get_today
from inventory.queries.count_due import list_due_counts
from inventory.queries.record_accuracy import list_accuracy
from inventory.services.counting.entering import (
    AlreadyCounted,
    AnotherMustCount,
    Finding,
    enter_count,
)
from inventory.services.counting.plans import USUAL_RULES, ClassRule, CountPlanChanged, save_count_plan
from inventory.services.counting.sheets import (
    NothingToCount,
    SheetClosed,
    SheetNotCounted,
    drop_count_sheet,
    find_standing,
    make_count_sheet,
    post_count_sheet,
)
from inventory.services.documents import DocumentConflict
from inventory.services.goods import draw
from inventory.services.lines import Line, WrongPlace
from inventory.services.posting import End
from inventory.units import MILLION, parse_amount
from tests.factories.inventory import World, at, each, gal, held, make_world

pytestmark = pytest.mark.django_db
DAY = at(0).date()


@pytest.fixture
def world() -> World:
    found = make_world()
    found.loose(found.projectile, each(100), cost=200)
    found.drum("D-1", 55, cost=550)
    return found


@pytest.fixture
def sheet(world: World) -> CountSheet:
    """Two lines: the drum, then the projectiles, by the codes of their materials."""
    return make_count_sheet(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(10),
        place=world.warehouse,
        materials=[world.fluid, world.projectile],
    )


def enter(
    world: World, sheet: CountSheet, position: int, finding: Finding, by: Actor | None = None, **more: object
) -> LineCount:
    fields: dict[str, object] = {
        "id": uuid4(),
        "by": by or world.actor,
        "counted_at": at(12),
        "line": sheet.lines.get(position=position),
        "finding": finding,
        **more,
    }
    return enter_count(**fields)  # type: ignore[arg-type]


def post(world: World, sheet: CountSheet, reasons: dict[int, str] | None = None) -> CountSheet:
    return post_count_sheet(sheet=sheet, by=world.actor, occurred_at=at(20), reasons=reasons)


def test_post_count_sheet_takes_what_agrees_without_a_word(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 1, Finding(gal(55)))
    enter(world, sheet, 2, Finding(each(98)))
    posted = post(world, sheet)
    assert posted.state == CountSheet.State.POSTED
    assert held(world.warehouse, world.projectile) == 98 * MILLION
    [entry] = Entry.objects.filter(kind="count")
    assert entry.document == f"count-sheet:{sheet.uuid}"
    assert entry.occurred_at == at(12)
    assert CountReading.objects.filter(entry=entry).count() == 2
    assert post(world, sheet) == posted
    assert Entry.objects.filter(kind="count").count() == 1


def test_difference_beyond_the_limit_asks_for_another_person_and_a_reason(
    world: World, sheet: CountSheet
) -> None:
    enter(world, sheet, 1, Finding(gal(55)))
    enter(world, sheet, 2, Finding(each(80)))
    assert [found is None for found in find_standing(sheet).values()] == [False, True]
    with pytest.raises(SheetNotCounted, match="line 2"):
        post(world, sheet)
    with pytest.raises(AnotherMustCount):
        enter(world, sheet, 2, Finding(each(80)))
    enter(world, sheet, 2, Finding(each(81)), by=world.other_actor)
    with pytest.raises(BadInput, match="differs by -19") as refusal:
        post(world, sheet)
    assert [fault.pointer for fault in refusal.value.faults] == ["/reasons/2"]
    assert not Entry.objects.filter(kind="count").exists()
    post(world, sheet, {2: "a box was given to the other yard"})
    moved = Movement.objects.get(purpose="counted")
    assert (moved.quantity, moved.entry.reason) == (19 * MILLION, "a box was given to the other yard")
    assert sheet.lines.get(position=2).entry == moved.entry


def test_two_counts_that_differ_ask_for_a_third(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 2, Finding(each(60)))
    enter(world, sheet, 2, Finding(each(80)), by=world.other_actor)
    assert find_standing(sheet)[2] is None
    enter(world, sheet, 2, Finding(each(79)))
    accepted = find_standing(sheet)[2]
    assert accepted is not None
    assert (accepted.round, accepted.quantity) == (3, 79 * MILLION)


def test_second_count_allows_for_what_was_drawn_between(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 2, Finding(each(80)))
    draw(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(13),
        lines=[Line(world.projectile, each(30), End(world.warehouse), End(world.span))],
    )
    enter(world, sheet, 2, Finding(each(50)), by=world.other_actor, counted_at=at(14))
    assert find_standing(sheet)[2] is not None


def test_enter_count_refuses_a_needless_one_and_repeats_harmlessly(world: World, sheet: CountSheet) -> None:
    id = uuid4()
    first = enter(world, sheet, 2, Finding(each(100)), id=id)
    assert enter(world, sheet, 2, Finding(each(100)), id=id) == first
    with pytest.raises(DocumentConflict):
        enter(world, sheet, 2, Finding(each(99)), id=id)
    with pytest.raises(AlreadyCounted):
        enter(world, sheet, 2, Finding(each(100)), by=world.other_actor)
    with pytest.raises(BadInput, match="less than nothing"):
        enter(world, sheet, 1, Finding(gal(-1)))
    with pytest.raises(BadInput, match="is needed"):
        enter(world, sheet, 1, Finding())
    assert LineCount.objects.count() == 1


def test_drum_is_counted_by_weighing(world: World, sheet: CountSheet) -> None:
    drum = Container.objects.get(label="D-1")
    drum.tare_kg = 20.0
    drum.save()
    # 55 gal of 1020 kg/m3 is 212.4 kg; half a kilogram less is a tenth of a gallon.
    weighed = Finding(parse_amount("231.9", "kg"), method="weighed", temperature_c=15.0)
    found = enter(world, sheet, 1, weighed)
    assert found.quantity / MILLION == pytest.approx(54.88, abs=0.02)
    assert 0.02 * MILLION < found.standard_uncertainty < 0.3 * MILLION
    assert find_standing(sheet)[1] is not None


def test_make_count_sheet_takes_what_is_due_by_the_plan(world: World) -> None:
    with pytest.raises(NothingToCount):
        make_count_sheet(id=uuid4(), by=world.actor, occurred_at=at(1), place=world.warehouse)
    save_count_plan(place=world.warehouse)
    arguments = {"id": uuid4(), "by": world.actor, "occurred_at": at(1), "place": world.warehouse}
    sheet = make_count_sheet(**arguments)  # type: ignore[arg-type]
    assert [row.material.code for row in sheet.lines.all()] == ["fluid", "projectile-12"]
    assert make_count_sheet(**arguments) == sheet  # type: ignore[arg-type]
    assert sheet.reference == f"C-{sheet.pk:05d}"


def test_list_due_counts_puts_the_dearest_use_first_and_again_after_its_time(world: World) -> None:
    plan = save_count_plan(place=world.warehouse)
    draw(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(2),
        lines=[
            Line(
                world.fluid,
                gal(40),
                End(world.warehouse, Container.objects.get(label="D-1")),
                End(world.span),
            ),
            Line(world.projectile, each(5), End(world.warehouse), End(world.span)),
        ],
    )
    rows = list_due_counts(plan, as_of=DAY)
    # 400 of 410 in fluid: it crosses 80 % and 95 % alone, so it is in the lowest class it reaches.
    assert {row.holding.material.code: row.count_class for row in rows} == {
        "fluid": "C",
        "projectile-12": "C",
    }
    assert [row.due_date for row in rows] == [DAY, DAY]
    sheet = make_count_sheet(
        id=uuid4(), by=world.actor, occurred_at=at(3), place=world.warehouse, materials=[world.projectile]
    )
    enter(world, sheet, 1, Finding(each(95)))
    post(world, sheet)
    due = {row.holding.material.code: row.due_date for row in list_due_counts(plan, as_of=DAY)}
    assert due == {"fluid": DAY, "projectile-12": DAY + timedelta(days=365)}


@pytest.mark.parametrize(
    ("pointer", "rules"),
    [
        ("/rules", ()),
        (
            "/rules/1/upto_share",
            (ClassRule(900_000, 4, 0), ClassRule(800_000, 1, 0), ClassRule(MILLION, 1, 0)),
        ),
        ("/rules/0/upto_share", (ClassRule(900_000, 4, 0),)),
        ("/rules/0/counts_per_year", (ClassRule(MILLION, -1, 0),)),
        ("/rules/0/limit_share", (ClassRule(MILLION, 1, MILLION + 1),)),
        ("/rules/0/limit_value", (ClassRule(MILLION, 1, 0, -1),)),
    ],
)
def test_save_count_plan_names_the_fault(world: World, pointer: str, rules: tuple[ClassRule, ...]) -> None:
    with pytest.raises(BadInput) as refusal:
        save_count_plan(place=world.warehouse, rules=rules)
    assert pointer in [fault.pointer for fault in refusal.value.faults]
    assert not CountPlan.objects.exists()


def test_save_count_plan_refuses_an_old_copy_and_other_places(world: World) -> None:
    save_count_plan(place=world.warehouse)
    changed = save_count_plan(place=world.warehouse, rules=USUAL_RULES[-1:], version=1)
    assert [rule.letter for rule in changed.rules.all()] == ["A"]
    with pytest.raises(CountPlanChanged):
        save_count_plan(place=world.warehouse, version=1)
    with pytest.raises(WrongPlace):
        save_count_plan(place=world.vehicle)


def test_drop_count_sheet_leaves_the_book_alone(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 2, Finding(each(1)))
    for _time in range(2):
        dropped = drop_count_sheet(sheet=sheet, by=world.actor, occurred_at=at(20))
    assert dropped.state == CountSheet.State.DROPPED
    with pytest.raises(SheetClosed):
        post(world, sheet)
    assert held(world.warehouse, world.projectile) == 100 * MILLION


def test_list_accuracy_tells_how_many_counts_were_right_by_month(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 1, Finding(gal(55)))
    enter(world, sheet, 2, Finding(each(98)))
    post(world, sheet)
    [month] = list_accuracy(place=world.warehouse, since=DAY - timedelta(days=40), until=get_today())
    assert (month.month, month.counts, month.right, month.share) == (DAY.replace(day=1), 2, 1, 0.5)
    assert month.difference_value == -4 * MILLION
    [kind] = list_accuracy(place=world.warehouse, since=DAY, until=get_today(), limit_share=50_000)
    assert kind.right == 2
    assert list_accuracy(place=world.second_warehouse, since=DAY, until=get_today()) == []


@pytest.mark.outside_check(
    "Clopper-Pearson: 1 of 2 is 0.0126 to 0.9874; scipy.stats.beta; how known: computed"
)
def test_list_accuracy_bounds_a_share_of_few_counts_widely(world: World, sheet: CountSheet) -> None:
    enter(world, sheet, 1, Finding(gal(55)))
    enter(world, sheet, 2, Finding(each(98)))
    post(world, sheet)
    [month] = list_accuracy(place=world.warehouse, since=DAY, until=get_today())
    assert (month.low, month.high) == (pytest.approx(0.01258, abs=1e-4), pytest.approx(0.98742, abs=1e-4))
