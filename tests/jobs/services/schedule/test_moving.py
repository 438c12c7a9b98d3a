"""Moving one step."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from inventory.errors import BadInput, NotFound
from inventory.models import DomainEvent, Requirement
from jobs.models import CrewDay
from jobs.services.needs import write_needs
from jobs.services.schedule import MovedStep, move_step
from jobs.services.schedule.moving import DayIsOver, StepIsDone
from tests.factories.jobs import DAY, make_crew
from tests.factories.kits import SmallDay, make_small_day

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
NEXT = date(2026, 3, 3)

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    write_needs([small.crew_day])
    return small


def _move(day: SmallDay, position: int, to_date: date, **options: Any) -> MovedStep:
    return move_step(
        crew_code="north",
        date=DAY,
        position=position,
        to_date=to_date,
        by=day.world.actor,
        occurred_at=NOON,
        **options,
    )


def _order(crew_day: CrewDay) -> list[tuple[int, str]]:
    steps = crew_day.steps.select_related("span", "run").order_by("position")
    return [(step.position, f"{step.kind} {step.span or step.run}") for step in steps]


def test_move_step_to_another_day_takes_its_needs_along(day: SmallDay) -> None:
    _move(day, 2, NEXT)
    following = CrewDay.objects.get(date=NEXT)
    assert _order(following) == [(1, "extract S2")]
    means = dict(Requirement.objects.filter(material=day.world.fluid).values_list("needed_date", "mean"))
    # 600 ft and 400 ft of .500 at 1.2 of the bore and 1 gal a set-up.
    assert means[DAY] == pytest.approx(7_001_620, abs=3)
    assert means[NEXT] == pytest.approx(5_001_080, abs=3)


def test_move_step_to_another_crew_and_position(day: SmallDay) -> None:
    make_crew("south")
    _move(day, 3, NEXT, to_crew_code="south")
    _move(day, 1, NEXT, to_crew_code="south", to_position=1)
    assert _order(CrewDay.objects.get(crew__code="south")) == [(1, "extract S1"), (2, "clean R1")]


def test_move_step_within_its_day(day: SmallDay) -> None:
    _move(day, 2, DAY, to_position=1)
    assert [what for _, what in _order(day.crew_day)] == ["extract S2", "extract S1", "clean R1", "blow R1"]


def test_move_step_takes_an_empty_day_off_the_plan(day: SmallDay) -> None:
    reference = day.crew_day.requirement_reference
    for position in (1, 2, 3, 4):
        _move(day, position, NEXT)
    assert not CrewDay.objects.filter(date=DAY).exists()
    assert not Requirement.objects.filter(reference=reference).exists()


def test_move_step_refuses_what_is_done_or_settled(day: SmallDay) -> None:
    day.crew_day.steps.filter(position=1).update(done_at=NOON)
    with pytest.raises(StepIsDone):
        _move(day, 1, NEXT)
    with pytest.raises(BadInput, match="before what is done"):
        _move(day, 3, DAY, to_position=1)
    CrewDay.objects.update(state="settled")
    with pytest.raises(DayIsOver):
        _move(day, 2, NEXT)
    assert len(_order(day.crew_day)) == 4


def test_move_step_refuses_to_add_to_a_settled_day(day: SmallDay) -> None:
    _move(day, 4, NEXT)
    CrewDay.objects.filter(date=NEXT).update(state="settled")
    with pytest.raises(DayIsOver):
        _move(day, 3, NEXT)


def test_move_step_refuses_what_is_not_there(day: SmallDay) -> None:
    for position, options in ((9, {}), (1, {"to_crew_code": "west"})):
        with pytest.raises(NotFound):
            _move(day, position, NEXT, **options)
    assert not DomainEvent.objects.exists()


def test_move_step_says_its_name_and_what_is_out_of_order_now(day: SmallDay) -> None:
    moved = _move(day, 1, NEXT)
    assert moved.title == "Extract span S1"
    assert moved.warnings == ("Run R1 is to be cleaned before span S1 is extracted, on 2026-03-03.",)
    moved = _move(day, 3, NEXT)
    assert moved.title == "Clean run R1"
    assert moved.warnings == ("Run R1 is to be blown before it is cleaned, on 2026-03-03.",)
    assert _move(day, 4, NEXT).warnings == ()


def test_move_step_within_its_day_warns_of_the_order_there(day: SmallDay) -> None:
    assert _move(day, 4, DAY, to_position=3).warnings == (
        "Run R1 is to be blown before it is cleaned, later that day.",
    )


def test_move_step_warns_where_two_crews_would_drive_one_truck(day: SmallDay) -> None:
    other = make_crew("south")
    other.vehicle = day.world.vehicle
    other.save()
    moved = _move(day, 4, DAY, to_crew_code="south")
    assert moved.warnings == ("Truck 1 is planned for crew north too on 2026-03-02; give one another.",)
