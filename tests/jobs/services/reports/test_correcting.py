"""A correction reverses what a report booked and stands in its place."""

from uuid import UUID, uuid4

import pytest

from inventory.models import Container, Entry, Holding, Movement
from inventory.queries.verification import verify_ledger
from inventory.services.corrections import dispose
from inventory.services.lines import Line
from inventory.services.posting import REST, End
from jobs.models import CrewDay, CrewDayStep, FieldReport, Span
from jobs.services.reports.content import ReportContent
from jobs.services.reports.reporting import ReportConflict, ReportIsUndone, correct_report
from tests.factories.inventory import at
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


def correct(day: ReportedDay, report: FieldReport, content: ReportContent, id: UUID | None = None):  # type: ignore[no-untyped-def]
    return correct_report(
        id=id or uuid4(),
        corrects=report.uuid,
        by=day.world.other_actor,
        occurred_at=report.occurred_at,
        content=content,
    )


def test_correct_report_reverses_the_first_and_books_the_second(day: ReportedDay) -> None:
    first = day.report(ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(30)),)))
    second = correct(
        day, first, ReportContent(attempts=(extracted(S2, source_container="D-1", injected=gallons(20)),))
    )
    assert (day.used(day.first), day.used(day.second), day.inside("D-1")) == (0, 20 * GAL, 35 * GAL)
    first.refresh_from_db()
    assert (first.is_undone, second.corrects) == (True, first)
    assert Entry.objects.filter(reverses__document=first.document).count() == 1
    assert not list(verify_ledger())


def test_correct_report_takes_back_what_only_the_first_said_was_done(day: ReportedDay) -> None:
    first = day.report(ReportContent(attempts=(extracted(S1), extracted(S2))), hours=8)
    day.report(ReportContent(cleanings=(cleaned(),), blowings=(blown(),)), hours=9)
    assert CrewDay.objects.get(pk=day.crew_day.pk).state == CrewDay.State.SETTLED
    correct(day, first, ReportContent(attempts=(extracted(S1), extracted(S2, outcome="part_out"))))
    assert Span.objects.get(name="S1").is_extracted
    assert not Span.objects.get(name="S2").is_extracted
    assert CrewDayStep.objects.get(span__name="S2").done_at is None
    assert CrewDay.objects.get(pk=day.crew_day.pk).state == CrewDay.State.OUT


def test_correct_report_books_later_ones_again_behind_it(day: ReportedDay) -> None:
    first = day.report(
        ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(30)),)), hours=8
    )
    day.report(ReportContent(attempts=(extracted(S2),), readings=(left("D-1", 15),)), hours=9)
    assert day.used(day.second) == 10 * GAL
    correct(
        day, first, ReportContent(attempts=(extracted(S1, source_container="D-1", injected=gallons(22)),))
    )
    assert (day.used(day.first), day.used(day.second), day.inside("D-1")) == (22 * GAL, 18 * GAL, 15 * GAL)


def test_correct_report_again_gives_the_same_and_another_is_refused(day: ReportedDay) -> None:
    first = day.report(ReportContent(attempts=(extracted(S1),)))
    id, content = uuid4(), ReportContent(attempts=(extracted(S2),))
    second = correct(day, first, content, id)
    entries = Entry.objects.count()
    assert correct(day, first, content, id) == second
    assert Entry.objects.count() == entries
    with pytest.raises(ReportConflict):
        correct(day, first, ReportContent(attempts=(extracted(S1),)), id)
    with pytest.raises(ReportIsUndone):
        correct(day, first, content)
    third = correct(day, second, ReportContent(attempts=(extracted(S1),)))
    assert third.corrects == second


def test_correct_report_whose_goods_have_gone_further_books_them_as_short(
    day: ReportedDay,
) -> None:
    first = day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons(20)),),
            caught=(caught("C-1", S1, amount=15),),
        )
    )
    drum = Container.objects.select_related("place", "owner").get(label="C-1")
    waste = Line(day.world.recovered, REST, End(day.world.vehicle, drum), End(day.world.waste))
    dispose(id=uuid4(), by=day.world.actor, occurred_at=at(10), lines=[waste])
    second = ReportContent(attempts=(extracted(S2, source_container="D-1", injected=gallons(12)),))
    correct(day, first, second)
    first.refresh_from_db()
    assert first.is_undone
    assert (day.used(day.first), day.used(day.second), day.inside("D-1")) == (0, 12 * GAL, 43 * GAL)
    # The 15 gal that were handed over as waste came from somewhere else; a count settles it.
    assert day.inside("C-1") == 0
    short = Movement.objects.get(purpose="book_short")
    assert (short.quantity, short.target_container) == (15 * GAL, drum)
    assert Holding.objects.get(container=drum, material=day.world.recovered).is_unsettled
    assert not list(verify_ledger())
