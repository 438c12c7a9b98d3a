"""The names in a list of crew-days looked up, each one that is not known a fault."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from inventory.errors import Fault
from inventory.models import Place
from jobs.models import Crew, CrewDay, CrewDayStep, Job, Run, Span
from jobs.services.job_life import OVER_STATES
from jobs.services.schedule.listed import ListedStep

# What may still be planned anew; afterwards goods have been taken for it.
OPEN_STATES = (CrewDay.State.PLANNED, CrewDay.State.AGREED)
KEYS_AT_ONCE = 2_000


@dataclass
class PlannedDay:
    """One crew's day as the list has it, looked up; `steps` in the order of work."""

    crew: Crew
    date: date
    vehicle: Place | None
    warehouse: Place | None
    steps: list[tuple[ListedStep, Span | None, Run | None]] = field(default_factory=list)


class Resolver:
    """Looks names up and sets down faults; everything is read at once, whatever the length of the list."""

    def __init__(self, listed: list[ListedStep]) -> None:
        self.faults: list[Fault] = []
        self._listed = listed
        self._crews = {crew.code: crew for crew in Crew.objects.select_related("vehicle", "warehouse")}
        codes = {step.vehicle for step in listed} | {step.warehouse for step in listed}
        self._places = {place.code: place for place in Place.objects.filter(code__in=codes - {""})}
        references = {step.job for step in listed}
        self._jobs = {job.reference: job for job in Job.objects.filter(reference__in=references)}
        self._spans = {(span.job_id, span.name): span for span in self._find_spans()}
        self._runs = {(run.job_id, run.name): run for run in self._find_runs()}

    def resolve(self) -> list[PlannedDay]:
        """Put the steps into days; use what comes back only where there are no faults."""
        days: dict[tuple[str, date], PlannedDay] = {}
        for step in self._listed:
            day = self._find_day(days, step)
            self._add_step(day, step)
        for day in days.values():
            day.steps.sort(key=lambda found: found[0].position or 0)
            self._require_truck_and_yard(day)
        self.faults += _twice(self._listed)
        self.faults += _loaded(days)
        self.faults += _planned_elsewhere(days)
        return list(days.values())

    def _find_day(self, days: dict[tuple[str, date], PlannedDay], step: ListedStep) -> PlannedDay | None:
        crew = self._crews.get(step.crew)
        if crew is None:
            self._fault("crew", step.crew, "is no crew known here", step)
            return None
        vehicle = self._find_place("vehicle", step.vehicle, Place.Kind.VEHICLE, step)
        warehouse = self._find_place("warehouse", step.warehouse, Place.Kind.WAREHOUSE, step)
        day = days.setdefault((step.crew, step.date), PlannedDay(crew, step.date, vehicle, warehouse))
        for column, before, now in (
            ("vehicle", day.vehicle, vehicle),
            ("warehouse", day.warehouse, warehouse),
        ):
            if now is not None and before is not None and now != before:
                self._fault(
                    column, now.code, f"differs from {before.code} on an earlier row of the day", step
                )
        day.vehicle, day.warehouse = day.vehicle or vehicle, day.warehouse or warehouse
        return day

    def _find_place(self, column: str, code: str, kind: Place.Kind, step: ListedStep) -> Place | None:
        if not code:
            return None
        place = self._places.get(code)
        if place is None:
            self._fault(column, code, "is no place known here", step)
        elif place.kind != kind:
            self._fault(column, code, f"is a {place.get_kind_display()}, not a {kind.label}", step)
        return place

    def _add_step(self, day: PlannedDay | None, step: ListedStep) -> None:
        job = self._jobs.get(step.job)
        if job is None:
            self._fault("job", step.job, "is no job known here", step)
            return
        if job.state in OVER_STATES:
            self._fault("job", step.job, f"is {job.get_state_display()} and takes no more plans", step)
        span = self._spans.get((job.pk, step.name)) if step.column == "span" else None
        run = self._runs.get((job.pk, step.name)) if step.column == "run" else None
        found = span or run
        if found is None or found.is_withdrawn:
            gone = "was withdrawn from" if found is not None else f"is no {step.column} of"
            self._fault(step.column, step.name, f"{gone} job {job}", step)
        elif reason := find_done(step.kind, span, run):
            self._fault(step.column, step.name, reason, step)
        elif day is not None:
            day.steps.append((step, span, run))

    def _require_truck_and_yard(self, day: PlannedDay) -> None:
        line = min((step.line for step, _, _ in day.steps), default=None)
        if (day.vehicle or day.crew.vehicle) is None:
            message = f"is empty, and crew {day.crew} has no vehicle of its own"
            self.faults.append(Fault("vehicle", "", message, line))
        if (day.warehouse or day.crew.warehouse) is None:
            message = f"is empty, and crew {day.crew} has no home warehouse"
            self.faults.append(Fault("warehouse", "", message, line))

    def _find_spans(self) -> Iterator[Span]:
        names = sorted({step.name for step in self._listed if step.column == "span"})
        for start in range(0, len(names), KEYS_AT_ONCE):
            chunk = names[start : start + KEYS_AT_ONCE]
            yield from Span.objects.filter(job__in=self._jobs.values(), name__in=chunk)

    def _find_runs(self) -> Iterator[Run]:
        names = sorted({step.name for step in self._listed if step.column == "run"})
        for start in range(0, len(names), KEYS_AT_ONCE):
            chunk = names[start : start + KEYS_AT_ONCE]
            yield from Run.objects.filter(job__in=self._jobs.values(), name__in=chunk)

    def _fault(self, column: str, value: str, message: str, step: ListedStep) -> None:
        self.faults.append(Fault(column, value, message, step.line))


def find_done(kind: str, span: Span | None, run: Run | None) -> str:
    """Why this step is not to be planned: it is done. Empty where it is not."""
    if span is not None and span.is_extracted:
        return "has been extracted already"
    if run is not None and kind == CrewDayStep.Kind.CLEAN and run.is_cleaned:
        return "has been cleaned already"
    if run is not None and kind == CrewDayStep.Kind.BLOW and run.is_blown:
        return "has been blown already"
    return ""


def _twice(listed: list[ListedStep]) -> Iterator[Fault]:
    first: dict[tuple[str, str, str], int] = {}
    for step in listed:
        line = first.setdefault((step.kind, step.job, step.name), step.line)
        if line != step.line:
            yield Fault(step.column, step.name, f"is planned for the same on line {line} already", step.line)


def _loaded(days: dict[tuple[str, date], PlannedDay]) -> Iterator[Fault]:
    dates = {day for _crew, day in days}
    taken = CrewDay.objects.filter(date__in=dates).exclude(state__in=OPEN_STATES).select_related("crew")
    for stored in taken:
        planned = days.get((stored.crew.code, stored.date))
        if planned is not None and planned.steps:
            message = f"the day of crew {stored.crew} is {stored.get_state_display()} and stays as it is"
            yield Fault("date", str(stored.date), message, planned.steps[0][0].line)


def _planned_elsewhere(days: dict[tuple[str, date], PlannedDay]) -> Iterator[Fault]:
    """Steps that stand on a day the list does not name; those on days it names are replaced."""
    rows = [row for day in days.values() for row in day.steps]
    for start in range(0, len(rows), KEYS_AT_ONCE):
        chunk = rows[start : start + KEYS_AT_ONCE]
        spans = [span.pk for _, span, _ in chunk if span is not None]
        runs = [run.pk for _, _, run in chunk if run is not None]
        waiting = CrewDayStep.objects.filter(done_at__isnull=True).select_related("crew_day__crew")
        stored = {
            (step.kind, step.span_id or step.run_id): step.crew_day
            for step in [*waiting.filter(span__in=spans), *waiting.filter(run__in=runs)]
        }
        for listed, span, run in chunk:
            owner = span or run
            day = stored.get((listed.kind, owner.pk if owner is not None else None))
            if day is not None and (day.crew.code, day.date) not in days:
                message = f"is planned on {day.date} with crew {day.crew}; move it, or list that day too"
                yield Fault(listed.column, listed.name, message, listed.line)
