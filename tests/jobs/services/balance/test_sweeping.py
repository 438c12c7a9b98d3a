"""Days that are closed by themselves."""

from datetime import time, timedelta

import pytest
from django.utils import timezone

from inventory.models import DomainEvent, Entry
from inventory.queries.company import get_day
from jobs.models import CompanyRules, CrewDay, DayBalance, FluidBalance, Incident
from jobs.services.balance.sweeping import close_due_days, find_due_days, tell_of_open_days
from jobs.tasks import close_days
from tests.factories.inventory import at
from tests.factories.reports import (
    S1,
    S2,
    ReportContent,
    ReportedDay,
    caught,
    extracted,
    gallons,
    left,
    make_reported_day,
)

pytestmark = pytest.mark.django_db


def _reported() -> ReportedDay:
    day = make_reported_day()
    day.report(ReportContent(readings=(left("D-1", "54.9"),)))
    return day


def loss_content() -> ReportContent:
    """Of 9.3 and 4.1 gal, the bores hold 8.3 at most and 2 came back: 3 are missing."""
    return ReportContent(
        attempts=(
            extracted(S1, source_container="D-1", injected=gallons("9.3")),
            extracted(S2, source_container="D-1", injected=gallons("4.1")),
        ),
        caught=(caught("C-1", S1, S2),),
        readings=(left("D-1", "41.6"), left("C-1", "2.0")),
    )


def _reported_with_loss() -> ReportedDay:
    day = make_reported_day()
    day.report(loss_content())
    return day


def test_close_due_days_closes_what_is_past_its_midnight_once() -> None:
    _reported()
    assert close_due_days(now=at(10)) == 0
    assert close_due_days(now=at(30)) == 1
    assert close_due_days(now=at(31)) == 0
    assert DayBalance.objects.get().by.code == "fluid-balance"


def test_close_due_days_closes_a_settled_day_at_once() -> None:
    day = _reported()
    CrewDay.objects.filter(pk=day.crew_day.pk).update(state=CrewDay.State.SETTLED)
    assert close_due_days(now=at(10)) == 1


def test_close_due_days_closes_at_the_companys_cut_off() -> None:
    _reported()
    CompanyRules.objects.update_or_create(pk=1, defaults={"report_cut_off_time": time(18)})
    # 08:00 UTC is 02:00 in Chicago, so 18:00 there is 16 hours later.
    assert close_due_days(now=at(15.9)) == 0
    assert close_due_days(now=at(16.1)) == 1


def test_close_due_days_closes_again_after_a_late_report() -> None:
    day = _reported()
    close_due_days(now=at(30))
    day.report(ReportContent(readings=(left("D-2", "54.9"),)), hours=10)
    assert close_due_days(now=at(31)) == 1
    assert close_due_days(now=at(32)) == 0
    assert list(DayBalance.objects.values_list("revision", flat=True)) == [1, 2]


def test_close_due_days_leaves_days_nobody_reported() -> None:
    make_reported_day()
    assert find_due_days(now=at(40)) == []
    entries = Entry.objects.count()
    assert close_due_days(now=at(40)) == 0
    assert Entry.objects.count() == entries


def test_tell_of_open_days_tells_safety_the_same_evening_of_what_is_missing_so_far() -> None:
    day = _reported_with_loss()
    # 08:00 UTC is 02:00 in Chicago: 20:00 there is 18 hours later, midnight 22.
    for hours, told in ((17.9, 0), (18.1, 1), (18.2, 1)):
        assert close_due_days(now=at(hours)) == 0
        tell_of_open_days(now=at(hours))
        assert Incident.objects.count() == told, hours
    incident = Incident.objects.get()
    assert (incident.crew_day_id, incident.kind) == (day.crew_day.pk, "unaccounted")
    assert get_day(incident.occurred_at) == day.crew_day.date
    assert "cannot be accounted for so far on the day of crew north" in incident.note
    assert DomainEvent.objects.get(kind="incident_opened").body["to"] == "safety"
    assert not FluidBalance.objects.exists()
    assert not DayBalance.objects.exists()
    # The closing after midnight comes to the same and tells nobody again.
    assert close_due_days(now=at(22.1)) == 1
    assert FluidBalance.objects.get().unaccounted == incident.amount
    assert Incident.objects.count() == 1


def test_tell_of_open_days_tells_of_a_report_that_comes_late_in_the_evening() -> None:
    day = make_reported_day()
    tell_of_open_days(now=at(18.1))
    day.report(loss_content(), hours=19)
    CompanyRules.objects.update_or_create(pk=1, defaults={"report_cut_off_time": time(6)})
    close_due_days(now=at(19.1))
    tell_of_open_days(now=at(19.1))
    assert (Incident.objects.count(), DayBalance.objects.count()) == (1, 0)


def test_close_days_task_is_safe_to_run_twice() -> None:
    day = _reported()
    CrewDay.objects.filter(pk=day.crew_day.pk).update(date=timezone.now().date() - timedelta(days=1))
    assert close_days() == 1
    assert close_days() == 0
