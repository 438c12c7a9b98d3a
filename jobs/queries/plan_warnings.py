"""What about a plan somebody should look at: work out of order, and one truck for two crews.

A plan may be wrong for a while, as long as somebody is still making it: nothing here refuses anything.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from jobs.models import CrewDay, CrewDayStep, KitLoad, Run, Span

Step = CrewDayStep.Kind


@dataclass(frozen=True)
class _When:
    """When a step is planned: its day, with whom, and the place in that crew's day."""

    date: date
    crew_id: int
    position: int

    def is_after(self, other: "_When") -> bool:
        """Whether it surely comes later; two crews on one day may work in any order."""
        if self.date != other.date:
            return self.date > other.date
        return self.crew_id == other.crew_id and self.position > other.position


@dataclass
class PlanWarnings:
    """Sentences by crew-day; those about a run stand with the day on which it is cleaned or blown."""

    by_day: dict[int, list[str]] = field(default_factory=dict)

    def of(self, day: CrewDay) -> list[str]:
        return self.by_day.get(day.pk, [])

    def add(self, day_id: int, sentence: str) -> None:
        found = self.by_day.setdefault(day_id, [])
        if sentence not in found:
            found.append(sentence)

    @property
    def sentences(self) -> list[str]:
        return [sentence for found in self.by_day.values() for sentence in found]


def load_plan_warnings(days: Sequence[CrewDay]) -> PlanWarnings:
    """Look at these days and at the runs on them, in a fixed number of queries."""
    runs = set(
        CrewDayStep.objects.filter(crew_day__in=days, done_at__isnull=True, run__isnull=False).values_list(
            "run", flat=True
        )
    )
    found = find_run_warnings(runs)
    add_shared_trucks(days, found)
    _add_other_trucks(days, found)
    return found


def find_run_warnings(run_keys: Iterable[int]) -> PlanWarnings:
    """Runs that are cleaned before their spans are out, or blown before they are clean."""
    found = PlanWarnings()
    keys = set(run_keys)
    if not keys:
        return found
    runs = Run.objects.in_bulk(keys)
    spans: dict[int, list[Span]] = {}
    for span in Span.objects.filter(run__in=keys, is_withdrawn=False).order_by("run", "sequence"):
        spans.setdefault(span.run_id, []).append(span)
    extracts, on_runs = _load_steps(keys)
    for step, when in on_runs:
        assert step.run_id is not None
        run = runs[step.run_id]
        if step.kind == Step.CLEAN:
            _check_cleaning(run, spans.get(run.pk, []), step, when, extracts, found)
        else:
            cleaned = next(
                (other for row, other in on_runs if row.run_id == run.pk and row.kind == Step.CLEAN), None
            )
            _check_blowing(run, step, when, cleaned, found)
    return found


def _load_steps(keys: set[int]) -> tuple[dict[int, _When], list[tuple[CrewDayStep, _When]]]:
    """When each waiting span of these runs is extracted, and the waiting steps on the runs themselves."""
    waiting = CrewDayStep.objects.filter(done_at__isnull=True).select_related("crew_day")
    extracts = {
        step.span_id: _when(step) for step in waiting.filter(span__run__in=keys) if step.span_id is not None
    }
    rows = waiting.filter(run__in=keys).order_by("crew_day__date", "crew_day", "position")
    return extracts, [(step, _when(step)) for step in rows]


def _when(step: CrewDayStep) -> _When:
    return _When(step.crew_day.date, step.crew_day.crew_id, step.position)


def _check_cleaning(
    run: Run,
    spans: list[Span],
    step: CrewDayStep,
    when: _When,
    extracts: dict[int, _When],
    found: PlanWarnings,
) -> None:
    waiting = [span for span in spans if not span.is_extracted]
    unplanned = [span.name for span in waiting if span.pk not in extracts]
    late = [span for span in waiting if span.pk in extracts and extracts[span.pk].is_after(when)]
    if unplanned:
        names = ", ".join(unplanned)
        found.add(step.crew_day_id, f"Run {run} is to be cleaned; not yet extracted: {names}.")
    for span in late:
        other = extracts[span.pk].date
        then = "later that day" if other == when.date else f"on {other}"
        sentence = f"Run {run} is to be cleaned before span {span} is extracted, {then}."
        found.add(step.crew_day_id, sentence)


def _check_blowing(
    run: Run, step: CrewDayStep, when: _When, cleaned: _When | None, found: PlanWarnings
) -> None:
    if run.is_cleaned:
        return
    if cleaned is None:
        found.add(step.crew_day_id, f"Run {run} is to be blown; it is not clean, and nobody is to clean it.")
    elif cleaned.is_after(when):
        then = "later that day" if cleaned.date == when.date else f"on {cleaned.date}"
        found.add(step.crew_day_id, f"Run {run} is to be blown before it is cleaned, {then}.")


def add_shared_trucks(days: Sequence[CrewDay], found: PlanWarnings) -> None:
    """Two crews that are planned with one truck on one day."""
    rows = CrewDay.objects.filter(
        date__in={day.date for day in days}, vehicle__in={day.vehicle_id for day in days}
    ).select_related("crew", "vehicle")
    by_truck: dict[tuple[date, int], list[CrewDay]] = {}
    for row in rows.order_by("crew__code"):
        by_truck.setdefault((row.date, row.vehicle_id), []).append(row)
    for day in days:
        others = [row for row in by_truck.get((day.date, day.vehicle_id), []) if row.crew_id != day.crew_id]
        if others:
            names = " and ".join(row.crew.code for row in others)
            found.add(
                day.pk,
                f"{others[0].vehicle} is planned for crew {names} too on {day.date}; give one another.",
            )


def _add_other_trucks(days: Sequence[CrewDay], found: PlanWarnings) -> None:
    """Goods that were loaded for a day onto a truck that is no longer its own."""
    loads = KitLoad.objects.filter(crew_day__in=days, entry__reversed_by__isnull=True)
    targets = loads.values_list(
        "crew_day",
        "crew_day__vehicle",
        "entry__container_changes__target_place",
        "entry__container_changes__target_place__name",
        "entry__movements__target_place",
        "entry__movements__target_place__name",
    )
    for day, vehicle, *ends in targets.distinct():
        for place, name in (ends[:2], ends[2:]):
            if place is not None and place != vehicle:
                found.add(day, f"Goods for this day were loaded onto {name}, which is not its truck now.")
