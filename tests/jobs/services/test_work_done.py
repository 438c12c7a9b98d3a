"""A crew-day that is done: its steps, spans, runs, and what it would have needed."""

from datetime import UTC, datetime

import pytest

from inventory.errors import NotFound
from inventory.models import Actor, DomainEvent, Requirement
from jobs.models import CrewDay, CrewDayStep, Span
from jobs.services.work_done import complete_step, settle_day
from tests.factories.jobs import (
    DAY,
    add_step,
    make_company,
    make_crew,
    make_crew_day,
    make_fluid,
    make_job,
    make_run,
)
from tests.factories.jobs import make_span as make_one

pytestmark = pytest.mark.django_db
EVENING = datetime(2026, 3, 2, 23, 0, tzinfo=UTC)
Kind = CrewDayStep.Kind


@pytest.fixture
def actor() -> Actor:
    return Actor.objects.create(code="crew", name="Crew", kind=Actor.Kind.PERSON)


@pytest.fixture
def day() -> CrewDay:
    """One span extracted, its run cleaned, another run blown."""
    company, fluid = make_company(), make_fluid()
    job = make_job()
    run, other = make_run(job, "R1"), make_run(job, "R2")
    span = make_one(run, "S1", "A", "B")
    found = make_crew_day(make_crew())
    add_step(found, Kind.EXTRACT, span=span)
    add_step(found, Kind.CLEAN, run=run)
    add_step(found, Kind.BLOW, run=other)
    Requirement.objects.create(
        material=fluid, owner=company, place=found.warehouse, needed_date=DAY, mean=1_000_000,
        reference=found.requirement_reference,
    )  # fmt: skip
    return found


def test_settle_day_marks_spans_and_runs_by_what_was_done(day: CrewDay, actor: Actor) -> None:
    settle_day(crew_code="north", date=DAY, by=actor, occurred_at=EVENING)
    extract, clean, blow = day.steps.select_related("span", "run")
    assert extract.span is not None
    assert clean.run is not None
    assert blow.run is not None
    assert [step.done_at for step in (extract, clean, blow)] == [EVENING] * 3
    assert extract.span.extracted_at == EVENING
    assert (clean.run.cleaned_at, clean.run.blown_at) == (EVENING, None)
    assert (blow.run.cleaned_at, blow.run.blown_at) == (None, EVENING)


def test_settle_day_forgets_what_the_day_would_have_needed(day: CrewDay, actor: Actor) -> None:
    settled = settle_day(crew_code="north", date=DAY, by=actor, occurred_at=EVENING)
    assert settled.state == CrewDay.State.SETTLED
    assert not Requirement.objects.filter(reference=day.requirement_reference).exists()


def test_settle_day_again_changes_nothing(day: CrewDay, actor: Actor) -> None:
    settle_day(crew_code="north", date=DAY, by=actor, occurred_at=EVENING)
    settle_day(crew_code="north", date=DAY, by=actor, occurred_at=datetime(2026, 4, 1, tzinfo=UTC))
    assert set(day.steps.values_list("done_at", flat=True)) == {EVENING}
    assert DomainEvent.objects.filter(kind="crew_day_settled").count() == 1


@pytest.mark.usefixtures("day")
def test_settle_day_refuses_a_day_that_is_not_planned(actor: Actor) -> None:
    with pytest.raises(NotFound, match="nothing planned"):
        settle_day(crew_code="south", date=DAY, by=actor, occurred_at=EVENING)


def _complete(actor: Actor, position: int, at: datetime = EVENING) -> CrewDayStep:
    return complete_step(crew_code="north", date=DAY, position=position, by=actor, occurred_at=at)


def test_complete_step_marks_one_step_and_leaves_the_day_ahead(day: CrewDay, actor: Actor) -> None:
    assert _complete(actor, 1).done_at == EVENING
    assert Span.objects.get().extracted_at == EVENING
    assert day.steps.filter(done_at__isnull=True).count() == 2
    day.refresh_from_db()
    assert day.state == CrewDay.State.PLANNED


def test_complete_step_settles_the_day_with_its_last_step(day: CrewDay, actor: Actor) -> None:
    for position in (3, 1, 2):
        _complete(actor, position)
    day.refresh_from_db()
    assert day.state == CrewDay.State.SETTLED
    assert not Requirement.objects.filter(reference=day.requirement_reference).exists()
    assert DomainEvent.objects.filter(kind="crew_day_settled").count() == 1


def test_complete_step_again_keeps_the_first_moment(day: CrewDay, actor: Actor) -> None:
    _complete(actor, 1)
    assert _complete(actor, 1, datetime(2026, 4, 1, tzinfo=UTC)).done_at == EVENING
    assert Span.objects.get().extracted_at == EVENING


def test_complete_step_leaves_what_was_done_before_the_start(day: CrewDay, actor: Actor) -> None:
    Span.objects.update(was_extracted_before_start=True)
    assert _complete(actor, 1).done_at == EVENING
    assert Span.objects.get().extracted_at is None


@pytest.mark.usefixtures("day")
def test_complete_step_refuses_a_step_that_is_not_there(actor: Actor) -> None:
    with pytest.raises(NotFound, match="no step 9"):
        _complete(actor, 9)
