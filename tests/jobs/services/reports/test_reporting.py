"""A report becomes entries of the book, steps that are done and answers that do not change."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput, NotFound
from inventory.models import Container, CountReading, Entry, Holding, Material, Movement, Place
from inventory.queries.fluid_history import get_history
from inventory.queries.verification import verify_ledger
from inventory.services.sealing import seal_all
from jobs.models import CrewDay, CrewDayStep, FieldReport, Run, Span, SpanAttempt
from jobs.services.reports.content import (
    LossContent,
    PieceContent,
    ReadingContent,
    ReportContent,
    WasteContent,
    WorkName,
)
from jobs.services.reports.reporting import ReportConflict
from tests.factories.inventory import each, held
from tests.factories.jobs import make_crew, make_crew_day, make_job, make_run, make_span
from tests.factories.kits import make_fitting
from tests.factories.reports import (
    R1,
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


def quantity(purpose: str, **fields: object) -> int:
    return sum(Movement.objects.filter(purpose=purpose, **fields).values_list("quantity", flat=True))


def test_post_report_shares_what_drums_lost_among_the_spans_by_bore(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S1), extracted(S2)), readings=(left("D-1", 30),)))
    # 600 and 400 ft of one bore: 25 gal are 15 and 10.
    assert (day.used(day.first), day.used(day.second)) == (15 * GAL, 10 * GAL)
    assert day.inside("D-1") == 30 * GAL
    assert Entry.objects.filter(document__startswith="report:").count() == 1


def test_post_report_draws_what_was_told_from_its_drum(day: ReportedDay) -> None:
    attempt = extracted(S1, source_container="D-2", injected=gallons(12))
    day.report(ReportContent(attempts=(attempt,)))
    assert (day.used(day.first), day.inside("D-2")) == (12 * GAL, 43 * GAL)
    kept = SpanAttempt.objects.get()
    assert kept.injected == 12 * GAL
    assert kept.injected_uncertainty > 0


def test_post_report_by_meter_takes_the_difference_and_not_one_that_ran_backwards(day: ReportedDay) -> None:
    forwards = extracted(S1, source_container="D-1", meter_start=gallons(100), meter_end=gallons(112))
    backwards = extracted(S2, source_container="D-1", meter_start=gallons(112), meter_end=gallons(100))
    day.report(ReportContent(attempts=(forwards, backwards)))
    assert (day.used(day.first), day.used(day.second)) == (12 * GAL, 0)
    assert SpanAttempt.objects.get(position=1).injected is None


def test_post_report_gives_the_difference_of_reading_and_meter_to_the_spans(day: ReportedDay) -> None:
    attempts = (
        extracted(S1, source_container="D-1", injected=gallons(18)),
        extracted(S2, source_container="D-1", injected=gallons(11)),
    )
    day.report(ReportContent(attempts=attempts, readings=(left("D-1", 25),)))
    # 30 gal left the drum, 29 were metered; the one more is shared 600 to 400.
    assert (day.used(day.first), day.used(day.second)) == (18_600_000, 11_400_000)
    assert day.inside("D-1") == 25 * GAL
    assert quantity("counted") == 0
    # Raw readings stay as they were told.
    assert list(SpanAttempt.objects.values_list("injected", flat=True)) == [18 * GAL, 11 * GAL]


def test_post_report_gives_the_rest_to_the_span_that_nobody_measured(day: ReportedDay) -> None:
    attempts = (extracted(S1, source_container="D-1", injected=gallons(18)), extracted(S2))
    day.report(ReportContent(attempts=attempts, readings=(left("D-1", 25),)))
    assert (day.used(day.first), day.used(day.second)) == (18 * GAL, 12 * GAL)


def test_post_report_of_a_drum_fuller_than_the_book_takes_nothing_from_spans(day: ReportedDay) -> None:
    attempt = extracted(S1, source_container="D-2", injected=gallons(5))
    day.report(ReportContent(attempts=(attempt,), readings=(left("D-1", 56),)))
    assert (day.used(day.first), day.inside("D-1")) == (5 * GAL, 56 * GAL)
    assert quantity("counted") == GAL


def test_post_report_with_a_reading_of_the_start_books_older_differences_apart(day: ReportedDay) -> None:
    readings = (left("D-1", 50, moment="start"), left("D-1", 30))
    day.report(ReportContent(attempts=(extracted(S1),), readings=readings))
    assert (day.used(day.first), day.inside("D-1")) == (20 * GAL, 30 * GAL)
    assert quantity("counted") == 5 * GAL


def test_post_report_takes_caught_fluid_back_from_the_spans_as_recovered(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1), extracted(S2)),
        caught=(caught("C-1", S1, S2),),
        readings=(left("D-1", 30), left("C-1", 5)),
    )
    day.report(content)
    assert day.inside("C-1") == 5 * GAL
    assert held(day.world.vehicle, day.world.recovered, Container.objects.get(label="C-1")) == 5 * GAL
    assert (day.used(day.first), day.used(day.second)) == (12 * GAL, 8 * GAL)
    assert quantity("book_short") == 0


def test_post_report_brings_recovered_fluid_back_at_its_share_of_what_the_draw_cost(
    day: ReportedDay,
) -> None:
    # A drum at 10.00 a gallon; the recovered form brings back half of its cost.
    day.world.drum("D-9", 50, cost=500, place=day.world.second_warehouse)
    attempt = extracted(S1, source_container="D-9", injected=gallons(20))
    day.report(ReportContent(attempts=(attempt,), caught=(caught("C-1", S1, amount=8),)))
    back = Movement.objects.get(target_container__label="C-1", purpose="recovered")
    drawn = Movement.objects.get(target_place=day.first.place, purpose="used")
    assert back.value == drawn.value * 8 // 20 // 2
    assert back.value > 0


def test_post_report_of_a_catch_with_amount_and_reading_counts_it_once(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),),
        caught=(caught("C-1", S1, amount=4),),
        readings=(left("C-1", 5),),
    )
    day.report(content)
    assert (day.inside("C-1"), day.used(day.first)) == (5 * GAL, 15 * GAL)


def test_post_report_sweeps_a_run_by_bore_and_never_more_than_a_span_has_left(day: ReportedDay) -> None:
    attempts = (
        extracted(S1, source_container="D-1", injected=gallons(6)),
        extracted(S2, source_container="D-1", injected=gallons(10)),
    )
    day.report(ReportContent(attempts=attempts), hours=8)
    day.report(ReportContent(cleanings=(cleaned(),), caught=(swept("C-2", amount=15),)), hours=9)
    # By bore it would be 9 and 6, but S1 has only 6.
    assert (day.used(day.first), day.used(day.second)) == (0, 1 * GAL)
    assert quantity("book_short") == 0


def test_post_report_of_more_caught_than_went_in_is_short_and_taken(day: ReportedDay) -> None:
    attempt = extracted(S1, source_container="D-1", injected=gallons(5))
    day.report(ReportContent(attempts=(attempt,), caught=(caught("C-1", S1, amount=7),)))
    assert (day.inside("C-1"), day.used(day.first), quantity("book_short")) == (7 * GAL, 0, 2 * GAL)


def test_post_report_uses_projectiles_fibre_and_pieces(day: ReportedDay) -> None:
    union = make_fitting("union")
    pin = make_fitting("pressure_end")
    day.small.pieces(union, 3, on_truck=True)
    day.small.pieces(pin, 2, on_truck=True)
    content = ReportContent(
        cleanings=(cleaned(fired=4),),
        blowings=(blown(start=5000, end=3900),),
        pieces=(
            PieceContent("union-.500", each(1), "installed", run=R1),
            PieceContent("pressure_end-.500", each(1), "lost", span=S1, cause="unknown"),
        ),
    )
    day.report(content)
    run = Run.objects.get()
    assert held(run.place, day.world.projectile) == 4 * GAL
    assert held(run.place, day.world.fibre) == 1100 * GAL
    assert held(run.place, union) == GAL
    assert quantity("lost", material=pin, target_place=day.first.place) == GAL
    assert day.inside("REEL-1") == 3900 * GAL


def test_post_report_of_pieces_of_the_day_goes_to_jobs_by_number_of_spans(day: ReportedDay) -> None:
    other = make_job("J-2", customer=day.world.customer)
    make_span(make_run(other), "T1", "A", "B")
    pin = make_fitting("pressure_end")
    day.small.pieces(pin, 3, on_truck=True)
    content = ReportContent(
        attempts=(extracted(S1), extracted(S2), extracted(WorkName("J-2", "T1"))),
        pieces=(PieceContent("pressure_end-.500", each(3), "lost"),),
    )
    day.report(content)
    assert held(day.small.job.place, pin) == 2 * GAL
    assert held(other.place, pin) == GAL


def test_post_report_charges_a_spill_of_injected_fluid_once_and_as_lost(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),),
        losses=(LossContent("fluid", "leak", amount=gallons(3), span=S1),),
    )
    day.report(content)
    assert day.used(day.first) == 20 * GAL
    assert quantity("lost", cause="leak") == 3 * GAL
    assert quantity("used") == 17 * GAL


def test_post_report_of_a_loss_from_a_drum_that_was_read_is_no_use_of_the_spans(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1),),
        losses=(LossContent("fluid", "spill", amount=gallons(4), container="D-1"),),
        readings=(left("D-1", 30),),
    )
    day.report(content)
    assert quantity("used") == 21 * GAL
    assert quantity("lost", cause="spill", target_place=day.small.job.place) == 4 * GAL
    assert day.inside("D-1") == 30 * GAL


def test_post_report_hands_over_waste_with_its_manifest(day: ReportedDay) -> None:
    first = ReportContent(
        attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),),
        caught=(caught("C-1", S1, amount=9),),
    )
    day.report(first, hours=8)
    day.report(ReportContent(waste=(WasteContent("M-100", "C-1"),)), hours=9)
    assert day.inside("C-1") == 0
    assert held(day.world.waste, day.world.recovered) == 9 * GAL


def test_post_report_marks_steps_done_and_settles_the_day(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S1), extracted(S2))), hours=8)
    assert CrewDayStep.objects.filter(done_at=day.at_moment(8)).count() == 2
    assert Span.objects.filter(extracted_at=day.at_moment(8)).count() == 2
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(blown(),)), hours=9)
    assert Run.objects.get().blown_at == day.at_moment(9)
    assert CrewDay.objects.get(pk=day.crew_day.pk).state == CrewDay.State.SETTLED


@pytest.mark.parametrize(
    "outcome", ["part_out", "no_movement", "broken_inside", "cut_by_others", "abandoned"]
)
def test_post_report_of_another_outcome_leaves_the_span_to_be_extracted(
    day: ReportedDay, outcome: str
) -> None:
    day.report(ReportContent(attempts=(extracted(S1, outcome=outcome),)))
    assert not Span.objects.get(name="S1").is_extracted
    day.report(ReportContent(attempts=(extracted(S1, pressure_end="P2"),)), hours=10)
    assert Span.objects.get(name="S1").is_extracted


def test_post_report_of_cleaning_over_several_days_adds_up_and_is_clean_at_last(day: ReportedDay) -> None:
    tomorrow = make_crew_day(day.crew_day.crew, day=day.crew_day.date.replace(day=3))
    day.report(ReportContent(cleanings=(cleaned(fired=5, retrieved=4, is_clean=False),)))
    assert not Run.objects.get().is_cleaned
    day.crew_day.date = tomorrow.date
    day.report(ReportContent(cleanings=(cleaned(fired=2, retrieved=3),)), hours=33)
    run = Run.objects.get()
    assert run.is_cleaned
    assert held(run.place, day.world.projectile) == 7 * GAL
    assert sum(run.cleanings.values_list("retrieved", flat=True)) == 7


def test_post_report_of_work_planned_elsewhere_brings_its_step_here(day: ReportedDay) -> None:
    other = make_crew("south")
    make_crew_day(other)
    day.small.world.fluid.refresh_from_db()
    day.report(ReportContent(attempts=(extracted(S1),)), crew_code="south")
    step = CrewDayStep.objects.get(span=day.first)
    assert (step.crew_day.crew, step.done_at) == (other, day.at_moment(9))


def test_post_report_takes_a_drum_that_the_book_has_elsewhere(day: ReportedDay) -> None:
    day.small.drum("D-9", 55)
    day.report(ReportContent(attempts=(extracted(S1),), readings=(left("D-9", 40),)))
    assert Container.objects.get(label="D-9").place == day.world.vehicle
    assert (day.used(day.first), day.inside("D-9")) == (15 * GAL, 40 * GAL)
    assert quantity("found_here") == 55 * GAL


def test_post_report_takes_more_than_the_book_has(day: ReportedDay) -> None:
    attempt = extracted(S1, source_container="D-1", injected=gallons(60))
    day.report(ReportContent(attempts=(attempt,)))
    assert (day.used(day.first), quantity("book_short")) == (60 * GAL, 5 * GAL)
    assert Holding.objects.filter(container__label="D-1", is_unsettled=True).exists()


def test_post_report_again_gives_the_same_and_books_nothing(day: ReportedDay) -> None:
    content = ReportContent(attempts=(extracted(S1),), readings=(left("D-1", 30),))
    id = uuid4()
    first = day.report(content, id=id)
    entries = Entry.objects.count()
    assert day.report(content, id=id) == first
    assert (Entry.objects.count(), FieldReport.objects.count()) == (entries, 1)


def test_post_report_with_other_content_under_the_same_id_is_a_conflict(day: ReportedDay) -> None:
    id = uuid4()
    day.report(ReportContent(attempts=(extracted(S1),)), id=id)
    with pytest.raises(ReportConflict, match="other content"):
        day.report(ReportContent(attempts=(extracted(S2),)), id=id)
    with pytest.raises(ReportConflict, match="is taken"):
        day.report(ReportContent(attempts=(extracted(S1),)), id=id, by=day.world.actor)


def test_post_report_of_nothing_or_nonsense_names_every_fault_and_stores_nothing(day: ReportedDay) -> None:
    entries = Entry.objects.count()
    with pytest.raises(BadInput, match="tells of something"):
        day.report(ReportContent())
    wrong = ReportContent(
        attempts=(extracted(S1, outcome="vanished", pressure_kpa=-3.0),),
        caught=(caught("C-1", S1),),
        cleanings=(cleaned(fired=-1),),
    )
    with pytest.raises(BadInput) as refusal:
        day.report(wrong)
    pointers = {fault.pointer for fault in refusal.value.faults}
    assert pointers == {
        "/attempts/0/outcome",
        "/attempts/0/pressure_kpa",
        "/cleanings/0/fired",
        "/cleanings/0/retrieved",
    }
    assert (FieldReport.objects.count(), Entry.objects.count()) == (0, entries)


def test_post_report_for_a_day_the_crew_has_not_is_refused(day: ReportedDay) -> None:
    with pytest.raises(NotFound):
        day.report(ReportContent(attempts=(extracted(S1),)), crew_code="nobody")


def test_post_report_leaves_a_book_that_verifies(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, source_container="D-1", injected=gallons(18)), extracted(S2)),
        cleanings=(cleaned(),),
        blowings=(blown(),),
        caught=(caught("C-1", S1, S2), swept("C-2", amount=11)),
        readings=(left("D-1", 25), left("D-2", 55), left("C-1", 4), left("C-2", 11)),
        losses=(LossContent("fluid", "spill", amount=gallons(1)),),
    )
    day.report(content)
    seal_all()
    assert not list(verify_ledger())
    assert CountReading.objects.count() == 4
    assert Place.objects.filter(kind="variance", holdings__quantity__gt=0).count() == 0


def test_post_report_keeps_what_was_swept_apart_from_what_was_caught(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1), extracted(S2)),
        caught=(caught("C-1", S1, S2, amount=4), swept("C-2", amount=6)),
        cleanings=(cleaned(),),
        readings=(left("D-1", 30),),
    )
    day.report(content)
    boxes = {box.label: box for box in Container.objects.filter(label__in=["C-1", "C-2"])}
    kinds = {label: get_history(box).kind for label, box in boxes.items()}
    assert kinds == {"C-1": "caught", "C-2": "swept"}


def test_post_report_of_a_drum_caught_into_and_handed_over_whole_lacks_nothing(day: ReportedDay) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(20)),),
        caught=(caught("C-1", S1, amount=6),),
        waste=(WasteContent("M-100", "C-1"),),
    )
    day.report(content)
    assert quantity("book_short") == 0
    assert held(day.world.waste, day.world.recovered) == 6 * GAL
    assert (day.inside("C-1"), day.used(day.first)) == (0, 14 * GAL)


@pytest.mark.parametrize("readings", [(), (left("C-1", 0),)])
def test_post_report_of_what_was_handed_over_says_what_was_caught(
    day: ReportedDay, readings: tuple[ReadingContent, ...]
) -> None:
    content = ReportContent(
        attempts=(extracted(S1, injected=gallons(20)),),
        caught=(caught("C-1", S1),),
        waste=(WasteContent("M-100", "C-1", amount=gallons(7)),),
        readings=readings,
    )
    day.report(content)
    assert quantity("book_short") == 0
    assert held(day.world.waste, day.world.recovered) == 7 * GAL
    assert (day.inside("C-1"), day.used(day.first)) == (0, 13 * GAL)


def test_post_report_of_a_second_fluid_that_was_read_counts_it_once(day: ReportedDay) -> None:
    other = Material.objects.create(
        code="fluid-2", name="Fluid two", kind="fluid", stock_unit="[gal_us]", standard_unit_cost=1_000_000
    )
    back = Material.objects.create(
        code="back-2", name="Fluid two, back", kind="fluid", stock_unit="[gal_us]", recovered_from=other
    )
    Container.objects.filter(label="C-2").update(material=back)
    content = ReportContent(
        attempts=(
            extracted(S1, injected=gallons(20), fluid="fluid"),
            extracted(S2, injected=gallons(10), fluid="fluid-2"),
        ),
        caught=(caught("C-1", S1, amount=6), caught("C-2", S2, amount=3)),
        readings=(left("C-1", 6), left("C-2", 3)),
    )
    day.report(content)
    assert (day.inside("C-1"), day.inside("C-2")) == (6 * GAL, 3 * GAL)
    assert quantity("counted") == 0
    assert day.used(day.second, other) == 7 * GAL
