"""The check list before a period is closed: days that nobody reported."""

from datetime import date
from uuid import uuid4

import pytest

from jobs.models import CrewDay, CrewDayStep, FieldReport, Job
from jobs.queries.closing_checks import list_closing_points
from tests.factories.inventory import at
from tests.factories.kits import SmallDay, make_small_day

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def list_days(until: date = DAY) -> list[str]:
    return [point.name for point in list_closing_points(until) if point.kind == "crew_day"]


def test_a_day_with_work_and_no_report_is_open_from_that_day_on(day: SmallDay) -> None:
    assert list_days() == ["north 2026-03-02"]
    assert list_days(date(2026, 3, 1)) == []


def test_a_day_that_was_reported_settled_done_or_stopped_is_not_open(day: SmallDay) -> None:
    crew_day = CrewDay.objects.get(crew__code="north")
    report = FieldReport.objects.create(
        uuid=uuid4(), crew_day=crew_day, occurred_at=at(3), recorded_at=at(3), by=day.world.actor
    )
    assert list_days() == []
    FieldReport.objects.filter(pk=report.pk).update(is_undone=True)
    assert list_days() == ["north 2026-03-02"]
    Job.objects.update(state=Job.State.CANCELLED)
    assert list_days() == []
    Job.objects.update(state=Job.State.PLANNED)
    CrewDayStep.objects.update(done_at=at(4))
    assert list_days() == []
    CrewDayStep.objects.update(done_at=None)
    CrewDay.objects.update(state=CrewDay.State.SETTLED)
    assert list_days() == []
