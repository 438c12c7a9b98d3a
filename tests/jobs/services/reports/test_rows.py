"""What a report leaves unsaid is assumed and said; it is not refused for what the records lack."""

from dataclasses import replace
from decimal import Decimal

import pytest

from inventory.models import Container, Holding, Material, Movement
from inventory.services.measuring import BadReading
from jobs.models import ContainerReading, FieldReport, RuleFinding, RunBlowing, RunCleaning, SpanAttempt
from jobs.services.reports.content import ReadingContent, ReportContent, WasteContent
from tests.factories.inventory import held
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
)

pytestmark = pytest.mark.django_db
GAL = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


def found(rule: str) -> list[str]:
    """The sentences of a rule's findings."""
    return list(RuleFinding.objects.filter(rule=rule).order_by("pk").values_list("sentence", flat=True))


def test_post_report_takes_a_weighed_drum_of_a_fluid_whose_density_nobody_knows(day: ReportedDay) -> None:
    Material.objects.filter(code="fluid").update(density_kg_per_m3=None)
    weighed = ReadingContent(container="D-1", method="weighed", value=Decimal(150), unit="kg")
    day.report(ReportContent(attempts=(extracted(S1),), readings=(weighed,)))
    row = ContainerReading.objects.get()
    # About 130 kg at 1000 kg/m3 are 34 gal; the density is known to 150 of 1000, rectangular: 9 % of it.
    assert 30 * GAL < row.amount < 38 * GAL
    assert row.standard_uncertainty > 0.08 * row.amount


def test_post_report_takes_the_fluid_aboard_where_none_is_usual(day: ReportedDay) -> None:
    Material.objects.create(
        code="aaa", name="Oil", kind="fluid", stock_unit="[gal_us]", density_kg_per_m3=900.0
    )
    day.report(ReportContent(attempts=(extracted(S1, injected=gallons(12), note="Wet."),)))
    assert day.used(day.first) == 12 * GAL
    assert SpanAttempt.objects.get().note == ("Wet. [which fluid was not told, taken as Extraction fluid]")


def test_post_report_says_nothing_of_a_fluid_that_its_drum_tells(day: ReportedDay) -> None:
    attempts = (
        extracted(S1, injected=gallons(12), source_container="D-1"),
        extracted(S2, injected=gallons(1)),
    )
    day.report(ReportContent(attempts=attempts))
    assert set(SpanAttempt.objects.values_list("note", flat=True)) == {""}


def test_post_report_takes_the_kits_projectile_where_none_is_named(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(projectile="", fired=3),)))
    row = RunCleaning.objects.get()
    assert (row.projectile, row.fired) == (day.world.projectile, 3)
    assert row.note == f"[which projectile was not told, taken as {day.world.projectile}]"
    assert held(row.run.place, day.world.projectile) == 3 * GAL


def test_post_report_takes_a_reel_of_which_nothing_is_left_by_its_length(day: ReportedDay) -> None:
    rest = ReadingContent(container="REEL-1", method="metered", value=Decimal(0), unit="[ft_i]")
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(blown(),), readings=(rest,)))
    assert day.inside("REEL-1") == 0
    assert Movement.objects.filter(purpose="counted").exists()


def test_post_report_keeps_a_reading_of_a_tank_that_nobody_measured_as_it_was_read(day: ReportedDay) -> None:
    day.small.drum("T-1", 100, on_truck=True, kind=Container.Kind.TRUCK_TANK, capacity=None)
    full = ReadingContent(container="T-1", method="quarters", value=Decimal(2))
    day.report(ReportContent(attempts=(extracted(S1),), readings=(full, left("D-1", 30)), note="Long day."))
    assert (day.inside("T-1"), day.used(day.first)) == (100 * GAL, 25 * GAL)
    assert FieldReport.objects.get().note == (
        "Long day. [T-1 read as quarters 2: it has no capacity on record; note it, or read the amount "
        "another way]"
    )
    assert found("kept_as_told") == [
        "T-1: read as quarters 2, but it has no capacity on record; note it, or read the amount another way. "
        "It is kept as told and not booked."
    ]


def test_post_report_takes_projectiles_of_which_the_records_know_none(day: ReportedDay) -> None:
    Material.objects.filter(kind="projectile").update(kind="consumable", nominal_diameter_mm=None)
    day.report(ReportContent(cleanings=(cleaned(projectile="", fired=3, retrieved=2),)))
    row = RunCleaning.objects.get()
    assert (row.projectile, row.fired, row.retrieved) == (None, 3, 2)
    assert not Movement.objects.filter(purpose="used").exists()
    assert found("kept_as_told") == [
        "Run R1: which of the projectiles was fired, 3 in all, was not told, but none is on record for this "
        "bore; put it on record and correct the report. It is kept as told and not booked."
    ]
    # One is still inside, whatever it is.
    assert len(found("projectile_inside")) == 1


def test_post_report_takes_a_fluid_that_nobody_names_and_none_of_which_is_held(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S2, injected=gallons(1), fluid="fluid"),)), hours=8)
    Material.objects.create(
        code="aaa", name="Oil", kind="fluid", stock_unit="[gal_us]", density_kg_per_m3=900.0
    )
    Holding.objects.filter(material__kind="fluid").update(is_kept=False)
    day.report(ReportContent(attempts=(extracted(S1, injected=gallons(12)),)))
    # What went in last is the likeliest.
    assert day.used(day.first) == 12 * GAL
    assert found("taken_as_likely") == [
        "Span S1: which fluid went in was not told; taken as Extraction fluid."
    ]


def test_post_report_takes_work_of_a_company_without_any_fluid_on_record(day: ReportedDay) -> None:
    Material.objects.filter(kind="fluid").update(kind="consumable", recovered_from=None)
    Container.objects.filter(label="C-1").update(material=None)
    day.report(
        ReportContent(
            attempts=(extracted(S1, injected=gallons(12)),),
            caught=(caught("C-1", S1, amount=5),),
            readings=(left("C-1", 5),),
            waste=(WasteContent(manifest_number="W-7", container="C-1", amount=gallons(5)),),
        )
    )
    attempt, report = SpanAttempt.objects.get(), FieldReport.objects.get()
    assert (attempt.injected, attempt.note) == (None, "[12 gal went in; no fluid is on record]")
    assert "5 gal caught into C-1" in report.note
    assert "manifest W-7" in report.note
    told = [sentence.split(", but")[0] for sentence in found("kept_as_told")]
    assert told == [
        "Span S1: 12 gal went in",
        "C-1: 5 gal was caught",
        "C-1: waste was handed over under manifest W-7",
        "C-1: read as dipped 5 [gal_us]",
    ]


def test_post_report_books_a_catch_of_a_fluid_that_has_no_recovered_form(day: ReportedDay) -> None:
    Material.objects.filter(recovered_from__isnull=False).update(kind="consumable", recovered_from=None)
    day.report(
        ReportContent(
            attempts=(extracted(S1, injected=gallons(12), source_container="D-1"),),
            caught=(caught("C-1", S1, amount=5),),
        )
    )
    assert (day.used(day.first), day.inside("C-1")) == (7 * GAL, 5 * GAL)
    assert found("taken_as_likely") == [
        "C-1: 5 gal was caught; taken as Extraction fluid, since no recovered fluid is on record for it."
    ]


def test_post_report_takes_marks_of_the_only_reel_aboard_and_keeps_those_of_none(day: ReportedDay) -> None:
    marks = blown(start=5000, end=3900)
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(replace(marks, reel=""),)))
    assert (RunBlowing.objects.get().reel, day.inside("REEL-1")) == (
        Container.objects.get(label="REEL-1"),
        3900 * GAL,
    )
    Holding.objects.filter(container__label="REEL-1").update(quantity=0)
    day.report(ReportContent(blowings=(replace(marks, reel="", note="Slow."),)), hours=10)
    row = RunBlowing.objects.get(reel=None)
    assert (row.mark_start, row.mark_end) == (None, None)
    assert row.note == "Slow. [marks 5000 ft to 3900 ft of a reel that was not told]"
    assert (len(found("taken_as_likely")), len(found("kept_as_told"))) == (1, 1)


def test_post_report_takes_the_same_reading_told_again_in_one_report_once(day: ReportedDay) -> None:
    readings = (left("D-1", 30), left("D-1", 30))
    day.report(ReportContent(attempts=(extracted(S1),), readings=readings))
    assert (day.inside("D-1"), ContainerReading.objects.count()) == (30 * GAL, 1)
    with pytest.raises(BadReading, match="read twice and otherwise"):
        day.report(ReportContent(readings=(left("D-1", 30), left("D-1", 29))), hours=10)
