"""What a crew finds of spans re-plans runs and kits at once: sizes, lengths, and cuts in the middle."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Requirement
from jobs.models import AccessPoint, CrewDay, CrewDayStep, Run, Span
from jobs.services.needs import write_needs
from jobs.services.reports.content import ReportContent, SplitContent, WorkName
from jobs.services.reports.reporting import correct_report
from tests.factories.jobs import make_size
from tests.factories.reports import R1, S1, S2, ReportedDay, extracted, ft, gallons, left, make_reported_day

pytestmark = pytest.mark.django_db
GAL = 1_000_000
UM_PER_FT = 304_800


@pytest.fixture
def day(db: None) -> ReportedDay:
    return make_reported_day(state=CrewDay.State.PLANNED)


def needed(material: str) -> float:
    return sum(Requirement.objects.filter(material__code=material).values_list("mean", flat=True)) / GAL


def test_post_report_of_another_length_is_kept_beside_the_design_and_replans(day: ReportedDay) -> None:
    write_needs([day.crew_day])
    before = needed("fluid")
    day.report(ReportContent(attempts=(extracted(S1, outcome="no_movement", as_found_length=ft(1200)),)))
    span = Span.objects.get(name="S1")
    assert (span.length_um, span.found_length_um) == (600 * UM_PER_FT, 1200 * UM_PER_FT)
    # 600 more feet of .500 hold 5.0 gal; times 1.2 is 6.
    assert needed("fluid") - before == pytest.approx(0.0407999046 * 0.452**2 * 600 * 1.2, rel=0.01)


def test_post_report_of_another_size_divides_the_run_and_its_plan(day: ReportedDay) -> None:
    make_size(".625", 14.3)
    day.report(ReportContent(attempts=(extracted(S2, outcome="no_movement", as_found_size="625"),)))
    first, second = Run.objects.order_by("pk")
    assert [str(run.cable_size) for run in (first, second)] == [".500", ".625"]
    assert Span.objects.get(name="S2").run == second
    assert Span.objects.get(name="S2").place.parent == second.place
    kinds = CrewDayStep.objects.filter(run=second).values_list("kind", flat=True)
    assert sorted(kinds) == ["blow", "clean"]
    assert str(Span.objects.get(name="S2").cable_size) == ".500"


def test_post_report_of_one_other_size_throughout_changes_the_run(day: ReportedDay) -> None:
    make_size(".625", 14.3)
    attempts = tuple(extracted(span, as_found_size=".625") for span in (S1, S2))
    day.report(ReportContent(attempts=attempts))
    assert str(Run.objects.get().cable_size) == ".625"


def test_post_report_shares_by_the_bore_as_found(day: ReportedDay) -> None:
    attempts = (extracted(S1, as_found_length=ft(400)), extracted(S2))
    day.report(ReportContent(attempts=attempts, readings=(left("D-1", 35),)))
    assert (day.used(day.first), day.used(day.second)) == (10 * GAL, 10 * GAL)


def test_correct_report_takes_back_what_was_found(day: ReportedDay) -> None:
    first = day.report(ReportContent(attempts=(extracted(S1, as_found_length=ft(700), hidden_splices=1),)))
    assert Span.objects.get(name="S1").hidden_splices == 1
    correct_report(
        id=uuid4(),
        corrects=first.uuid,
        by=day.world.other_actor,
        occurred_at=first.occurred_at,
        content=ReportContent(attempts=(extracted(S1),)),
    )
    span = Span.objects.get(name="S1")
    assert (span.as_found_length_um, span.hidden_splices) == (None, None)


def test_post_report_splits_a_span_at_a_new_access_point(day: ReportedDay) -> None:
    split = SplitContent(S1, ft(250), "PIT-1", "handhole")
    done = extracted(WorkName("J-1", "S1-1"), source_container="D-1", injected=gallons(8))
    day.report(ReportContent(splits=(split,), attempts=(extracted(S1, outcome="part_out"), done)))
    first, second = Span.objects.filter(split_from__name="S1").order_by("sequence")
    assert (first.length_um, second.length_um) == (250 * UM_PER_FT, 350 * UM_PER_FT)
    assert (first.far.name, second.near.name) == ("PIT-1", "PIT-1")
    assert Span.objects.get(name="S1").is_withdrawn
    assert list(
        Span.objects.filter(is_withdrawn=False).order_by("sequence").values_list("name", flat=True)
    ) == [
        "S1-1",
        "S1-2",
        "S2",
    ]
    steps = CrewDayStep.objects.order_by("position").values_list("span__name", "run__name")
    assert list(steps) == [("S1-1", None), ("S1-2", None), ("S2", None), (None, "R1"), (None, "R1")]
    assert first.is_extracted
    assert day.used(first) == 8 * GAL
    assert AccessPoint.objects.get(name="PIT-1").kind == "handhole"


def test_post_report_of_a_split_that_was_made_changes_nothing_more(day: ReportedDay) -> None:
    content = ReportContent(splits=(SplitContent(S1, ft(250), "PIT-1"),))
    day.report(content)
    day.report(content, hours=10)
    assert Span.objects.filter(split_from__name="S1").count() == 2


@pytest.mark.parametrize(("at", "point"), [(600, "PIT-1"), (0, "PIT-1"), (250, "P2")])
def test_post_report_of_a_split_outside_the_span_is_refused(day: ReportedDay, at: int, point: str) -> None:
    with pytest.raises(BadInput) as refusal:
        day.report(ReportContent(splits=(SplitContent(S1, ft(at), point),)))
    assert refusal.value.faults[0].pointer.startswith("/splits/0/")
    assert not Span.objects.get(name="S1").is_withdrawn
    assert R1.name == Run.objects.get().name
