"""The commands about jobs through the door: text and JSON, exit codes."""

import json
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from pypdf import PdfReader

from inventory.models import Movement, Seal, Unsealed
from inventory.queries.references import find_by_reference
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.models import CrewDayStep, Job, Span
from jobs.services.job_life import change_state
from tests.factories.core import sell_core
from tests.factories.inventory import at, gal
from tests.factories.kits import SmallDay, make_small_day

SPANS = "Span,Cable size,Length (ft),From,To\nX1,.625,300,A,B\nX2,.625,200,B,C\n"
COLUMNS = 80

Run = Callable[..., tuple[str, str, int]]

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


@pytest.fixture
def run() -> Run:
    def run_command(*arguments: str) -> tuple[str, str, int]:
        out, err = StringIO(), StringIO()
        try:
            call_command(*arguments, stdout=out, stderr=err)
        except SystemExit as stop:
            return out.getvalue(), err.getvalue(), int(stop.code or 0)
        return out.getvalue(), err.getvalue(), 0

    return run_command


@pytest.fixture
def span_list(tmp_path: Path) -> Path:
    path = tmp_path / "spans.csv"
    path.write_text(SPANS)
    return path


def test_import_spans_takes_a_list(run: Run, day: SmallDay, span_list: Path) -> None:
    options = ("--job", "J-7", "--create-job", "--customer", "network")
    out, err, code = run("import_spans", str(span_list), *options)
    assert (err, code) == ("", 0)
    assert "2 spans in 1 runs taken for new job J-7." in out
    assert "500 ft (152 m) of sheath: 2 added." in out
    assert Job.objects.get(reference="J-7").customer == day.world.customer


def test_import_spans_notes_what_another_system_calls_the_job(run: Run, span_list: Path) -> None:
    reference = ("--reference", "WO-17", "--reference-system", "dispatch")
    run("import_spans", str(span_list), "--job", "J-7", "--create-job", *reference)
    assert find_by_reference(system="dispatch", model=Job, identifier="WO-17") == Job.objects.get()
    again = ("--reference", "P-1")
    assert run("import_spans", str(span_list), "--job", "J-7", *again)[2] == 0
    assert find_by_reference(system="design", model=Job, identifier="P-1") == Job.objects.get()
    taken = run("import_spans", str(span_list), "--job", "J-8", "--create-job", *again)
    assert (taken[2], Job.objects.count()) == (1, 1)
    assert "another job already" in taken[1]


def test_import_spans_shows_a_revision_and_stores_nothing_on_a_dry_run(run: Run, span_list: Path) -> None:
    run("import_spans", str(span_list), "--job", "J-7", "--create-job")
    span_list.write_text(SPANS.replace("300", "310"))
    out, _, code = run("import_spans", str(span_list), "--job", "J-7", "--dry-run", "--format", "json")
    body = json.loads(out)
    assert (code, body["is_stored"], body["unchanged"]) == (0, False, 1)
    assert body["changed"] == [{"span": "X1", "changes": ["length 310 ft, was 300 ft"]}]
    out, _, _ = run("import_spans", str(span_list), "--job", "J-7", "--dry-run")
    assert "length 310 ft, was 300 ft" in out
    assert "nothing was stored" in out
    assert Span.objects.get(name="X1").entered_length == "300"


def test_import_spans_refuses_with_every_fault_and_exit_code_one(run: Run, span_list: Path) -> None:
    span_list.write_text(SPANS.replace(".625", ".626").replace("200", "two"))
    out, err, code = run("import_spans", str(span_list), "--job", "J-7", "--create-job")
    assert (out, code) == ("", 1)
    assert "3 faults" in err
    assert (err.count("line 2"), err.count("line 3")) == (1, 2)
    assert not Job.objects.exists()


def test_schedule_takes_lists_and_moves(run: Run, day: SmallDay, tmp_path: Path) -> None:
    CrewDayStep.objects.all().delete()
    path = tmp_path / "plan.csv"
    rows = [f"2026-03-05,north,extract,J-1,{span}" for span in ("S1", "S2")]
    path.write_text("\n".join(["date,crew,step,job,span", *rows]))
    assert "2 steps on 1 crew-days taken, 2026-03-05." in run("schedule", "import", str(path))[0]
    moved = ("--crew", "north", "--date", "2026-03-05", "--position", "1", "--to-date", "2026-03-06")
    assert "moved to crew north on 2026-03-06, as step 1." in run("schedule", "move", *moved)[0]
    out, _, _ = run("schedule", "list", "--from", "2026-03-05", "--format", "json")
    assert [(found["date"], [step["title"] for step in found["steps"]]) for found in json.loads(out)] == [
        ("2026-03-05", ["Extract span S2"]),
        ("2026-03-06", ["Extract span S1"]),
    ]
    assert "Fri 2026-03-06  North crew (north)" in run("schedule", "list", "--from", "2026-03-05")[0]


def test_schedule_says_from_when_on_nothing_is_planned(run: Run, day: SmallDay) -> None:
    said = " ".join(run("schedule", "list", "--from", "2027-01-01")[0].split())
    assert "Nothing is planned from 2027-01-01 on." in said
    limits = ("--from", "2027-01-01", "--to", "2027-02-01", "--crew", "north")
    said = " ".join(run("schedule", "list", *limits)[0].split())
    assert "Nothing is planned for crew north from 2027-01-01 to 2027-02-01." in said
    assert json.loads(run("schedule", "list", *limits, "--format", "json")[0]) == []


def test_commands_that_write_seal_what_they_told(
    run: Run, day: SmallDay, span_list: Path, tmp_path: Path
) -> None:
    run("import_spans", str(span_list), "--job", "J-7", "--create-job")
    assert Seal.objects.filter(event__kind="spans_revised").exists()
    path = tmp_path / "plan.csv"
    path.write_text("date,crew,step,job,span\n2026-03-02,north,extract,J-1,S1\n")
    run("schedule", "import", str(path))
    moved = ("--crew", "north", "--date", "2026-03-02", "--position", "1", "--to-date", "2026-03-06")
    run("schedule", "move", *moved)
    kinds = set(Seal.objects.filter(event__isnull=False).values_list("event__kind", flat=True))
    assert kinds >= {"schedule_taken", "step_moved"}
    assert not Unsealed.objects.exists()


def test_schedule_list_seals_nothing(run: Run, day: SmallDay) -> None:
    run("schedule", "list", "--from", "2026-03-01")
    assert not Seal.objects.exists()


def test_pull_sheet_fits_eighty_columns(run: Run, day: SmallDay) -> None:
    out, err, code = run("pull_sheet", "--crew", "north", "--date", "2026-03-02")
    assert (err, code) == ("", 0)
    assert max(len(line) for line in out.splitlines()) <= COLUMNS
    for said in ("Extraction fluid", "short 12 gal", "no limit approved", "Blow run R1", "1132.2 ft"):
        assert said in out


def test_pull_sheet_says_on_demand_where_each_number_comes_from(run: Run, day: SmallDay) -> None:
    arguments = ("pull_sheet", "--crew", "north", "--date", "2026-03-02")
    assert "hold 8.34 gal" not in " ".join(run(*arguments)[0].split())
    said = " ".join(run(*arguments, "--why")[0].split())
    assert "needed 12 gal: 2 spans hold 8.34 gal" in said
    assert "short 12 gal: What is to be taken less what can be got." in said


def test_list_by_bin_is_written_as_pdf(run: Run, day: SmallDay, tmp_path: Path) -> None:
    day.drum("D-1", 55)
    file = tmp_path / "list.pdf"
    run(
        "pull_sheet",
        "--warehouse",
        "main-yard",
        "--date",
        "2026-03-02",
        "--format",
        "pdf",
        "--output",
        str(file),
    )
    assert "D-1" in PdfReader(file).pages[0].extract_text()


def test_pull_sheet_gives_quantities_with_units_in_json(run: Run, day: SmallDay) -> None:
    out, _, _ = run("pull_sheet", "--crew", "north", "--date", "2026-03-02", "--format", "json")
    lines = {line["section"]: line for line in json.loads(out)["lines"]}
    assert lines["projectile"]["needed"] == {"value": "4.000000", "unit": "1"}
    assert lines["fibre"]["needed"]["unit"] == "[ft_i]"


def test_pull_sheet_refuses_a_day_without_work(run: Run, day: SmallDay) -> None:
    out, err, code = run("pull_sheet", "--crew", "north", "--date", "2026-03-01")
    assert (out, code) == ("", 1)
    assert "next day is 2026-03-02" in err


def test_statement_says_when_nothing_was_charged(run: Run, day: SmallDay) -> None:
    assert "Nothing has been charged" in run("statement", "J-1")[0]
    body = json.loads(run("statement", "J-1", "--format", "json")[0])
    assert (body["cost"], body["agrees_with_book"]) == ({"value": "0.00", "currency": "USD"}, True)
    assert run("statement", "J-9")[2] == 1


def test_statement_stands_beside_the_estimate_frozen_at_approval(run: Run, day: SmallDay) -> None:
    change_state(reference="J-1", state="approved", by=day.world.actor, occurred_at=at(0))
    day.world.drum("D-1", 55, cost=330)
    drum = End(day.world.warehouse, day.world.warehouse.containers.get(label="D-1"))
    line = Line(day.world.fluid, gal(5), drum, End(day.run.place), Movement.Purpose.LOST, "spill")
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=[line])
    text = run("statement", "J-1")[0]
    assert max(len(row) for row in text.splitlines()) <= COLUMNS
    assert "Lost Extraction fluid: 5 gal (30.00 USD) by spill." in text
    rows = [" ".join(row.split()) for row in text.splitlines()]
    assert "In money Lost Cost" in rows
    assert rows[rows.index("Month Stays Cost") + 1 :][:2] == ["2026-03 30.00", "Extraction fluid 5 gal 30.00"]
    assert "Against the estimate" in text
    sheet = json.loads(run("statement", "J-1", "--format", "json")[0])["cost_sheet"]
    assert sheet["cost"] == {"value": "30.00", "currency": "USD"}
    assert sheet["estimated_at"] is not None


def test_statement_tells_core_that_was_sold_and_cost_without_a_report(run: Run, day: SmallDay) -> None:
    day.world.drum("D-1", 55, cost=330)
    drum = End(day.world.warehouse, day.world.warehouse.containers.get(label="D-1"))
    line = Line(day.world.fluid, gal(5), drum, End(day.run.place))
    draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=[line])
    job = Job.objects.get(reference="J-1")
    sell_core("L-1", day.world.actor, proceeds=12_000_000, jobs={job: (day.world.company, 10)})
    sell_core("L-2", day.world.actor, proceeds=5_000_000, jobs={job: (day.world.customer, 10)})
    rows = [" ".join(row.split()) for row in run("statement", "J-1")[0].splitlines()]
    assert "Core sold, lot L-1 -12.00" in rows
    assert "Cost less core sold 18.00" in rows
    assert "Core of lot L-2: 5.00 USD owed to Network Owner, beside the cost." in rows
    at_crews = rows.index("Crew Stays Cost")
    assert rows[at_crews + 1 : at_crews + 4] == [
        "without a crew's report 30.00",
        "Extraction fluid 5 gal 30.00",
        "All 30.00",
    ]
    body = json.loads(run("statement", "J-1", "--format", "json")[0])
    assert body["cost_less_scrap"] == {"value": "18.00", "currency": "USD"}


@pytest.mark.parametrize(
    "arguments",
    [
        ("import_spans", "x.csv"),
        ("pull_sheet", "--crew", "north", "--date", "2.3.2026"),
        ("schedule", "paint"),
        ("statement",),
    ],
)
def test_commands_used_wrongly_are_refused_by_the_parser(run: Run, arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        run(*arguments)


def test_pull_sheet_is_written_as_pdf(run: Run, day: SmallDay, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    asked = ("pull_sheet", "--crew", "north", "--date", "2026-03-02", "--format", "pdf")
    out, err, code = run(*asked, "--output", str(path), "--paper", "a4")
    assert (err, code) == ("", 0)
    assert str(path) in out
    assert path.read_bytes().startswith(b"%PDF-")


def test_pull_sheet_as_pdf_needs_a_file_to_write(day: SmallDay) -> None:
    with pytest.raises(CommandError, match="--output"):
        call_command("pull_sheet", "--crew", "north", "--date", "2026-03-02", "--format", "pdf")
