"""A report that names what is on no record is taken; that part is kept as it was told, and found."""

from dataclasses import replace
from decimal import Decimal
from uuid import uuid4

import pytest

from inventory.models import Container, Entry, Movement, WasteDrum, WasteManifest
from inventory.queries.verification import verify_ledger
from inventory.services.waste import start_waste_drum
from jobs.models import (
    ContainerReading,
    FieldReport,
    FluidCaught,
    Incident,
    PieceReport,
    ReportedLoss,
    RuleFinding,
    RunBlowing,
    RunCleaning,
    SpanAttempt,
    WasteHandover,
)
from jobs.services.reports.content import (
    IncidentContent,
    LossContent,
    PieceContent,
    ReadingContent,
    ReportContent,
    WasteContent,
    WorkName,
)
from jobs.services.reports.names import UnknownName
from jobs.services.reports.reporting import correct_report
from tests.factories.inventory import at, held
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    blown,
    caught,
    cleaned,
    extracted,
    gallons,
    left,
    make_reported_day,
    swept,
)

pytestmark = pytest.mark.django_db
GAL = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


def found(rule: str) -> list[str]:
    return list(RuleFinding.objects.filter(rule=rule).order_by("pk").values_list("sentence", flat=True))


def test_leave_out_unknown_keeps_parts_that_hang_on_the_name_and_books_the_rest(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(12), source_container="D-1"),),
        caught=(caught("C-99", S1, amount=2), caught("C-1", S1, amount=3)),
        readings=(ReadingContent("D-99", "weighed", Decimal(300), "[lb_av]"), left("D-1", 43)),
        pieces=(PieceContent("union-99", gallons(4), "used"),),
        waste=(WasteContent("M-1", "W-99", amount=gallons(5)),),
        losses=(LossContent("oil-99", "spill", amount=gallons(1)),),
    )
    day.report(content)
    assert (day.inside("D-1"), day.inside("C-1"), day.used(day.first)) == (43 * GAL, 3 * GAL, 9 * GAL)
    kept = [model.objects.count() for model in (FluidCaught, ContainerReading, PieceReport, WasteHandover)]
    assert (kept, ReportedLoss.objects.count()) == ([1, 1, 0, 0], 0)
    assert sorted(found("kept_as_told")) == [
        f"{what}, but there is no {noun} of that name on record; put it on record and correct the report. "
        "It is kept as told and not booked."
        for what, noun in (
            ("Container C-99: caught kind caught spans S1 of J-1 amount 2 gal", "container"),
            ("Container D-99: readings method weighed value 300 unit [lb_av] moment end", "container"),
            ("Container W-99: waste manifest number M-1 amount 5 gal", "container"),
            ("Material oil-99: losses cause spill amount 1 gal", "material"),
            ("Material union-99: pieces amount 4 gal fate used", "material"),
        )
    ]
    note = FieldReport.objects.get().note
    assert "readings method weighed value 300 unit [lb_av] moment end, container D-99: there is no" in note
    assert not list(verify_ledger())


def test_leave_out_unknown_books_a_try_without_the_names_that_nobody_knows(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(
            extracted(
                S1, meter="FM-99", meter_start=gallons(0), meter_end=gallons(12), fluid="oil-99",
                source_container="D-99", pressure_end="nowhere", as_found_size=".999",
            ),
        ),
        cleanings=(cleaned(projectile="foam-99"),),
        readings=(replace(left("D-1", 43), instrument="dip-99"),),
    )  # fmt: skip
    day.report(content)
    row = SpanAttempt.objects.get()
    assert (row.meter, row.source_container, row.pressure_end, row.as_found_size) == (None,) * 4
    assert (row.injected, row.fluid, day.used(day.first)) == (12 * GAL, day.world.fluid, 12 * GAL)
    assert RunCleaning.objects.get().projectile == day.world.projectile
    said = " ".join(found("taken_as_likely"))
    for name in (
        "container D-99", "material oil-99", "material foam-99", "instrument FM-99", "instrument dip-99",
        "cable size .999", "access point nowhere",
    ):  # fmt: skip
        assert f"{name} was named" in said
        assert name in FieldReport.objects.get().note


def test_leave_out_unknown_keeps_marks_of_a_reel_that_nobody_knows_and_takes_no_other(
    day: ReportedDay,
) -> None:
    before = day.inside("REEL-1")
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(replace(blown(), reel="REEL-99"),)))
    row = RunBlowing.objects.get()
    assert (row.reel, row.mark_start, row.is_done, day.inside("REEL-1")) == (None, None, True, before)
    [sentence] = found("kept_as_told")
    assert sentence.startswith("Run R1: reel REEL-99 was named mark start 5000 ft mark end 3900 ft, but")


def test_leave_out_unknown_keeps_what_an_incident_names(day: ReportedDay) -> None:
    told = IncidentContent(
        "spill", access_point="ditch", material="oil-99", amount=gallons(2), liable_party="nobody", span=S1
    )
    day.report(ReportContent(incidents=(told,)))
    incident = Incident.objects.get()
    assert (incident.material, incident.amount, incident.liable_party) == (None, None, None)
    assert incident.note == "[at ditch, which is no access point on record]"
    assert "material oil-99 was named amount 2 gal" in FieldReport.objects.get().note
    assert (len(found("kept_as_told")), len(found("taken_as_likely"))) == (1, 1)


def test_report_whose_every_name_is_unknown_is_kept_and_told_once(day: ReportedDay) -> None:
    entries, id = Entry.objects.count(), uuid4()
    for _time in range(2):
        day.report(ReportContent(readings=(left("D-99", 1),)), id=id)
    assert (FieldReport.objects.count(), Entry.objects.count()) == (1, entries)
    assert len(found("kept_as_told")) == 1


def test_report_corrected_once_the_name_is_on_record_is_booked_and_no_longer_found(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(12), source_container="D-1"),),
        caught=(caught("C-99", S1, amount=2),),
    )
    first = day.report(content)
    day.small.vessel("C-99", on_truck=True)
    correct_report(
        id=uuid4(), corrects=first.uuid, by=day.world.other_actor, occurred_at=at(9), content=content
    )
    assert (day.inside("C-99"), day.used(day.first)) == (2 * GAL, 10 * GAL)
    assert RuleFinding.objects.get(rule="kept_as_told").overtaken_at is not None


def test_report_of_a_step_at_no_known_span_or_run_is_refused(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(WorkName("J-1", "S9")),), cleanings=(cleaned(WorkName("J-9", "R1")),)
    )
    with pytest.raises(UnknownName) as refusal:
        day.report(content)
    assert [fault.pointer for fault in refusal.value.faults] == ["/attempts/0/span", "/cleanings/0/run"]
    assert not FieldReport.objects.exists()


def test_waste_without_a_number_is_booked_found_and_papered_by_a_correction(day: ReportedDay) -> None:
    day.report(
        ReportContent(
            attempts=(extracted(S1, injected=gallons(9), source_container="D-1"),),
            caught=(caught("C-1", S1, amount=9),),
        ),
        hours=8,
    )
    box = Container.objects.get(label="C-1")
    start_waste_drum(container=box, by=day.world.actor, occurred_at=at(8), day_limit=90)
    report = day.report(ReportContent(waste=(WasteContent(" ", "C-1"),)))
    assert (day.inside("C-1"), held(day.world.waste, day.world.recovered)) == (0, 9 * GAL)
    assert found("taken_as_likely") == [
        "C-1: waste was handed over; the manifest's number was not told; find it and correct the report."
    ]
    # Until the paper is found the drum stays on the list.
    assert (WasteManifest.objects.count(), WasteDrum.objects.get().manifest) == (0, None)
    correct_report(
        id=uuid4(), corrects=report.uuid, by=day.world.other_actor, occurred_at=at(9),
        content=ReportContent(waste=(WasteContent("M-1", "C-1"),)),
    )  # fmt: skip
    assert WasteDrum.objects.get().manifest == WasteManifest.objects.get(number="M-1")
    assert Movement.objects.filter(purpose="disposed", entry__reversed_by__isnull=True).count() >= 1


def test_sweep_without_its_run_came_out_of_the_run_that_was_cleaned(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(12)), extracted(S2, injected=gallons(12))),
        cleanings=(cleaned(),),
        caught=(replace(swept("C-1", amount=10), run=None),),
    )
    day.report(content)
    assert FluidCaught.objects.get().run == day.first.run
    assert day.inside("C-1") == 10 * GAL
    # By bore: both spans gave.
    assert min(day.used(day.first), day.used(day.second)) > 0
    assert day.used(day.first) + day.used(day.second) == 14 * GAL
    assert "C-1: which run was swept into it was not told; taken as run R1." in found("taken_as_likely")


def test_sweep_of_which_nobody_knows_the_run_came_out_of_the_days_spans(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S1, injected=gallons(12)),)), hours=8)
    day.report(ReportContent(caught=(replace(swept("C-1", amount=10), run=None),)))
    row = FluidCaught.objects.get()
    assert (row.kind, row.run, day.inside("C-1"), day.used(day.first)) == ("swept", None, 10 * GAL, 2 * GAL)
    [sentence] = [each for each in found("taken_as_likely") if "swept" in each]
    assert sentence.startswith("C-1: which run was swept into it was not told; taken out of the spans named")


def test_sweep_without_its_run_from_named_spans_is_of_their_run(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(12)),),
        caught=(replace(swept("C-1", amount=10), run=None, spans=(S1,)),),
    )
    day.report(content)
    assert FluidCaught.objects.get().run == day.first.run
