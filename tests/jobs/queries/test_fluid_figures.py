"""Sums of what balances say: nothing that a day misses drops out, and shared errors add up."""

import math
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Material
from jobs.models import CrewDay, CrewDayStep, DayBalance, FluidBalance, Incident, SpanFigure
from jobs.queries.fluid_figures import list_parts, sum_by_span, sum_of_job, sum_of_month
from jobs.services.balance.closing import close_crew_day
from jobs.services.reports.content import ReportContent
from tests.factories.inventory import at
from tests.factories.jobs import make_crew_day, make_job, make_run
from tests.factories.reports import S1, S2, ReportedDay, caught, extracted, gallons, left, make_reported_day

pytestmark = pytest.mark.django_db
GAL = 1_000_000
MONTH = date(2026, 3, 31)


def _close(day: ReportedDay, *, hours: float = 12) -> FluidBalance:
    made = close_crew_day(
        crew_code="north", date=day.crew_day.date, by=day.world.actor, occurred_at=at(hours)
    )
    return FluidBalance.objects.get(balance=made)


def _lose_a_drum(day: ReportedDay) -> FluidBalance:
    """Nobody says more of it than that 20 of 55 gal are left."""
    day.report(ReportContent(readings=(left("D-1", 20),)))
    return _close(day)


def _add_balance(
    day: ReportedDay, on_date: date, *, amount: float, uncertainty: float, shared: dict[str, float] | None
) -> FluidBalance:
    """A day's closing without any span, in gallons."""
    closing = DayBalance.objects.create(
        crew_day=make_crew_day(day.crew_day.crew, day=on_date),
        revision=1,
        closed_at=at(12),
        recorded_at=at(12),
        by=day.world.actor,
        reports_hash="",
    )
    kept = None if shared is None else {name: part * GAL for name, part in shared.items()}
    return FluidBalance.objects.create(
        balance=closing,
        fluid=Material.objects.get(code="fluid"),
        confidence=0.95,
        is_consistent=True,
        global_statistic=0.0,
        degrees_of_freedom=0,
        injected=0,
        unaccounted=round(amount * GAL),
        unaccounted_uncertainty=uncertainty * GAL,
        unaccounted_shared=kept,
    )


def test_sum_of_month_and_job_have_a_drum_that_went_missing_without_any_span() -> None:
    day = make_reported_day()
    row = _lose_a_drum(day)
    assert row.unaccounted == pytest.approx(35 * GAL, abs=0.5 * GAL)
    assert (Incident.objects.count(), SpanFigure.objects.count()) == (1, 0)
    (of_month,), (of_job,) = sum_of_month(MONTH), sum_of_job(day.small.job)
    for found in (of_month, of_job):
        assert found.unaccounted == found.no_span == row.unaccounted
        assert found.unaccounted_uncertainty == pytest.approx(row.unaccounted_uncertainty)
        assert (len(found.days), found.days_unknown) == (1, set())
    [line] = list_parts(day.small.job)
    assert (line.kind, line.name, line.sum.unaccounted) == ("no_span", "no span", row.unaccounted)


def test_sum_of_job_leaves_what_may_be_another_jobs_to_the_month() -> None:
    day = make_reported_day()
    other = make_run(make_job("J-2", customer=day.world.customer), size=day.small.run.cable_size)
    CrewDayStep.objects.create(crew_day=day.crew_day, position=9, kind="clean", run=other)
    row = _lose_a_drum(day)
    assert sum_of_job(day.small.job) == sum_of_job(other.job) == list_parts(other.job) == []
    assert [found.unaccounted for found in sum_of_month(MONTH)] == [row.unaccounted]


def test_sums_of_spans_and_of_no_span_are_those_of_the_days() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(
                extracted(S1, source_container="D-1", injected=gallons("9.3")),
                extracted(S2, source_container="D-1", injected=gallons("4.1")),
            ),
            caught=(caught("C-1", S1, S2),),
            readings=(left("D-1", "41.6"), left("C-1", "2.0")),
        )
    )
    first = _close(day)
    tomorrow = make_crew_day(day.crew_day.crew, day=at(33).date())
    CrewDayStep.objects.create(crew_day=tomorrow, position=1, kind="clean", run=day.small.run, done_at=at(34))
    day.small.crew_day = tomorrow
    day.report(ReportContent(readings=(left("D-2", 20),)), hours=33)
    second = _close(day, hours=36)
    whole = (first.unaccounted or 0) + (second.unaccounted or 0)
    spans = sum(found.unaccounted for found in sum_by_span(day.small.job).values())
    for [found] in (sum_of_month(MONTH), sum_of_job(day.small.job)):
        assert found.unaccounted == whole == spans + found.no_span
        assert found.no_span == second.unaccounted


def test_sum_of_month_adds_up_by_squares_only_what_days_do_not_share() -> None:
    day = make_reported_day()
    for number in range(2):
        shared = {"the bore of .500": -0.4, f"the tare of D-{number}": 0.3}
        _add_balance(day, date(2026, 3, 10 + number), amount=1, uncertainty=1.3, shared=shared)
    [found] = sum_of_month(MONTH)
    own = 1.2  # 1.3 squared less 0.4 and 0.3 squared
    expected = math.hypot(own, own, 2 * 0.4, 0.3, 0.3)
    assert found.unaccounted_uncertainty == pytest.approx(expected * GAL)
    assert expected > math.hypot(1.3, 1.3)
    assert found.interval is not None
    assert found.interval[1] - found.unaccounted == pytest.approx(1.959964 * expected * GAL, abs=1)


def test_sum_of_month_adds_up_as_they_are_days_whose_shared_errors_nobody_kept() -> None:
    day = make_reported_day()
    for number in range(3):
        _add_balance(day, date(2026, 3, 10 + number), amount=1, uncertainty=0.5, shared=None)
    [found] = sum_of_month(MONTH)
    assert found.unaccounted_uncertainty == pytest.approx(1.5 * GAL)


def test_close_crew_day_keeps_what_its_unaccounted_shares_with_other_days() -> None:
    day = make_reported_day()
    day.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons("6.3")),),
            caught=(caught("C-1", S1),),
            readings=(left("D-1", "48.7"), left("C-1", "1.3")),
        )
    )
    row = _close(day)
    # 1.5 % of a bore of 5.0 gal, which is the same size's on any other day.
    assert row.unaccounted_shared == {"the bore of .500": pytest.approx(-0.015 * 5.02 * GAL, rel=0.01)}


@pytest.mark.parametrize("sums", [sum_of_month, sum_of_job])
def test_sums_ask_as_often_for_ten_days_as_for_one(sums: Any) -> None:
    day = make_reported_day()
    asked_for = MONTH if sums is sum_of_month else day.small.job
    counts = []
    for number in range(10):
        row = _add_balance(day, date(2026, 3, 10 + number), amount=1, uncertainty=0.5, shared={})
        CrewDayStep.objects.create(
            crew_day=CrewDay.objects.get(pk=row.balance.crew_day_id),
            position=1,
            kind="clean",
            run=day.small.run,
            done_at=at(12),
        )
        with CaptureQueriesContext(connection) as asked:
            [found] = sums(asked_for)
        assert found.unaccounted == (number + 1) * GAL
        counts.append(len(asked))
    assert counts[0] == counts[-1] == 2
