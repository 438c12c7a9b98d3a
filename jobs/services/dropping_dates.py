"""Taking a job's steps off the days that they were planned on, because the job will not go on as planned."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from jobs.models import CrewDay, CrewDayStep, Job
from jobs.queries.sheet_steps import step_title
from jobs.services.needs import drop_needs, write_needs

# A day for which goods are on a truck keeps its steps, shown as stopped: they tell for which job these went.
OPEN_STATES = (CrewDay.State.PLANNED, CrewDay.State.AGREED)


@dataclass(frozen=True)
class DroppedStep:
    """A step and the day that it was planned on."""

    crew: str
    date: date
    title: str


def drop_dates(job: Job) -> list[DroppedStep]:
    """Take what is still to be done for a job off its days, where nothing is loaded for them yet.

    The days are taken for this transaction first: one that is being loaded meanwhile keeps its steps.
    """
    waiting = CrewDayStep.objects.filter(Q(span__job=job) | Q(run__job=job), done_at__isnull=True)
    days = CrewDay.objects.filter(pk__in=waiting.values("crew_day"))
    locked = [day.pk for day in days.select_for_update(of=("self",)).order_by("pk")]
    steps = (
        waiting.filter(crew_day__in=locked, crew_day__state__in=OPEN_STATES, crew_day__loads__isnull=True)
        .select_related("crew_day__crew", "span", "run")
        .order_by("crew_day__date", "crew_day__crew__code", "position")
    )
    found = list(steps)
    CrewDayStep.objects.filter(pk__in=[step.pk for step in found]).delete()
    tell_or_take_off({step.crew_day_id: step.crew_day for step in found}.values())
    return [DroppedStep(step.crew_day.crew.code, step.crew_day.date, step_title(step)) for step in found]


def tell_or_take_off(days: Iterable[CrewDay]) -> None:
    """Tell inventory anew what days need that lost steps; a day without any is taken off the plan.

    What was loaded for a day stays on its truck; such a day is kept, so that it can be told of.
    """
    kept = []
    for day in days:
        if day.steps.exists() or day.loads.exists() or day.reports.exists():
            kept.append(day)
            continue
        drop_needs([day.requirement_reference])
        day.delete()
    write_needs(kept)
