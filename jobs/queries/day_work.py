"""Crew-days' work with all it touches, in a fixed number of queries however many days are asked for."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from jobs.models import CableSize, CrewDay, CrewDayStep, Job, Run, Span
from jobs.queries.safety import Stop, find_stops_of_steps

# Steps of these jobs are not going to be done as planned, so nothing is taken along for them.
STOPPED_STATES = frozenset({Job.State.ON_HOLD, Job.State.CANCELLED, Job.State.CLOSED})


@dataclass(frozen=True)
class DayWork:
    """The steps of one crew-day that are still to be done, in order, and the spans of every run in them.

    `stopped` are steps of jobs on hold or over, and steps that a rule of the trade stops (`stops`, by the
    key of the step): shown, but nothing is needed for them.
    """

    crew_day: CrewDay
    steps: list[CrewDayStep]
    stopped: list[CrewDayStep] = field(default_factory=list)
    spans_by_run: dict[int, list[Span]] = field(default_factory=dict)
    stops: dict[int, Stop] = field(default_factory=dict)
    # Filled as it is asked for, by `group_by_size`.
    by_size: dict[str, dict[CableSize, list[CrewDayStep]]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def why_stopped(self, step: CrewDayStep) -> str:
        """Why a stopped step is not to be done: what was found, or in which state its job is."""
        stop = self.stops.get(step.pk)
        return stop.sentence if stop is not None else f"job is {job_of(step).get_state_display()}"

    def steps_of(self, kind: CrewDayStep.Kind) -> list[CrewDayStep]:
        return [step for step in self.steps if step.kind == kind]

    @property
    def extracted_spans(self) -> list[Span]:
        """The spans to be extracted, in the order of work."""
        return [step.span for step in self.steps if step.span is not None]

    def runs_of(self, kind: CrewDayStep.Kind) -> list[Run]:
        """The runs to be cleaned or blown, in the order of work."""
        return [step.run for step in self.steps_of(kind) if step.run is not None]

    def spans_of(self, run: Run) -> list[Span]:
        """The live spans of a run, in their order."""
        return self.spans_by_run.get(run.pk, [])


def job_of(step: CrewDayStep) -> Job:
    """The job a step belongs to."""
    if step.span is not None:
        return step.span.job
    assert step.run is not None
    return step.run.job


def load_day_work(crew_days: Iterable[CrewDay]) -> list[DayWork]:
    """Load the work of these days; each must come with its crew, vehicle and warehouse."""
    days = list(crew_days)
    steps_by_day: dict[int, list[CrewDayStep]] = {}
    run_keys: set[int] = set()
    steps = CrewDayStep.objects.filter(crew_day__in=days, done_at__isnull=True).select_related(
        "span__cable_size",
        "span__as_found_size",
        "span__job",
        "span__near",
        "span__far",
        "span__run",
        "run__cable_size",
        "run__job__customer",
        "run__job__fibre",
        "run__job__fibre_owner",
    )
    for step in steps.order_by("crew_day", "position"):
        steps_by_day.setdefault(step.crew_day_id, []).append(step)
        if step.run_id is not None:
            run_keys.add(step.run_id)
    spans_by_run = load_spans_of_runs(run_keys)
    stops = find_stops_of_steps(step for steps in steps_by_day.values() for step in steps)
    return [make_day_work(day, steps_by_day.get(day.pk, []), spans_by_run, stops) for day in days]


def load_spans_of_runs(run_keys: set[int]) -> dict[int, list[Span]]:
    """The live spans of these runs, by run and in their order."""
    spans = Span.objects.filter(run__in=run_keys, is_withdrawn=False)
    found: dict[int, list[Span]] = {}
    for span in spans.select_related("cable_size", "as_found_size", "near", "far").order_by(
        "run", "sequence"
    ):
        found.setdefault(span.run_id, []).append(span)
    return found


def make_day_work(
    day: CrewDay,
    steps: list[CrewDayStep],
    spans_by_run: dict[int, list[Span]],
    stops: Mapping[int, Stop] | None = None,
) -> DayWork:
    """Tell the steps that are going to be done from those that a rule stops or whose job stands still."""
    own = {step.pk: stops[step.pk] for step in steps if step.pk in stops} if stops else {}
    stopped = [step for step in steps if step.pk in own or job_of(step).state in STOPPED_STATES]
    going_on = [step for step in steps if step not in stopped]
    runs = {step.run_id for step in steps if step.run_id is not None}
    return DayWork(day, going_on, stopped, {key: spans_by_run.get(key, []) for key in runs}, own)
