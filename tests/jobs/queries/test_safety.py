"""What is open, what it stops, and that the day's sheet and the plan say so."""

from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import BadInput
from jobs.models import CrewDay, CrewDayStep, FieldReport, RunCleaning
from jobs.queries.day_work import load_day_work
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.queries.safety import find_stops_of_steps, list_blocked_runs, open_findings
from jobs.services.schedule import import_schedule
from tests.factories.inventory import at
from tests.factories.jobs import make_run, make_size
from tests.factories.kits import SmallDay, make_small_day
from tests.factories.safety import make_finding, make_limit

pytestmark = pytest.mark.django_db
LIFTED = {"lifted_at": at(10), "lift_reason": "all pieces accounted for"}


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def _cleaning(day: SmallDay, position: int, **fields: object) -> RunCleaning:
    report = FieldReport.objects.create(
        uuid=f"00000000-0000-4000-8000-{position:012}",
        crew_day=day.crew_day,
        occurred_at=at(position),
        recorded_at=at(position),
        by=day.world.actor,
        fingerprint="",
        is_undone=bool(fields.pop("is_undone", False)),
    )
    given = {"projectile": day.world.projectile, "is_clean": False}
    return RunCleaning.objects.create(report=report, position=0, run=day.run, **{**given, **fields})


def test_open_findings_leaves_out_what_has_ended(day: SmallDay) -> None:
    finding = make_finding("projectile_inside")
    make_finding("projectile_inside", lifted_by=day.world.actor, **LIFTED)
    make_finding("projectile_inside", settled_at=at(10))
    make_finding("meter_runs_backwards", overtaken_at=at(10))
    assert list(open_findings()) == [finding]


def test_list_blocked_runs_keeps_attempts_and_where_one_was_found(day: SmallDay) -> None:
    make_finding("projectile_inside", run=day.run)
    _cleaning(day, 1, fired=4, retrieved=3, stuck_at_um=100_000_000)
    _cleaning(day, 2, fired=0, retrieved=0, stuck_at_um=120_000_000, were_both_ends_vented=True)
    _cleaning(day, 3, fired=9, retrieved=0, stuck_at_um=1, is_undone=True)
    _cleaning(day, 4, fired=0, retrieved=0)
    (blocked,) = list_blocked_runs()
    assert blocked.run == day.run
    assert [(row.fired, row.retrieved) for row in blocked.attempts] == [(4, 3), (0, 0), (0, 0)]
    assert blocked.found_at_um == 120_000_000
    assert "Vent both ends" in blocked.stops[0].sentence


def test_list_blocked_runs_looks_at_these_runs_only(day: SmallDay) -> None:
    other = make_run(day.job, "R2", make_size())
    for run in (day.run, other):
        make_finding("projectile_inside", run=run)
    make_finding("more_projectiles_out_than_fired", run=other)
    assert [row.run for row in list_blocked_runs([other])] == [other]
    assert len(list_blocked_runs([other])[0].stops) == 1
    assert list_blocked_runs([]) == []


def test_list_blocked_runs_takes_as_many_queries_for_ten_runs_as_for_one(day: SmallDay) -> None:
    counts = []
    for many in (1, 10):
        for number in range(many):
            make_finding("projectile_inside", run=make_run(day.job, f"R-{many}-{number}", make_size()))
        with CaptureQueriesContext(connection) as queries:
            list_blocked_runs()
        counts.append(len(queries))
    assert counts == [2, 2]


@pytest.mark.parametrize(
    ("rule", "is_about_run", "stopped"),
    [
        ("projectile_inside", True, {"clean", "blow"}),
        ("blowing_pressure_above_limit", True, {"blow"}),
        ("extraction_pressure_above_limit", False, {"extract"}),
        ("no_blowing_limit_approved", True, set()),
    ],
)
def test_find_stops_of_steps_blocks_what_the_rule_names(
    day: SmallDay, rule: str, is_about_run: bool, stopped: set[str]
) -> None:
    steps = list(CrewDayStep.objects.all())
    make_finding(rule, run=day.run) if is_about_run else make_finding(rule, span=steps[0].span)
    found = find_stops_of_steps(steps)
    assert {step.kind for step in steps if step.pk in found} == stopped
    assert len(found) == len(stopped)


def test_load_day_work_stops_steps_and_takes_nothing_along_for_them(day: SmallDay) -> None:
    make_finding("projectile_inside", run=day.run)
    (work,) = load_day_work(CrewDay.objects.select_related("crew", "vehicle", "warehouse"))
    assert [step.kind for step in work.steps] == ["extract", "extract"]
    assert [step.kind for step in work.stopped] == ["clean", "blow"]


def test_pull_sheet_shows_why_a_step_is_not_to_be_done(day: SmallDay) -> None:
    make_finding("projectile_inside", run=day.run, sentence="Run R1: 4 were fired and 3 came out.")
    sheet = make_pull_sheet(CrewDay.objects.select_related("crew", "vehicle", "warehouse").get())
    clean = next(step for step in sheet.steps if step.kind == "clean")
    assert clean.is_stopped
    assert clean.detail == (
        "not to be done: Run R1: 4 were fired and 3 came out. Vent both ends before anyone approaches."
    )
    assert not [line for line in sheet.lines if line.section in {"fibre", "projectiles"}]


def test_pull_sheet_shows_each_approved_limit_or_that_there_is_none(day: SmallDay) -> None:
    make_limit("extraction", 1200.0)
    sheet = make_pull_sheet(CrewDay.objects.select_related("crew", "vehicle", "warehouse").get())
    pressures = [caution for caution in sheet.cautions if caution.startswith("Pressure")]
    none = "no limit approved. Ask safety; the weakest hose or fitting counts."
    assert pressures == [
        "Pressure, for extraction: the approved limit is 1200 kPa, that of the long hose.",
        f"Pressure, for air cleaning: {none}",
        f"Pressure, for blowing: {none}",
    ]


def test_import_schedule_refuses_stopped_work_that_is_newly_planned(day: SmallDay, tmp_path: Path) -> None:
    make_finding("projectile_inside", run=day.run, sentence="One is inside.")
    path = tmp_path / "plan.csv"
    path.write_text("date,crew,step,job,run\n2026-03-04,north,blow,J-1,R1\n")
    CrewDay.objects.all().delete()
    with pytest.raises(BadInput) as refusal:
        import_schedule(path=path, by=day.world.actor, occurred_at=at(0))
    (fault,) = refusal.value.faults
    assert (fault.pointer, fault.value, fault.line) == ("run", "R1", 2)
    assert "One is inside. Vent both ends" in fault.message
    assert not CrewDay.objects.exists()


def test_import_schedule_leaves_stopped_work_where_it_stands(day: SmallDay, tmp_path: Path) -> None:
    make_finding("projectile_inside", run=day.run)
    path = tmp_path / "plan.csv"
    rows = ["extract,J-1,S1,", "extract,J-1,S2,", "clean,J-1,,R1", "blow,J-1,,R1"]
    path.write_text("date,crew,step,job,span,run\n" + "".join(f"2026-03-02,north,{row}\n" for row in rows))
    import_schedule(path=path, by=day.world.actor, occurred_at=at(0))
    assert CrewDayStep.objects.count() == 4
