"""What a company's reports teach: of full extractions only, over the bore as found, with shared drums whole.

The bore of .500 is 11.4808 mm, so 400 ft of it hold 12.621 L.
"""

from datetime import datetime, timedelta

import pytest

from inventory.models import Container, Place, Requirement
from jobs.calc.bore import bore_volume_m3
from jobs.models import CrewDay, EstimatingPolicy, LearntFit, RefitRequest, Span
from jobs.queries.jobs import get_policy
from jobs.queries.learning_readings import collect_lessons
from jobs.queries.learnt import load_learnt
from jobs.services.learning import refit_all, refit_where_asked
from jobs.services.needs import write_needs
from jobs.services.reports.after import request_refits
from jobs.services.reports.content import ReportContent
from jobs.tasks import learn_nightly, learn_where_asked
from tests.factories.field_reports import (
    EVENING,
    add_attempt,
    add_catch,
    add_cleaning,
    add_lost_piece,
    make_report,
)
from tests.factories.jobs import (
    add_step,
    make_company,
    make_crew,
    make_crew_day,
    make_fluid,
    make_job,
    make_place,
    make_run,
    make_size,
    make_span,
)
from tests.factories.kits import make_fitting
from tests.factories.reports import S1, S2, extracted, make_reported_day

pytestmark = pytest.mark.django_db
BORE_L = bore_volume_m3(bore_mm=11.4808, length_m=400 * 0.3048) * 1000


@pytest.fixture
def crew_day() -> CrewDay:
    return make_crew_day(make_crew())


@pytest.fixture
def spans() -> list[Span]:
    run = make_run(make_job(), size=make_size())
    return [make_span(run, f"S{n}", f"P{n}", f"P{n + 1}", sequence=n) for n in range(1, 7)]


def make_drum(label: str) -> Container:
    return Container.objects.create(
        label=label,
        kind=Container.Kind.DRUM,
        material=make_fluid("glide-l", "L"),
        owner=make_company(),
        place=make_place(Place.Kind.WAREHOUSE, "yard"),
    )


def test_refit_learns_the_ratio_of_full_extractions_only(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    for span in spans[:4]:
        add_attempt(report, span, 1.1 * BORE_L)
    add_attempt(report, spans[4], 9 * BORE_L, outcome="part_out")
    # A second try of one that moved before says nothing of a whole extraction.
    add_attempt(report, spans[5], BORE_L, outcome="no_movement")
    add_attempt(report, spans[5], 5 * BORE_L)
    refit_all(at=EVENING)
    fit = LearntFit.objects.get(subject="injected_ratio")
    assert (fit.covered_count, fit.first_at, fit.last_at) == (4, EVENING, EVENING)
    learnt = load_learnt(get_policy())
    assert learnt.injected(make_size()).mean == pytest.approx(1.1, abs=0.01)
    assert learnt.explain("injected_ratio", [make_size()]) == "learnt from 4 spans of 2 March 2026"


def test_collect_lessons_is_over_the_bore_as_found(crew_day: CrewDay, spans: list[Span]) -> None:
    bigger = make_size(".750", 17.272)
    found = spans[0].length_um // 2
    add_attempt(make_report(crew_day), spans[0], 10, as_found_size=bigger, as_found_length_um=found)
    injected = collect_lessons(get_policy()).injected
    assert injected.span_sizes == [bigger.pk]
    assert injected.span_volumes == pytest.approx(
        [bore_volume_m3(bore_mm=bigger.bore_mm, length_m=200 * 0.3048)]
    )
    assert injected.totals == pytest.approx([0.010])


def test_collect_lessons_takes_the_set_up_off_what_left_a_drum(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    add_attempt(report, spans[0], 10)
    add_attempt(report, spans[1], 10, meter_start=None, meter_end=None, meter_unit="")
    set_up = get_policy().set_up_volume_l / 1000
    assert collect_lessons(get_policy()).injected.totals == pytest.approx([0.010, 0.010 - set_up])


def test_collect_lessons_leaves_a_corrected_report_out(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    add_attempt(report, spans[0], 10)
    report.is_undone = True
    report.save()
    assert collect_lessons(get_policy()).injected.totals == []


def test_collect_lessons_keeps_a_shared_drum_as_one_total(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    for span in spans[:5]:
        add_attempt(report, span, 10)
    first, second, third = (make_drum(label) for label in ("D1", "D2", "D3"))
    add_catch(report, first, 4, spans[:2])
    # The second drum took the rest of span 2 and all of span 3: the three belong together.
    add_catch(report, second, 3, spans[1:3])
    add_catch(report, third, 1, spans[3:4])
    caught = collect_lessons(get_policy()).caught
    assert sorted(caught.totals) == pytest.approx([0.001, 0.007])
    assert [caught.span_readings.count(number) for number in (0, 1)] == [3, 1]


def test_collect_lessons_counts_recovered_only_where_a_whole_run_is_known(
    crew_day: CrewDay, spans: list[Span]
) -> None:
    report = make_report(crew_day)
    for span in spans:
        add_attempt(report, span, 10)
    run = spans[0].run
    add_catch(report, make_drum("D1"), 12, spans)
    assert collect_lessons(get_policy()).recovered.totals == []
    add_catch(report, make_drum("D2"), 42, [], run=run)
    recovered = collect_lessons(get_policy()).recovered
    assert recovered.totals == pytest.approx([0.054])
    assert sum(recovered.span_volumes) == pytest.approx(0.060)


def test_refit_adds_up_the_projectiles_of_several_days(crew_day: CrewDay, spans: list[Span]) -> None:
    run, projectile = spans[0].run, make_fitting("union")
    add_cleaning(make_report(crew_day), run, 2, projectile, is_clean=False)
    assert collect_lessons(get_policy()).passes.rows == []
    add_cleaning(make_report(crew_day, days_later=1), run, 3, projectile, is_clean=True)
    assert collect_lessons(get_policy()).passes.rows == [(run.cable_size_id, 5, 1)]
    refit_all(at=EVENING)
    learnt = load_learnt(get_policy()).passes(make_size(), runs=3)
    assert learnt is not None
    assert 3 < learnt.mean / 3 < 5
    assert learnt.enough >= learnt.mean


def test_refit_says_between_what_numbers_nine_of_ten_runs_lie(crew_day: CrewDay, spans: list[Span]) -> None:
    """By their own mass function: what is stored of a run holds nine of ten, and not eight."""
    report, run, projectile = make_report(crew_day), spans[0].run, make_fitting("union")
    for fired in range(1, 9):
        other = make_run(run.job, f"fired {fired}", run.cable_size)
        add_cleaning(report, other, fired, projectile, is_clean=True)
    refit_all(at=EVENING)
    row = LearntFit.objects.get(subject="passes").sizes.get(cable_size=run.cable_size)
    chances = row.distribution["probabilities"]
    numbers = range(1, len(chances) + 1)
    within = sum(chance for n, chance in zip(numbers, chances, strict=True) if row.low <= n <= row.high)
    assert within >= 0.9
    assert sum(chance for n, chance in zip(numbers, chances, strict=True) if n < row.low) <= 0.05


def test_refit_learns_how_many_fittings_are_lost(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    for span in spans:
        add_attempt(report, span, 10)
    add_lost_piece(report, make_fitting("pressure_end"), 3)
    refit_all(at=EVENING)
    fit = LearntFit.objects.get(subject="fitting_loss")
    assert fit.covered_count == 12
    row = fit.sizes.get(cable_size=make_size())
    # 3 of 12 were lost where 2 of 100 were thought of.
    assert 0.02 < row.mean < 0.25
    learnt = load_learnt(get_policy()).losses(make_size(), uses=6)
    assert learnt is not None
    assert learnt.mean == pytest.approx(6 * row.mean)


def test_refit_stores_nothing_without_reports_and_nothing_twice(crew_day: CrewDay, spans: list[Span]) -> None:
    assert refit_all(at=EVENING) == []
    assert load_learnt(get_policy()).explain("injected_ratio", []) == (
        "the company's estimate, no reports yet"
    )
    add_attempt(make_report(crew_day), spans[0], 10)
    assert len(refit_all(at=EVENING)) == 2
    assert refit_all(at=EVENING + timedelta(days=1)) == []
    add_attempt(make_report(crew_day, days_later=1), spans[1], 11)
    assert len(refit_all(at=EVENING + timedelta(days=2))) == 2
    assert LearntFit.objects.filter(subject="injected_ratio").count() == 2
    assert load_learnt(get_policy()).fits["injected_ratio"].covered_count == 2


def test_refit_where_asked_marks_the_request_done(crew_day: CrewDay, spans: list[Span]) -> None:
    add_attempt(make_report(crew_day), spans[0], 10)
    assert refit_where_asked(at=EVENING) == []
    RefitRequest.objects.create(kind="learning", requested_at=EVENING)
    learn_where_asked()
    assert RefitRequest.objects.get().done_at is not None
    assert LearntFit.objects.count() == 2
    learn_where_asked()
    learn_nightly()
    assert LearntFit.objects.count() == 2


def test_refit_where_asked_leaves_what_is_asked_for_meanwhile_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """A report that comes while others are learnt from is not among those that were read."""
    request_refits(at=EVENING)
    monkeypatch.setattr("jobs.services.learning.refit_all", lambda at: request_refits(at=at) or [])
    assert refit_where_asked(at=EVENING + timedelta(minutes=1)) == []
    assert RefitRequest.objects.filter(kind="learning", done_at__isnull=True).count() == 1


def test_refit_where_asked_that_fails_is_asked_for_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(at: datetime) -> list[LearntFit]:
        raise RuntimeError("out of memory")

    request_refits(at=EVENING)
    monkeypatch.setattr("jobs.services.learning.refit_all", fail)
    with pytest.raises(RuntimeError):
        refit_where_asked(at=EVENING + timedelta(minutes=1))
    assert RefitRequest.objects.filter(kind="learning", done_at__isnull=True).count() == 1


def test_report_that_is_posted_is_learnt_from_by_the_next_task() -> None:
    day = make_reported_day()
    day.report(ReportContent(attempts=(extracted(S1),)))
    assert not LearntFit.objects.exists()
    learn_where_asked()
    # Each extraction rigs a pressure and an exit fitting.
    fit = LearntFit.objects.get(subject="fitting_loss")
    assert (fit.covered_count, fit.last_at.date()) == (2, day.crew_day.date)
    day.report(ReportContent(attempts=(extracted(S2),)), hours=10)
    learn_where_asked()
    assert load_learnt(get_policy()).fits["fitting_loss"].covered_count == 4


def test_explain_names_the_period_of_what_was_learnt_from(crew_day: CrewDay, spans: list[Span]) -> None:
    add_attempt(make_report(crew_day), spans[0], 10)
    add_attempt(make_report(crew_day, days_later=9), spans[1], 11)
    refit_all(at=EVENING + timedelta(days=10))
    fit = LearntFit.objects.get(subject="injected_ratio")
    assert (fit.first_at, fit.last_at) == (EVENING, EVENING + timedelta(days=9))
    said = load_learnt(get_policy()).explain("injected_ratio", [])
    assert said == "learnt from 2 spans between 2 March 2026 and 11 March 2026"


def test_load_learnt_falls_back_on_sizes_never_seen(crew_day: CrewDay, spans: list[Span]) -> None:
    report = make_report(crew_day)
    for span in spans:
        add_attempt(report, span, 1.1 * BORE_L)
    refit_all(at=EVENING)
    other = make_size(".750", 17.272)
    learnt = load_learnt(get_policy())
    assert learnt.injected(other).sd > learnt.injected(make_size()).sd
    assert learnt.explain("injected_ratio", [make_size(), other]).endswith("none of .750")


def test_load_learnt_asks_as_often_for_ten_fits_as_for_one(
    crew_day: CrewDay, spans: list[Span], django_assert_num_queries: object
) -> None:
    for number, span in enumerate(spans):
        add_attempt(make_report(crew_day, days_later=number), span, 10 + number)
        refit_all(at=EVENING + timedelta(days=number))
        with django_assert_num_queries(2):  # type: ignore[operator]
            load_learnt(EstimatingPolicy())


def test_days_ahead_need_what_was_learnt(spans: list[Span]) -> None:
    """What restocking reads follows the fit: 1.1 of the bore, not the estimated 1.25, and 2 L a set-up."""
    make_company()
    day = make_crew_day(make_crew("south"))
    EstimatingPolicy.objects.update(fluid=make_fluid("glide-l", "L"))
    add_step(day, "extract", span=spans[5])
    write_needs([day])
    before = Requirement.objects.get(material__code="glide-l").mean
    report = make_report(make_crew_day(make_crew("north")))
    for span in spans[:4]:
        add_attempt(report, span, 1.1 * BORE_L)
    refit_all(at=EVENING)
    after = Requirement.objects.get(material__code="glide-l").mean
    assert before == pytest.approx((1.25 * BORE_L + 2) * 1e6, rel=0.01)
    assert after == pytest.approx((1.1 * BORE_L + 2) * 1e6, rel=0.02)
