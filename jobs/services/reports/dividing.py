"""A run has one bore throughout: where a span is found to be of another size, the run is divided there."""

from collections.abc import Iterable
from itertools import groupby

from inventory.models import Place
from jobs.models import CrewDayStep, Run, Span
from jobs.services.needs import find_days_ahead, write_needs

MOST_NAME = 64


def divide_runs(run_keys: Iterable[int]) -> None:
    """Divide those of these runs whose spans are not of one size as found, and plan them anew.

    The first part keeps the run with its name. A run that was cleaned or blown as one was of one bore,
    whatever is told now, and stays.
    """
    runs = Run.objects.filter(pk__in=set(run_keys), cleaned_at__isnull=True, blown_at__isnull=True)
    for run in runs.select_related("job", "place"):
        if not run.is_cleaned and not run.is_blown:
            _divide(run)


def _divide(run: Run) -> None:
    spans = run.spans.filter(is_withdrawn=False).select_related("cable_size", "as_found_size")
    parts = [
        (size, list(part))
        for size, part in groupby(spans.order_by("sequence"), key=lambda span: span.found_size)
    ]
    if not parts or (len(parts) == 1 and parts[0][0].pk == run.cable_size_id):
        return
    Run.objects.filter(pk=run.pk).update(cable_size=parts[0][0])
    keys = [run.pk]
    for number, (size, part) in enumerate(parts[1:], start=2):
        name = _free_name(run, number)
        place = Place.objects.create(
            code=f"{Place.Kind.RUN.value}:{run.job.reference}:{name}",
            name=f"Run {name} of {run.job.reference}",
            kind=Place.Kind.RUN,
            parent=run.job.place,
        )
        new = Run.objects.create(
            job=run.job, name=name, cable_size=size, place=place, is_derived=run.is_derived
        )
        Span.objects.filter(pk__in=[span.pk for span in part]).update(run=new)
        Place.objects.filter(span__in=part).update(parent=place)
        keys.append(new.pk)
        _plan(run, new)
    write_needs(find_days_ahead(span_keys=[], run_keys=keys))


def _plan(run: Run, new: Run) -> None:
    """Plan the new run wherever the whole was planned, behind everything else of that day."""
    for step in CrewDayStep.objects.filter(run=run, done_at__isnull=True):
        last = CrewDayStep.objects.filter(crew_day=step.crew_day_id).order_by("-position").first()
        position = last.position + 1 if last is not None else 1
        CrewDayStep.objects.create(crew_day_id=step.crew_day_id, position=position, kind=step.kind, run=new)


def _free_name(run: Run, number: int) -> str:
    base = run.name[: MOST_NAME - 6]
    while Run.objects.filter(job=run.job, name=f"{base}-{number}").exists():
        number += 1
    return f"{base}-{number}"
