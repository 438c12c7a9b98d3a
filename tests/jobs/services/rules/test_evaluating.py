"""What the rules find in reports: a report is never refused, what it tells stops what follows."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Container, DomainEvent, TaggedFitting
from inventory.services.posting.rows import read_rows
from inventory.services.tagged_fittings import inspect_fitting
from jobs.models import CompanyRules, FieldReport, Incident, ReportedLoss, RuleFinding
from jobs.queries.safety import list_blocked_runs
from jobs.services.reports.content import IncidentContent, LossContent, ReadingContent, ReportContent
from jobs.services.reports.keeping import load_told
from jobs.services.reports.reporting import correct_report
from jobs.services.reports.rows import Told
from jobs.services.rules.facts import list_subjects
from jobs.services.rules.fluid_facts import list_fluid_subjects
from jobs.services.rules.reading import make_record, select_record
from jobs.services.safety.lifting import LiftedByItsCauser, lift_finding
from tests.factories.instruments import make_instrument
from tests.factories.inventory import at
from tests.factories.kits import make_fitting
from tests.factories.reports import (
    S1,
    S2,
    ReportedDay,
    blown,
    caught,
    cleaned,
    extracted,
    ft,
    gallons,
    left,
    make_reported_day,
    swept,
)
from tests.factories.safety import make_limit, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day()


def _codes(report: FieldReport | None = None) -> list[str]:
    rows = RuleFinding.objects.all() if report is None else RuleFinding.objects.filter(report=report)
    return sorted(row.rule for row in rows if row.is_open)


def _lift(code: str) -> None:
    finding = RuleFinding.objects.get(rule=code, lifted_at__isnull=True)
    lift_finding(
        id=finding.uuid,
        by=make_person("officer"),
        role="safety",
        reason="all pieces are accounted for",
        occurred_at=at(20),
    )


def test_report_of_an_ordinary_day_finds_nothing(day: ReportedDay) -> None:
    make_limit("extraction", 1000.0)
    attempt = extracted(S1, pressure_kpa=900.0, meter_start=gallons(10), meter_end=gallons(30))
    readings = (left("D-1", 35), left("C-1", 0))
    day.report(ReportContent(attempts=(attempt,), caught=(caught("C-1", S1, amount=4),), readings=readings))
    day.report(ReportContent(cleanings=(cleaned(),)), hours=10)
    assert _codes() == []


def test_report_says_what_was_found_and_whose_it_is(day: ReportedDay) -> None:
    report = day.report(
        ReportContent(attempts=(extracted(S1, meter_start=gallons(30), meter_end=gallons(10)),))
    )
    finding = RuleFinding.objects.get()
    assert (finding.rule, finding.severity) == ("meter_runs_backwards", "warning")
    assert finding.sentence == "Span S1: the meter stood at 30 before and at 10 after."
    assert (finding.report, finding.caused_by, finding.span) == (report, report.by, day.first)


def test_report_sent_again_finds_nothing_anew(day: ReportedDay) -> None:
    id = uuid4()
    content = ReportContent(cleanings=(cleaned(fired=4, retrieved=3),))
    for _time in range(2):
        day.report(content, id=id)
    assert _codes() == ["projectile_inside"]
    assert DomainEvent.objects.filter(kind="work_stopped").count() == 1


@pytest.mark.parametrize(
    ("purpose", "content"),
    [
        ("extraction", ReportContent(attempts=(extracted(S1, pressure_kpa=900.0),))),
        ("air_cleaning", ReportContent(cleanings=(cleaned(pressure_kpa=900.0),))),
        ("blowing", ReportContent(cleanings=(cleaned(),), blowings=(blown(pressure_kpa=900.0),))),
    ],
)
def test_report_of_a_pressure_is_held_against_the_limit_of_its_day(
    day: ReportedDay, purpose: str, content: ReportContent
) -> None:
    first = day.report(content, hours=1)
    assert _codes(first) == [f"no_{purpose}_limit_approved"]
    make_limit(purpose, 800.0, hours=2)
    assert f"{purpose}_pressure_above_limit" in _codes(day.report(content, hours=3))
    late = day.report(content, hours=1.5)
    assert f"{purpose}_pressure_above_limit" not in _codes(late)


def test_projectile_inside_blocks_the_run_until_a_whole_count(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3, is_clean=False),)))
    (blocked,) = list_blocked_runs()
    assert (blocked.run, [stop.rule.code for stop in blocked.stops]) == (day.small.run, ["projectile_inside"])
    search = cleaned(fired=0, retrieved=0, is_clean=False, stuck_at=ft(100), were_both_ends_vented=True)
    day.report(ReportContent(cleanings=(search,)), hours=10)
    (blocked,) = list_blocked_runs()
    assert len(blocked.attempts) == 2
    assert blocked.found_at_um == 30_480_000
    assert RuleFinding.objects.count() == 1
    assert RuleFinding.objects.get().facts["stuck_at_m"] == pytest.approx(30.48)
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=1, is_clean=True),)), hours=11)
    assert list_blocked_runs() == []
    assert RuleFinding.objects.get().settled_at == at(11)


def test_projectile_accounted_for_by_safety_is_not_missed_again(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3, is_clean=False),)))
    _lift("projectile_inside")
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=2),)), hours=30)
    assert _codes() == []
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=1),)), hours=31)
    assert _codes() == ["projectile_inside"]


def test_projectile_inside_is_not_settled_by_a_count_that_nobody_told(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3, is_clean=False),)))
    day.report(ReportContent(cleanings=(cleaned(fired=1, retrieved=None),)), hours=10)
    assert _codes() == ["projectile_inside", "projectiles_not_counted"]


def test_correction_of_the_count_settles_the_stop(day: ReportedDay) -> None:
    report = day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3),)))
    _correct(report, ReportContent(cleanings=(cleaned(fired=4, retrieved=4),)))
    assert _codes() == []


@pytest.mark.parametrize(
    "content",
    [
        ReportContent(note="a bare note"),
        ReportContent(attempts=(extracted(S1),)),
        ReportContent(cleanings=(cleaned(fired=None, retrieved=None),)),
    ],
)
@pytest.mark.parametrize("had_count_before", [False, True])
def test_correction_that_drops_the_count_leaves_the_stop_to_safety(
    day: ReportedDay, content: ReportContent, had_count_before: bool
) -> None:
    if had_count_before:
        day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=2, is_clean=False),)), hours=1)
    report = day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3),)))
    _correct(report, content)
    assert _codes() == ["projectile_inside"]
    _lift("projectile_inside")
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=2),)), hours=30)
    assert _codes() == []


def test_stop_that_another_person_adds_to_is_lifted_by_neither(day: ReportedDay) -> None:
    make_limit("extraction", 800.0)
    officer = make_person("officer")
    day.report(ReportContent(attempts=(extracted(S1, pressure_kpa=900.0),)))
    day.report(ReportContent(attempts=(extracted(S1, pressure_kpa=1500.0),)), hours=10, by=officer)
    first, second = RuleFinding.objects.order_by("found_at")
    assert (first.facts["pressure_kpa"], second.facts["pressure_kpa"]) == (900.0, 1500.0)
    assert second.caused_by == officer
    assert DomainEvent.objects.filter(kind="work_stopped").count() == 2
    lifted = {"role": "safety", "reason": "gear renewed", "occurred_at": at(20)}
    with pytest.raises(LiftedByItsCauser):
        lift_finding(id=second.uuid, by=officer, **lifted)
    lift_finding(id=first.uuid, by=officer, **lifted)
    assert _codes() == ["extraction_pressure_above_limit"]


def test_stop_tells_safety_again_when_its_causer_tells_of_worse_and_keeps_the_worst(day: ReportedDay) -> None:
    make_limit("extraction", 800.0)
    twice = (extracted(S1, pressure_kpa=900.0), extracted(S1, pressure_kpa=1000.0))
    day.report(ReportContent(attempts=twice))
    assert RuleFinding.objects.get().facts["pressure_kpa"] == 1000.0
    for hours, pressure in ((10, 1500.0), (11, 850.0)):
        day.report(ReportContent(attempts=(extracted(S1, pressure_kpa=pressure),)), hours=hours)
    finding = RuleFinding.objects.get()
    assert finding.facts["pressure_kpa"] == 1500.0
    assert "218 psi" in finding.sentence
    sentences = [row.body["sentence"] for row in DomainEvent.objects.filter(kind="work_stopped")]
    assert ["145 psi" in sentences[0], "218 psi" in sentences[1], len(sentences)] == [True, True, 2]


def test_whoever_leaves_another_projectile_inside_causes_a_stop_of_his_own(day: ReportedDay) -> None:
    officer = make_person("officer")
    day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3, is_clean=False),)))
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=0),)), hours=10, by=officer)
    assert RuleFinding.objects.count() == 1
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=1),)), hours=11, by=officer)
    assert [row.caused_by == officer for row in RuleFinding.objects.order_by("found_at")] == [False, True]
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=2),)), hours=12)
    assert _codes() == []


def test_projectile_that_stays_is_found_though_too_many_came_out_before(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=3, is_clean=False),)))
    assert _codes() == ["more_projectiles_out_than_fired"]
    stuck = cleaned(fired=1, retrieved=0, stuck_at=ft(100), is_clean=False)
    day.report(ReportContent(cleanings=(stuck,)), hours=30)
    assert _codes() == ["more_projectiles_out_than_fired", "projectile_inside"]
    assert RuleFinding.objects.get(rule="projectile_inside").facts["stuck_at_m"] == pytest.approx(30.48)
    assert [blocked.run for blocked in list_blocked_runs()] == [day.small.run]


def test_projectile_found_stuck_is_a_stop_until_a_whole_count(day: ReportedDay) -> None:
    stuck = cleaned(fired=2, retrieved=None, stuck_at=ft(100), is_clean=False)
    day.report(ReportContent(cleanings=(stuck,)))
    assert _codes() == ["projectile_stuck", "projectiles_not_counted"]
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=1),)), hours=10)
    assert _codes() == ["projectile_stuck", "projectiles_not_counted"]
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=1),)), hours=11)
    assert _codes() == []


def test_projectiles_that_nobody_counted_block_blowing_until_safety_accounts_for_them(
    day: ReportedDay,
) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=None),)))
    (blocked,) = list_blocked_runs()
    assert [stop.rule.blocks for stop in blocked.stops] == [("blow",)]
    _lift("projectiles_not_counted")
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=1),)), hours=30)
    assert _codes() == ["projectile_inside"]
    assert RuleFinding.objects.get(rule="projectile_inside").facts["inside"] == 1


def test_late_cleaning_is_counted_in_its_place(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(fired=0, retrieved=1),)), hours=12)
    assert _codes() == ["more_projectiles_out_than_fired"]
    day.report(ReportContent(cleanings=(cleaned(fired=4, retrieved=3),)), hours=9)
    assert _codes() == []


def test_correction_ends_warnings_and_leaves_a_pressure_to_safety(day: ReportedDay) -> None:
    make_limit("extraction", 800.0)
    wrong = extracted(S1, pressure_kpa=900.0, was_leak_looked_for=False)
    report = day.report(ReportContent(attempts=(wrong,)))
    assert _codes() == ["extraction_pressure_above_limit", "leak_not_looked_for"]
    _correct(report, ReportContent(attempts=(extracted(S1, pressure_kpa=700.0),)))
    assert _codes() == ["extraction_pressure_above_limit"]


def _correct(report: FieldReport, content: ReportContent) -> FieldReport:
    return correct_report(
        id=uuid4(), corrects=report.uuid, by=report.by, occurred_at=report.occurred_at, content=content
    )


def test_blowing_before_clean_waits_for_safety_whatever_is_reported_of_the_cleaning(day: ReportedDay) -> None:
    day.report(ReportContent(blowings=(blown(),)))
    assert _codes() == ["blowing_before_clean"]
    day.report(ReportContent(cleanings=(cleaned(),)), hours=8)
    assert _codes() == ["blowing_before_clean"]
    _lift("blowing_before_clean")
    assert _codes() == []


def test_blowing_before_clean_is_found_when_its_report_comes_behind_the_cleaning(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(),)), hours=12)
    assert _codes(day.report(ReportContent(blowings=(blown(end=4500),)), hours=13)) == []
    assert _codes(day.report(ReportContent(blowings=(blown(start=4500),)), hours=8)) == [
        "blowing_before_clean"
    ]


def test_blowing_before_clean_is_found_when_the_cleaning_is_corrected_away(day: ReportedDay) -> None:
    report = day.report(ReportContent(cleanings=(cleaned(),), blowings=(blown(),)))
    assert _codes() == []
    _correct(report, ReportContent(blowings=(blown(),)))
    assert _codes() == ["blowing_before_clean"]


def test_marks_are_held_against_the_jacket_and_against_the_first_unwinding(day: ReportedDay) -> None:
    day.report(ReportContent(cleanings=(cleaned(),)), hours=1)
    day.report(ReportContent(blowings=(blown(start=5000, end=4900),)), hours=2)
    assert _codes() == []
    day.report(ReportContent(blowings=(blown(start=4800, end=4900),)), hours=3)
    assert _codes() == ["marks_in_wrong_direction"]
    Container.objects.filter(label="REEL-1").update(outer_mark=0, inner_mark=5_000_000_000)
    report = day.report(ReportContent(blowings=(blown(start=4700, end=4600),)), hours=4)
    assert _codes(report) == []  # The same stands from before.
    assert _codes(day.report(ReportContent(blowings=(blown(start=4500, end=4600),)), hours=5)) == []


@pytest.mark.parametrize(("end", "found"), [(0, []), (-50, []), (-60, ["marks_longer_than_reel"])])
def test_marks_are_held_against_what_the_book_had_on_the_reel(
    day: ReportedDay, end: int, found: list[str]
) -> None:
    day.report(ReportContent(cleanings=(cleaned(),)), hours=1)
    day.report(ReportContent(blowings=(blown(start=5000, end=end),)), hours=2)
    assert _codes() == found


def test_more_recovered_than_injected_is_found_beyond_the_uncertainty(day: ReportedDay) -> None:
    attempt = extracted(S1, injected=gallons(20))
    CompanyRules.objects.create(pk=1, recovered_coverage_factor=1000.0)
    day.report(ReportContent(attempts=(attempt,), caught=(caught("C-1", S1, amount=21),)))
    few = _codes()
    CompanyRules.objects.update(recovered_coverage_factor=2.0)
    day.report(ReportContent(caught=(caught("C-1", S1, amount=1),)), hours=10)
    assert (few, _codes()) == ([], ["recovered_above_injected"])
    finding = RuleFinding.objects.get()
    assert finding.sentence.startswith("Crew north on 2026-03-02: 22 gal came back of 20 gal injected")


def test_catches_read_on_one_scale_are_off_together(day: ReportedDay) -> None:
    make_instrument("SC-1", kind="scale")
    make_instrument("SC-2", kind="scale")
    Container.objects.filter(label__in=["C-1", "C-2"]).update(tare_kg=10.0)

    def uncertainty_of(*scales: str) -> float:
        FieldReport.objects.update(is_undone=True)
        readings = [
            ReadingContent(f"C-{number}", "weighed", Decimal(pounds), "[lb_av]", 15.0, scale, moment)
            for number, scale in enumerate(scales, start=1)
            for moment, pounds in (("start", 30), ("end", 80))
        ]
        report = day.report(
            ReportContent(
                attempts=(extracted(S1, injected=gallons(20)),),
                caught=tuple(caught(f"C-{number}", S1) for number in range(1, len(scales) + 1)),
                readings=tuple(readings),
            ),
            hours=9 + len(FieldReport.objects.all()) / 10,
        )
        told = load_told([report])[report.pk]
        record = make_record(read_rows(*select_record(told, None)))
        [subject] = list_fluid_subjects(told, record)
        return float(subject.facts["uncertainty_l"])

    one, on_two = uncertainty_of("SC-1") ** 2, uncertainty_of("SC-1", "SC-2") ** 2
    of_a_catch = on_two - one
    assert of_a_catch > 0
    # Twice the error of one, not one of each.
    assert uncertainty_of("SC-1", "SC-1") ** 2 == pytest.approx(one + 3 * of_a_catch)


def test_less_than_half_recovered_is_found_after_sweeping_only(day: ReportedDay) -> None:
    both = (extracted(S1, injected=gallons(20)), extracted(S2, injected=gallons(20)))
    day.report(ReportContent(attempts=both, caught=(caught("C-1", S1, S2, amount=4),)))
    assert _codes() == []
    day.report(ReportContent(caught=(swept("C-2", amount=5),)), hours=10)
    assert _codes() == ["recovered_below_half"]
    assert RuleFinding.objects.get().run == day.small.run
    day.report(ReportContent(caught=(swept("C-2", amount=20),)), hours=11)
    assert _codes() == []


def test_fitting_is_held_back_when_it_was_rigged_without_inspection(day: ReportedDay) -> None:
    _make_fitting(day)
    attempts = (extracted(S1, pressure_fitting_tag="PF-1"), extracted(S2, pressure_fitting_tag="PF-1"))
    report = day.report(ReportContent(attempts=attempts))
    fitting = TaggedFitting.objects.get()
    assert (fitting.uses, fitting.is_held) == (1, True)
    assert _codes() == ["fitting_past_inspection"]
    _correct(report, ReportContent(attempts=(extracted(S1),)))
    assert TaggedFitting.objects.get().uses == 0
    _lift("fitting_past_inspection")
    assert not TaggedFitting.objects.get().is_held


def test_fitting_that_was_inspected_is_counted_and_left_alone(day: ReportedDay) -> None:
    _make_fitting(day)
    inspect_fitting(id=uuid4(), tag="PF-1", is_passed=True, by=day.world.actor, occurred_at=at(8))
    day.report(ReportContent(attempts=(extracted(S1, pressure_fitting_tag="PF-1"),)))
    assert _codes() == []
    day.report(ReportContent(attempts=(extracted(S2, pressure_fitting_tag="PF-9"),)), hours=10)
    assert _codes() == ["fitting_unknown"]


def _make_fitting(day: ReportedDay) -> None:
    TaggedFitting.objects.create(
        tag="PF-1",
        material=make_fitting("pressure_end"),
        made_by="A",
        checked_by="B",
        made_date=at(0).date(),
        place=day.world.vehicle,
    )


def test_fluid_in_the_ground_opens_an_incident_that_safety_hears_of(day: ReportedDay) -> None:
    loss = LossContent(material="fluid", cause="spill", amount=gallons(4), container="D-1", span=S1)
    day.report(ReportContent(losses=(loss,)))
    assert _codes() == ["fluid_in_the_ground"]
    incident = Incident.objects.get()
    assert (incident.kind, incident.span, incident.cause) == ("fluid_in_the_ground", day.first, "spill")
    assert (incident.amount_low, incident.amount, incident.amount_high) == (2_000_000, 4_000_000, 6_000_000)
    assert ReportedLoss.objects.get().incident == incident
    assert DomainEvent.objects.get(kind="incident_opened").body["to"] == "safety"


def test_spill_that_was_held_back_stops_nothing_and_is_an_incident_all_the_same(day: ReportedDay) -> None:
    loss = LossContent(material="fluid", cause="spill", amount=gallons(4), is_contained=True, span=S1)
    day.report(ReportContent(losses=(loss,)))
    assert _codes() == []
    incident = Incident.objects.get()
    assert (incident.kind, incident.is_contained, incident.span) == ("spill", True, day.first)
    assert (incident.amount_low, incident.amount, incident.amount_high) == (2_000_000, 4_000_000, 6_000_000)
    assert ReportedLoss.objects.get().incident == incident
    assert DomainEvent.objects.get(kind="incident_opened").body["to"] == "safety"


def test_loss_by_another_cause_is_no_incident(day: ReportedDay) -> None:
    loss = LossContent(material="fluid", cause="theft", amount=gallons(4), is_contained=True, span=S1)
    day.report(ReportContent(losses=(loss,)))
    assert not Incident.objects.exists()


def test_spill_told_as_an_incident_of_its_own_is_one(day: ReportedDay) -> None:
    loss = LossContent(material="fluid", cause="spill", amount=gallons(4), is_contained=True, span=S1)
    day.report(ReportContent(losses=(loss,), incidents=(IncidentContent(kind="spill", span=S1),)))
    assert Incident.objects.count() == 1


def test_incident_that_a_report_tells_of_is_opened_once(day: ReportedDay) -> None:
    told = IncidentContent(kind="injury", span=S1, note="A hand was caught.", access_point="P1")
    id = uuid4()
    for _time in range(2):
        report = day.report(ReportContent(incidents=(told,)), id=id)
    incident = Incident.objects.get()
    assert (incident.kind, incident.report, incident.job) == ("injury", report, day.small.job)
    assert incident.access_point is not None
    assert incident.access_point.name == "P1"


def test_report_of_ten_spans_takes_as_many_queries_to_judge_as_one_of_one(
    day: ReportedDay, django_assert_max_num_queries: Any
) -> None:
    report = day.report(ReportContent(attempts=(extracted(S1, pressure_kpa=5.0),)))
    row = report.attempts.select_related("span").get()
    for many in (1, 10):
        told = Told(report, attempts=[row] * many)
        with django_assert_max_num_queries(9):
            subjects = list_subjects(told, make_record(read_rows(*select_record(told, None))))
        assert len(subjects) == many


def test_report_without_anything_that_a_rule_looks_at_asks_nothing(day: ReportedDay) -> None:
    report = day.report(ReportContent(readings=(left("D-1", 40),)))
    told = Told(report, readings=list(report.readings.all()))
    assert select_record(told, None) == []
    assert list_subjects(told, make_record([])) == []


@pytest.mark.postgresql
def test_record_of_a_report_is_read_in_one_message(day: ReportedDay, django_assert_num_queries: Any) -> None:
    report = day.report(ReportContent(attempts=(extracted(S1),), caught=(caught("C-1", S1, amount=4),)))
    told = load_told([report])[report.pk]
    with django_assert_num_queries(1):
        record = make_record(read_rows(*select_record(told, None)))
    assert [row.injected for row in record.attempts] == [None]
    assert [(row.amount, row.span_runs) for row in record.catches] == [
        (4_000_000, frozenset({day.small.run.pk}))
    ]
