"""Where a reel stands by its marks, once work has taken lengths off it, and once that is corrected."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest

from inventory.models import Container
from inventory.services.reel_marks import note_work_mark
from jobs.models import CrewDay, CrewDayStep
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.services.reports.content import ReportContent
from jobs.services.reports.reporting import correct_report
from tests.factories.inventory import at
from tests.factories.jobs import make_run, make_span
from tests.factories.reports import ReportedDay, blown, cleaned, make_reported_day

pytestmark = pytest.mark.django_db
FT = 1_000_000


@pytest.fixture
def day(db: None) -> ReportedDay:
    day = make_reported_day()
    Container.objects.filter(label="REEL-1").update(
        outer_mark=5000 * FT, inner_mark=0, mark_unit="[ft_i]", marks_read_at=at(0)
    )
    return day


def _outside() -> int | None:
    return Container.objects.get(label="REEL-1").mark_outside


def _blow(day: ReportedDay, start: int, end: int, *, hours: float) -> object:
    return day.report(
        ReportContent(cleanings=(cleaned(),), blowings=(blown(start=start, end=end),)), hours=hours
    )


def test_blowing_leaves_its_end_mark_outside(day: ReportedDay) -> None:
    _blow(day, 5000, 3900, hours=9)
    assert _outside() == 3900 * FT


def test_newest_blowing_holds_whichever_comes_first(day: ReportedDay) -> None:
    _blow(day, 3900, 3000, hours=12)
    _blow(day, 5000, 3900, hours=9)
    assert _outside() == 3000 * FT


def test_correction_without_the_blowing_gives_the_mark_back(day: ReportedDay) -> None:
    report = day.report(ReportContent(blowings=(blown(start=5000, end=3900),)))
    correct_report(
        id=uuid4(),
        corrects=report.uuid,
        by=report.by,
        occurred_at=at(9),
        content=ReportContent(cleanings=(cleaned(),)),
    )
    assert _outside() == 5000 * FT


def test_correction_of_a_mark_holds(day: ReportedDay) -> None:
    report = day.report(ReportContent(blowings=(blown(start=5000, end=3900),)))
    correct_report(
        id=uuid4(),
        corrects=report.uuid,
        by=report.by,
        occurred_at=at(9),
        content=ReportContent(blowings=(blown(start=5000, end=3950),)),
    )
    assert _outside() == 3950 * FT


def test_mark_that_the_stores_read_later_holds(day: ReportedDay) -> None:
    Container.objects.filter(label="REEL-1").update(outer_mark=3890 * FT, marks_read_at=at(10))
    _blow(day, 5000, 3900, hours=9)
    assert _outside() == 3890 * FT


def test_mark_in_another_unit_is_kept_in_that_of_the_reel(day: ReportedDay) -> None:
    reel = Container.objects.get(label="REEL-1")
    note_work_mark(reel=reel, mark=Decimal("304.8") * FT, unit="m", at=at(9))  # type: ignore[arg-type]
    assert _outside() == 1000 * FT


def test_next_sheet_cuts_from_where_the_reel_stands(day: ReportedDay) -> None:
    _blow(day, 5000, 3900, hours=9)
    run = make_run(day.small.job, "R9")
    make_span(run, "S9", "P8", "P9")
    other = CrewDay.objects.create(
        crew=day.crew_day.crew,
        date=date(2026, 3, 3),
        vehicle=day.crew_day.vehicle,
        warehouse=day.crew_day.warehouse,
    )
    CrewDayStep.objects.create(crew_day=other, position=1, kind="blow", run=run)
    [cuts] = make_pull_sheet(other).cut_lists
    assert cuts.cuts[0].mark_from == "3900 ft"
