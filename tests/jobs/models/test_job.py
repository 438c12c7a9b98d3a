"""Rules that the database keeps, whatever the services do."""

import pytest
from django.db import IntegrityError, transaction

from jobs.models import CrewDayStep, Job
from tests.factories.jobs import add_step, make_crew, make_crew_day, make_job, make_run, make_span

pytestmark = pytest.mark.django_db


def test_span_refuses_the_same_access_point_at_both_ends() -> None:
    with pytest.raises(IntegrityError, match="span_has_two_ends"), transaction.atomic():
        make_span(make_run(make_job()), "S1", "P1", "P1")


def test_span_refuses_a_length_of_nothing() -> None:
    with pytest.raises(IntegrityError, match="span_has_a_length"), transaction.atomic():
        make_span(make_run(make_job()), "S1", "P1", "P2", feet=0)


def test_job_refuses_a_colon_in_its_reference() -> None:
    with pytest.raises(IntegrityError, match="no_colon"), transaction.atomic():
        make_job("A:B")


def test_job_on_hold_says_where_it_goes_on() -> None:
    with pytest.raises(IntegrityError, match="on_hold"), transaction.atomic():
        make_job(state=Job.State.ON_HOLD)


def test_step_extracts_spans_and_not_runs() -> None:
    run = make_run(make_job())
    with pytest.raises(IntegrityError, match="spans_are_extracted"), transaction.atomic():
        add_step(make_crew_day(make_crew()), CrewDayStep.Kind.EXTRACT, run=run)


def test_step_is_planned_on_one_day_until_it_is_done() -> None:
    span = make_span(make_run(make_job()), "S1", "P1", "P2")
    first = make_crew_day(make_crew("north"))
    second = make_crew_day(make_crew("south"))
    step = add_step(first, CrewDayStep.Kind.EXTRACT, span=span)
    with pytest.raises(IntegrityError), transaction.atomic():
        add_step(second, CrewDayStep.Kind.EXTRACT, span=span)
    step.done_at = "2026-03-02T12:00:00+00:00"
    step.save()
    # A second try on another day, after a first one that was reported.
    assert add_step(second, CrewDayStep.Kind.EXTRACT, span=span).pk
