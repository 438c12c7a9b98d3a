"""Lists of crew-days: the whole plan of the days they name, or nothing."""

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from inventory.errors import BadInput
from inventory.models import Requirement
from inventory.queries.references import find_by_reference, list_references
from jobs.models import Crew, CrewDay, CrewDayStep, Job, Run, Span
from jobs.services.schedule import import_schedule, importing
from tests.factories.jobs import make_crew
from tests.factories.kits import SmallDay, make_small_day

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HEADER = "date,crew,step,job,span,run"
PLAN = f"""{HEADER}
2026-03-03,north,extract span,J-1,S1,
2026-03-03,north,extract,J-1,S2,
2026-03-04,south,clean run,J-1,,R1
2026-03-04,south,blow run,J-1,,R1
"""

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> SmallDay:
    small = make_small_day()
    CrewDay.objects.all().delete()
    make_crew("south")
    return small


@pytest.fixture
def take(world: SmallDay, tmp_path: Path) -> Any:
    def take_text(text: str, **options: Any) -> Any:
        path = tmp_path / "plan.csv"
        path.write_text(text)
        options = {"occurred_at": NOON, **options}
        return import_schedule(path=path, by=world.world.actor, **options)

    return take_text


def _plan() -> list[tuple[str, str, int, str, str]]:
    steps = CrewDayStep.objects.select_related("crew_day__crew", "span", "run")
    return [
        (
            step.crew_day.crew.code,
            step.crew_day.date.isoformat(),
            step.position,
            step.kind,
            str(step.span or step.run),
        )
        for step in steps.order_by("crew_day__date", "position")
    ]


def _faults(take: Any, text: str, **options: Any) -> list[tuple[int | None, str, str]]:
    before = _plan()
    with pytest.raises(BadInput) as refused:
        take(text, **options)
    assert _plan() == before
    return [(fault.line, fault.pointer, fault.message) for fault in refused.value.faults]


def test_import_schedule_makes_days_with_steps_in_order(take: Any) -> None:
    found = take(PLAN)
    assert (found.days, found.steps) == (2, 4)
    assert _plan() == [
        ("north", "2026-03-03", 1, "extract", "S1"),
        ("north", "2026-03-03", 2, "extract", "S2"),
        ("south", "2026-03-04", 1, "clean", "R1"),
        ("south", "2026-03-04", 2, "blow", "R1"),
    ]
    day = CrewDay.objects.select_related("vehicle", "warehouse").get(crew__code="north")
    assert (day.vehicle.code, day.warehouse.code) == ("truck-1", "main-yard")


def test_import_schedule_takes_vehicle_warehouse_and_positions_from_the_list(take: Any) -> None:
    take(
        "Date,Crew,Vehicle,Position,Step,Job,Span,Run,Warehouse\n"
        "2026-03-03,north,truck-south,2,extract,J-1,S1,,north-yard\n"
        "2026-03-03,north,truck-south,1,extract,J-1,S2,,north-yard\n"
    )
    day = CrewDay.objects.select_related("vehicle", "warehouse").get()
    assert (day.vehicle.code, day.warehouse.code) == ("truck-south", "north-yard")
    assert [step.span.name for step in day.steps.all() if step.span] == ["S2", "S1"]


def test_import_schedule_tells_inventory_what_will_be_needed(take: Any, world: SmallDay) -> None:
    take(PLAN)
    north = CrewDay.objects.get(crew__code="north")
    rows = Requirement.objects.filter(reference=f"crew-day:{north.pk}")
    fluid = rows.get(material=world.world.fluid)
    assert (fluid.needed_date, fluid.place.code) == (date(2026, 3, 3), "main-yard")
    # By hand as for the pull sheet: 12.002701 gal go in; 0.9 of the 0.2 that is caught is fit again.
    assert fluid.mean == pytest.approx(12_002_701, abs=3)
    assert fluid.variance == pytest.approx(0.0, abs=1e-12)
    assert fluid.returned_material == world.world.recovered
    assert fluid.returned_mean == pytest.approx(0.9 * 2_400_540, abs=3)
    assert fluid.returned_date == date(2026, 3, 3)
    south = CrewDay.objects.get(crew__code="south")
    fibre = Requirement.objects.filter(reference=f"crew-day:{south.pk}", material=world.world.fibre)
    # Nobody has a reel here and the job names no cable, so none can be asked for.
    assert not fibre.exists()


def test_import_schedule_asks_for_furnished_fibre_of_its_owner(take: Any, world: SmallDay) -> None:
    world.reel("THEIRS", 2000)
    take(PLAN)
    row = Requirement.objects.get(material=world.world.fibre)
    assert (row.owner, row.mean) == (world.world.customer, 1_132_200_000)


def test_import_schedule_again_changes_nothing(take: Any) -> None:
    take(PLAN)
    before, rows = _plan(), Requirement.objects.count()
    take(PLAN)
    assert (_plan(), Requirement.objects.count()) == (before, rows)


def test_import_schedule_replaces_the_days_it_names(take: Any) -> None:
    take(PLAN)
    take(f"{HEADER}\n2026-03-03,north,extract,J-1,S2,\n2026-03-05,south,extract,J-1,S1,\n")
    assert _plan()[:1] == [("north", "2026-03-03", 1, "extract", "S2")]
    assert ("south", "2026-03-05", 1, "extract", "S1") in _plan()
    assert len(_plan()) == 4


def test_import_schedule_keeps_what_is_done(take: Any) -> None:
    take(PLAN)
    CrewDayStep.objects.filter(span__name="S1").update(done_at=NOON)
    take(f"{HEADER}\n2026-03-03,north,extract,J-1,S2,\n")
    assert _plan()[:2] == [
        ("north", "2026-03-03", 1, "extract", "S1"),
        ("north", "2026-03-03", 2, "extract", "S2"),
    ]


def test_import_schedule_names_every_fault_in_one_go(take: Any) -> None:
    faults = _faults(
        take,
        "date,crew,vehicle,step,job,span,run\n"
        "2026-03-03,west,,extract,J-1,S1,\n"
        "2026-03-03,north,main-yard,extract,J-1,S7,\n"
        "2026-03-03,north,nowhere,clean,J-9,,R1\n"
        "3 March,east,nowhere,paint,J-9,S9,\n",
    )
    assert [(line, pointer) for line, pointer, _ in faults] == [
        (2, "crew"),
        (3, "vehicle"),
        (3, "span"),
        (4, "vehicle"),
        (4, "job"),
        (5, "date"),
        (5, "step"),
        (5, "vehicle"),
        (5, "crew"),
        (5, "job"),
    ]
    remedies = ("correct", "name a", "write")
    assert all(
        any(word in message for word in remedies) or "is none of:" in message for *_, message in faults
    )


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("2026-03-03,north,extract,J-1,,R1", (2, "span", "is empty")),
        ("03/04/2026,north,extract,J-1,S1,", (2, "date", "may be 2026-03-04 or 2026-04-03")),
        ("2026-03-03,north,paint,J-1,S1,", (2, "step", "is none of")),
        ("2026-03-03,north,extract,J-1,S1,\n2026-03-04,north,extract,J-1,S1,", (3, "span", "on line 2")),
    ],
)
def test_import_schedule_refuses(take: Any, rows: str, expected: tuple[int, str, str]) -> None:
    ((line, pointer, message),) = _faults(take, f"{HEADER}\n{rows}\n")
    assert (line, pointer) == expected[:2]
    assert expected[2] in message


def test_import_schedule_refuses_a_step_of_a_day_it_does_not_name(take: Any) -> None:
    take(PLAN)
    ((_, pointer, message),) = _faults(take, f"{HEADER}\n2026-03-09,south,extract,J-1,S1,\n")
    assert pointer == "span"
    assert "is planned on 2026-03-03 with crew north" in message


def test_import_schedule_refuses_to_change_a_loaded_day(take: Any) -> None:
    take(PLAN)
    CrewDay.objects.filter(crew__code="north").update(state="loaded")
    ((_, pointer, message),) = _faults(take, f"{HEADER}\n2026-03-03,north,extract,J-1,S2,\n")
    assert (pointer, "is loaded" in message) == ("date", True)


def test_import_schedule_refuses_work_that_is_done_or_over(take: Any, world: SmallDay) -> None:
    world.job.spans.filter(name="S1").update(extracted_at=NOON)
    ((_, _, message),) = _faults(take, f"{HEADER}\n2026-03-03,north,extract,J-1,S1,\n")
    assert "extracted already" in message
    Job.objects.update(state=Job.State.CANCELLED)
    ((_, pointer, _),) = _faults(take, f"{HEADER}\n2026-03-03,north,extract,J-1,S2,\n")
    assert pointer == "job"


def test_import_schedule_refuses_positions_used_twice(take: Any) -> None:
    rows = "2026-03-03,north,1,extract,J-1,S1\n2026-03-03,north,1,extract,J-1,S2\n"
    text = f"date,crew,position,step,job,span\n{rows}"
    ((line, pointer, _),) = _faults(take, text)
    assert (line, pointer) == (3, "position")


NEW_CREW = "date,crew,vehicle,warehouse,step,job,span\n"


def test_import_schedule_says_how_to_set_up_a_crew_it_does_not_know(take: Any) -> None:
    ((line, pointer, message),) = _faults(take, f"{HEADER}\n2026-03-03,west,extract,J-1,S1,\n")
    assert (line, pointer) == (2, "crew")
    assert "--create-crews" in message


def test_import_schedule_sets_up_a_crew_on_first_sight(take: Any) -> None:
    rows = "2026-03-03,west,truck-1,main-yard,extract,J-1,S1\n2026-03-04,west,,,extract,J-1,S2\n"
    found = take(NEW_CREW + rows, may_create_crews=True)
    crew = Crew.objects.select_related("vehicle", "warehouse").get(code="west")
    assert found.new_crews == ("west",)
    assert (crew.name, crew.vehicle.code, crew.warehouse.code) == ("west", "truck-1", "main-yard")  # type: ignore[union-attr]
    assert [(code, day) for code, day, *_ in _plan()] == [("west", "2026-03-03"), ("west", "2026-03-04")]
    assert take(NEW_CREW + rows, may_create_crews=True).new_crews == ()


def test_import_schedule_refuses_a_new_crew_without_vehicle_or_with_unknown_places(take: Any) -> None:
    rows = "2026-03-03,west,,main-yard,extract,J-1,S1\n2026-03-03,east,moon,main-yard,extract,J-1,S2\n"
    faults = _faults(take, NEW_CREW + rows, may_create_crews=True)
    assert [(line, pointer) for line, pointer, _ in faults] == [(2, "vehicle"), (3, "vehicle")]
    assert "crew west is new; name the vehicle" in faults[0][2]
    assert "set the vehicle up with import_stock" in faults[1][2]
    assert not Crew.objects.filter(code__in=["west", "east"]).exists()


DONE = "date,crew,step,job,span,run,done\n"
# The company of these tests is in Chicago, five hours behind after the clocks went forward on 8 March.
LATER = datetime(2026, 4, 1, 18, tzinfo=UTC)


def _take_done(take: Any, *rows: str) -> Any:
    return take(DONE + "\n".join(rows) + "\n", occurred_at=LATER)


def test_import_schedule_marks_steps_done_at_the_end_of_their_day(take: Any) -> None:
    found = _take_done(
        take,
        "2026-03-10,north,extract,J-1,S1,,yes",
        "2026-03-10,north,extract,J-1,S2,,2026-03-11",
        "2026-03-12,north,clean,J-1,,R1,2026-03-12T16:30",
        "2026-03-13,north,blow,J-1,,R1,2026-03-13T16:30-06:00",
    )
    assert found.done_steps == 4
    moments = dict(Span.objects.values_list("name", "extracted_at"))
    assert moments["S1"] == datetime(2026, 3, 11, 4, 59, 59, tzinfo=UTC)
    assert moments["S2"] == datetime(2026, 3, 12, 4, 59, 59, tzinfo=UTC)
    run = Run.objects.get()
    assert run.cleaned_at == datetime(2026, 3, 12, 21, 30, tzinfo=UTC)
    assert run.blown_at == datetime(2026, 3, 13, 22, 30, tzinfo=UTC)
    assert not CrewDayStep.objects.filter(done_at__isnull=True).exists()
    assert set(CrewDay.objects.values_list("state", flat=True)) == {"settled"}
    assert not Requirement.objects.exists()


def test_import_schedule_needs_only_what_is_still_ahead_of_a_day(take: Any, world: SmallDay) -> None:
    _take_done(
        take, "2026-04-01,north,extract,J-1,S1,,2026-04-01T09:00", "2026-04-01,north,extract,J-1,S2,,no"
    )
    assert CrewDay.objects.get().state == "planned"
    # S2 alone: 400 ft at 1.2 of the bore and 1 gal a set-up.
    assert Requirement.objects.get(material=world.world.fluid).mean == pytest.approx(5_001_080, abs=3)


def test_import_schedule_takes_yes_for_today_as_done_by_now(take: Any) -> None:
    _take_done(take, "2026-04-01,north,extract,J-1,S1,,yes")
    assert Span.objects.get(name="S1").extracted_at == LATER


@pytest.mark.parametrize("done", ["2026-04-01T19:00+00:00", "2026-04-02", "maybe", "16:30", "4/5/2026"])
def test_import_schedule_refuses_a_done_that_is_no_moment_or_still_to_come(take: Any, done: str) -> None:
    text = f"{DONE}2026-04-01,north,extract,J-1,S1,,{done}\n"
    ((line, pointer, _),) = _faults(take, text, occurred_at=LATER)
    assert (line, pointer) == (2, "done")


def test_import_schedule_refuses_yes_on_a_day_to_come(take: Any) -> None:
    ((_, pointer, message),) = _faults(
        take, f"{DONE}2026-04-02,north,extract,J-1,S1,,yes\n", occurred_at=LATER
    )
    assert pointer == "done"
    assert "2026-04-02 is still to come" in message


def test_import_schedule_again_with_done_steps_changes_nothing(take: Any) -> None:
    rows = ("2026-03-10,north,extract,J-1,S1,,yes", "2026-03-10,north,extract,J-1,S2,,no")
    _take_done(take, *rows)
    before = list(CrewDayStep.objects.order_by("position").values_list("span__name", "done_at"))
    _take_done(take, *rows)
    assert list(CrewDayStep.objects.order_by("position").values_list("span__name", "done_at")) == before


def test_import_schedule_never_undoes_a_step(take: Any) -> None:
    _take_done(take, "2026-03-10,north,extract,J-1,S1,,yes")
    for done in ("no", "", "2026-03-10T12:00"):
        text = f"{DONE}2026-03-10,north,extract,J-1,S1,,{done}\n"
        ((line, _, message),) = _faults(take, text, occurred_at=LATER)
        assert line == 2
        assert "yes" in message
    ((_, pointer, message),) = _faults(
        take, f"{DONE}2026-03-11,north,extract,J-1,S1,,yes\n", occurred_at=LATER
    )
    assert (pointer, message) == ("span", "has been extracted already; leave this row out")


def test_import_schedule_marks_steps_of_a_loaded_day_done_and_changes_nothing_else(take: Any) -> None:
    take(PLAN)
    CrewDay.objects.filter(crew__code="north").update(state="out")
    _take_done(take, "2026-03-03,north,extract,J-1,S1,,yes")
    assert [(step[4]) for step in _plan()[:2]] == ["S1", "S2"]
    assert CrewDay.objects.get(crew__code="north").state == "out"
    ((_, pointer, _),) = _faults(take, f"{DONE}2026-03-03,north,extract,J-1,S2,,no\n", occurred_at=LATER)
    assert pointer == "date"
    _take_done(take, "2026-03-03,north,extract,J-1,S2,,yes")
    assert CrewDay.objects.get(crew__code="north").state == "settled"


def test_import_schedule_refuses_days_that_others_changed_meanwhile(
    take: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    take(PLAN)
    before = _plan()
    compute = importing.compute_needs

    def finish_meanwhile(works: Any) -> Any:
        CrewDayStep.objects.filter(span__name="S1").update(done_at=NOON)
        return compute(works)

    monkeypatch.setattr(importing, "compute_needs", finish_meanwhile)
    with pytest.raises(importing.PlansChangedMeanwhile):
        take(f"{HEADER}\n2026-03-03,north,extract,J-1,S2,\n")
    assert _plan() == before


NAMED = "date,crew,step,job,span,reference,reference system\n"


def test_import_schedule_keeps_what_other_systems_call_a_day(take: Any) -> None:
    rows = "2026-03-03,north,extract,J-1,S1,D-17,dispatch\n2026-03-03,north,extract,J-1,S2,D-17,dispatch\n"
    take(NAMED + rows)
    day = CrewDay.objects.get()
    assert find_by_reference(system="dispatch", model=CrewDay, identifier="D-17") == day
    take(NAMED + rows.replace("D-17", "D-18"))
    assert [row.identifier for row in list_references(day)] == ["D-18"]


def test_import_schedule_refuses_one_name_for_two_days(take: Any) -> None:
    rows = "2026-03-03,north,extract,J-1,S1,D-1,\n2026-03-04,north,extract,J-1,S2,D-1,\n"
    ((line, pointer, message),) = _faults(take, NAMED + rows)
    assert (line, pointer) == (3, "reference")
    assert "calls another crew-day already" in message
    take(NAMED + rows.splitlines()[0])
    ((line, pointer, _),) = _faults(take, NAMED + rows.splitlines()[1])
    assert (line, pointer) == (2, "reference")


def test_import_schedule_refuses_two_names_for_one_day(take: Any) -> None:
    rows = "2026-03-03,north,extract,J-1,S1,D-1,\n2026-03-03,north,extract,J-1,S2,D-2,\n"
    ((line, _, message),) = _faults(take, NAMED + rows)
    assert line == 3
    assert "calls the day D-1" in message
