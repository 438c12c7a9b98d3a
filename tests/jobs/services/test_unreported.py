"""Loaded kits without a report: flagged at the cut-off, settled by a report or a count of the truck."""

from datetime import UTC, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Holding, Material, Place
from inventory.services.counts import Found, count
from inventory.services.posting import End
from inventory.units import Amount, from_millionths
from jobs.models import CompanyRules, CrewDay, UnreportedDay
from jobs.queries.access import WorkViewer
from jobs.queries.truck_stock import is_confirmed, list_unconfirmed_trucks
from jobs.services.reports.content import ReportContent
from jobs.services.unreported import flag_days_without_report, settle_counted_trucks
from tests.factories.inventory import each
from tests.factories.reports import S1, ReportedDay, extracted, gallons, make_reported_day

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


def _count_of(place: Place, *, but: frozenset[str] = frozenset()) -> list[Found]:
    """All that the book has at a place, as it has it, and its empty containers, but those of these names."""
    rows = Holding.objects.filter(place=place, quantity__gt=0).select_related(
        "material", "container", "owner"
    )
    found = [
        Found(
            row.material,
            Amount(from_millionths(row.quantity, row.material.stock_unit), row.material.stock_unit),
            End(place, row.container),
            row.owner,
        )
        for row in rows
        if not {row.material.code, row.container and row.container.label} & but
    ]
    fluid = Material.objects.get(code="fluid")
    empty = Container.objects.filter(place=place).exclude(holdings__quantity__gt=0).exclude(label__in=but)
    return [*found, *(Found(fluid, gallons(0), End(place, box), box.owner) for box in empty)]


def test_settle_counted_trucks_settles_by_a_count_of_the_truck_only(day: ReportedDay) -> None:
    flag_days_without_report(now=CUT_OFF)
    by, truck = day.world.actor, day.world.vehicle
    elsewhere = [Found(day.world.projectile, each(7), End(day.world.warehouse))]
    count(id=uuid4(), by=by, occurred_at=CUT_OFF + timedelta(hours=1), found=elsewhere)
    count(id=uuid4(), by=by, occurred_at=CUT_OFF - timedelta(hours=1), found=_count_of(truck))
    assert settle_counted_trucks(now=CUT_OFF + timedelta(hours=2)) == []
    count(id=uuid4(), by=by, occurred_at=CUT_OFF + timedelta(hours=2), found=_count_of(truck))
    # Believed at once, and written down by the next sweep.
    assert is_confirmed(truck)
    assert len(settle_counted_trucks(now=CUT_OFF + timedelta(hours=3))) == 1
    assert settle_counted_trucks(now=CUT_OFF + timedelta(hours=3)) == []
    assert UnreportedDay.objects.get().settled_how == "count"


def test_settle_counted_trucks_asks_for_everything_the_book_has_on_the_truck(day: ReportedDay) -> None:
    flag_days_without_report(now=CUT_OFF)
    by, truck = day.world.actor, day.world.vehicle
    [before] = list_unconfirmed_trucks(EVERYTHING)
    assert "and 1 more" in before.sentence
    left_out = frozenset({"D-2", "C-1", "projectile-12"})
    most = _count_of(truck, but=left_out)
    assert len(most) == len(_count_of(truck)) - 3 > 0
    count(id=uuid4(), by=by, occurred_at=CUT_OFF + timedelta(hours=1), found=most)
    assert not is_confirmed(truck)
    assert settle_counted_trucks(now=CUT_OFF + timedelta(hours=2)) == []
    [named] = list_unconfirmed_trucks(EVERYTHING)
    projectile, fluid = str(day.world.projectile), str(day.world.fluid)
    assert set(named.uncounted) == {projectile, f"{fluid} in D-2", "C-1"}
    assert f"{fluid} in D-2" in named.sentence
    # The rest in another count; what is not there is found to be nothing.
    rest = [
        Found(day.world.projectile, each(0), End(truck)),
        *(each for each in _count_of(truck) if each.end.container and each.end.container.label in left_out),
    ]
    count(id=uuid4(), by=by, occurred_at=CUT_OFF + timedelta(hours=3), found=rest)
    assert is_confirmed(truck)
    assert len(settle_counted_trucks(now=CUT_OFF + timedelta(hours=4))) == 1


def test_list_unconfirmed_trucks_asks_as_often_for_many_things_as_for_few(day: ReportedDay) -> None:
    flag_days_without_report(now=CUT_OFF)
    counts = []
    for number in range(2):
        with CaptureQueriesContext(connection) as asked:
            assert list_unconfirmed_trucks(EVERYTHING)[0].sentence
        counts.append(len(asked))
        for extra in range(3):
            day.small.drum(f"X-{number}-{extra}", 55, on_truck=True)
    assert counts[0] == counts[1] == 4
