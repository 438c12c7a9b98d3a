"""Days that are closed by themselves."""

from datetime import time, timedelta

import pytest
from django.utils import timezone

from inventory.models import Entry
from jobs.models import CompanyRules, CrewDay, DayBalance
from jobs.services.balance.sweeping import close_due_days, find_due_days
from jobs.tasks import close_days
from tests.factories.inventory import at
from tests.factories.reports import ReportContent, ReportedDay, left, make_reported_day

pytestmark = pytest.mark.django_db


def _reported() -> ReportedDay:
    day = make_reported_day()
    day.report(ReportContent(readings=(left("D-1", "54.9"),)))
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


def test_close_days_task_is_safe_to_run_twice() -> None:
    day = _reported()
    CrewDay.objects.filter(pk=day.crew_day.pk).update(date=timezone.now().date() - timedelta(days=1))
    assert close_days() == 1
    assert close_days() == 0
