"""Loaded kits without a report: flagged at the cut-off, settled by a report or a count of the truck."""

from datetime import UTC, datetime, time, timedelta
from uuid import uuid4

import pytest

from inventory.services.counts import Found, count
from inventory.services.posting import End
from jobs.models import CompanyRules, CrewDay, UnreportedDay
from jobs.queries.access import WorkViewer
from jobs.queries.truck_stock import is_confirmed, list_unconfirmed_trucks
from jobs.services.reports.content import ReportContent
from jobs.services.unreported import flag_days_without_report, settle_counted_trucks
from tests.factories.inventory import each
from tests.factories.reports import S1, ReportedDay, extracted, make_reported_day

pytestmark = pytest.mark.django_db
# Eight in the evening in Chicago, on the day of the crew.
CUT_OFF = datetime(2026, 3, 3, 2, 0, tzinfo=UTC)
EVERYTHING = WorkViewer(places=None, own_places=None, postable=frozenset(), may_see_money=True, crews=None)


@pytest.fixture
def day(db: None) -> ReportedDay:
    CompanyRules.objects.update_or_create(pk=1, defaults={"report_cut_off_time": time(20)})
    return make_reported_day(state=CrewDay.State.LOADED)


def test_flag_days_without_report_flags_once_and_says_whom_to_chase(day: ReportedDay) -> None:
    assert flag_days_without_report(now=CUT_OFF - timedelta(seconds=1)) == []
    assert is_confirmed(day.world.vehicle)
    assert len(flag_days_without_report(now=CUT_OFF)) == 1
    assert flag_days_without_report(now=CUT_OFF + timedelta(hours=1)) == []
    assert not is_confirmed(day.world.vehicle)
    [truck] = list_unconfirmed_trucks(EVERYTHING)
    assert (truck.crew_code, truck.vehicle) == ("north", day.world.vehicle)
    assert "North crew" in truck.sentence
    assert "2026-03-02" in truck.sentence


def test_flag_days_without_report_takes_a_morning_for_the_next_one(day: ReportedDay) -> None:
    CompanyRules.objects.update(report_cut_off_time=time(7))
    assert flag_days_without_report(now=datetime(2026, 3, 3, 12, 59, tzinfo=UTC)) == []
    assert len(flag_days_without_report(now=datetime(2026, 3, 3, 13, 0, tzinfo=UTC))) == 1


@pytest.mark.parametrize("state", [CrewDay.State.PLANNED, CrewDay.State.AGREED, CrewDay.State.SETTLED])
def test_flag_days_without_report_leaves_days_without_a_loaded_kit(day: ReportedDay, state: str) -> None:
    CrewDay.objects.update(state=state)
    assert flag_days_without_report(now=CUT_OFF) == []


def test_flag_days_without_report_flags_nothing_where_no_cut_off_is_set(day: ReportedDay) -> None:
    CompanyRules.objects.update(report_cut_off_time=None)
    assert flag_days_without_report(now=CUT_OFF) == []


def test_flag_days_without_report_leaves_reported_days(day: ReportedDay) -> None:
    day.report(ReportContent(attempts=(extracted(S1),)))
    assert flag_days_without_report(now=CUT_OFF) == []


def test_post_report_settles_its_day(day: ReportedDay) -> None:
    flag_days_without_report(now=CUT_OFF)
    day.report(ReportContent(attempts=(extracted(S1),)))
    assert UnreportedDay.objects.get().settled_how == "report"
    assert list_unconfirmed_trucks(EVERYTHING) == []


def test_settle_counted_trucks_settles_by_a_count_of_the_truck_only(day: ReportedDay) -> None:
    flag_days_without_report(now=CUT_OFF)

    def count_at(place: object, moment: datetime) -> None:
        found = [Found(day.world.projectile, each(7), End(place))]  # type: ignore[arg-type]
        count(id=uuid4(), by=day.world.actor, occurred_at=moment, found=found)

    count_at(day.world.warehouse, CUT_OFF + timedelta(hours=1))
    count_at(day.world.vehicle, CUT_OFF - timedelta(hours=1))
    assert settle_counted_trucks(now=CUT_OFF + timedelta(hours=2)) == []
    count_at(day.world.vehicle, CUT_OFF + timedelta(hours=2))
    # Believed at once, and written down by the next sweep.
    assert is_confirmed(day.world.vehicle)
    assert len(settle_counted_trucks(now=CUT_OFF + timedelta(hours=3))) == 1
    assert settle_counted_trucks(now=CUT_OFF + timedelta(hours=3)) == []
    assert UnreportedDay.objects.get().settled_how == "count"
