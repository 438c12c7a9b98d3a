"""The names in a list of crew-days looked up, each one that is not known a fault."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

from inventory.errors import Fault
from inventory.models import Place
from inventory.queries.references import find_taken, noun_of
from jobs.models import Crew, CrewDay, CrewDayStep, Job, Run, Span
from jobs.queries.safety import list_every_stop, stops_step
from jobs.services.job_life import OVER_STATES
from jobs.services.schedule.listed import ListedStep

# What may still be planned anew; afterwards goods have been taken for it.
OPEN_STATES = (CrewDay.State.PLANNED, CrewDay.State.AGREED)
KEYS_AT_ONCE = 2_000


@dataclass
class PlannedStep:
    """A row looked up. `standing` is the same step where it stands on the stored day already."""

    listed: ListedStep
    span: Span | None
    run: Run | None
    standing: CrewDayStep | None


@dataclass
class PlannedDay:
    """One crew's day as the list has it, looked up; `steps` in order, without those done before."""

    crew: Crew
    date: date
    stored: CrewDay | None
    first_line: int
    vehicle: Place | None = None
    warehouse: Place | None = None
    steps: list[PlannedStep] = field(default_factory=list)
    # What other systems call the day.
    references: dict[str, str] = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        return self.stored is None or self.stored.state in OPEN_STATES


class Resolver:
    """Looks names up and sets down faults; everything is read at once, whatever the length of the list."""

    def __init__(self, listed: list[ListedStep], *, may_create_crews: bool = False) -> None:
        self.faults: list[Fault] = []
        self.new_crews: dict[str, Crew] = {}
        self._listed = listed
        self._may_create_crews = may_create_crews
        self._crews = {crew.code: crew for crew in Crew.objects.select_related("vehicle", "warehouse")}
        codes = {step.vehicle for step in listed} | {step.warehouse for step in listed}
        self._places = {place.code: place for place in Place.objects.filter(code__in=codes - {""})}
        references = {step.job for step in listed}
        self.jobs = {job.reference: job for job in Job.objects.filter(reference__in=references)}
        self._spans = {(span.job_id, span.name): span for span in self._find_spans()}
        self._runs = {(run.job_id, run.name): run for run in self._find_runs()}
        self.stored_days = find_stored_days({step.date for step in listed if step.date is not None})
        self.stored_steps = find_stored_steps(self.stored_days.values())

    def resolve(self) -> list[PlannedDay]:
        """Put the steps into days; use what comes back only where there are no faults."""
        days: dict[tuple[str, date], PlannedDay] = {}
        for step in self._listed:
            day = self._find_day(days, step)
            self._add_step(day, step)
        for day in days.values():
            day.steps.sort(key=lambda planned: planned.listed.position or 0)
            self._require_truck_and_yard(day)
        self.faults += _twice(self._listed)
        self.faults += _loaded(days)
        self.faults += _planned_elsewhere(days)
        self.faults += _stopped(days)
        self.faults += _name_days(days, self._listed)
        return list(days.values())

    def _find_day(self, days: dict[tuple[str, date], PlannedDay], step: ListedStep) -> PlannedDay | None:
        vehicle = self._find_place("vehicle", step.vehicle, Place.Kind.VEHICLE, step)
        warehouse = self._find_place("warehouse", step.warehouse, Place.Kind.WAREHOUSE, step)
        crew = self._find_crew(step)
        if crew is None or step.date is None:
            return None
        key = (step.crew, step.date)
        day = days.setdefault(key, PlannedDay(crew, step.date, self.stored_days.get(key), step.line))
        for column, place, before in (
            ("vehicle", vehicle, day.vehicle),
            ("warehouse", warehouse, day.warehouse),
        ):
            if place is not None and before is not None and place != before:
                message = f"an earlier row of crew {crew} on {step.date} says {before.code}; make them agree"
                self._fault(column, place.code, message, step)
        day.vehicle = day.vehicle or vehicle
        day.warehouse = day.warehouse or warehouse
        return day

    def _find_crew(self, step: ListedStep) -> Crew | None:
        crew = self._crews.get(step.crew)
        if crew is not None or not step.crew:
            return crew
        if not self._may_create_crews:
            message = (
                "is no crew known here; correct the code, or set new crews up with --create-crews and rows "
                "that name vehicle and warehouse"
            )
            self._fault("crew", step.crew, message, step)
            return None
        return self._introduce_crew(step)

    def _introduce_crew(self, step: ListedStep) -> Crew:
        """Make a crew of the first vehicle and warehouse that its rows name; none is a fault."""
        rows = [row for row in self._listed if row.crew == step.crew]
        found: dict[str, Place | None] = {}
        for column in ("vehicle", "warehouse"):
            code = next((getattr(row, column) for row in rows if getattr(row, column)), "")
            found[column] = self._places.get(code)
            if not code:
                message = f"is empty, and crew {step.crew} is new; name the {column} that it works from"
                self._fault(column, "", message, step)
        crew = Crew(code=step.crew, name=step.crew, vehicle=found["vehicle"], warehouse=found["warehouse"])
        self._crews[step.crew] = self.new_crews[step.crew] = crew
        return crew

    def _find_place(self, column: str, code: str, kind: Place.Kind, step: ListedStep) -> Place | None:
        if not code:
            return None
        place = self._places.get(code)
        if place is None:
            message = (
                f"is no place known here; correct the code, or set the {kind.label} up with import_stock"
            )
            self._fault(column, code, message, step)
        elif place.kind != kind:
            message = f"is a {place.get_kind_display()}, not a {kind.label}; name a {kind.label}"
            self._fault(column, code, message, step)
            return None
        return place

    def _add_step(self, day: PlannedDay | None, step: ListedStep) -> None:
        job = self.jobs.get(step.job)
        if job is None:
            if step.job:
                message = "is no job known here; correct it, or take its spans first with import_spans"
                self._fault("job", step.job, message, step)
            return
        if job.state in OVER_STATES:
            message = f"is {job.get_state_display()} and takes no more plans; leave its rows out"
            self._fault("job", step.job, message, step)
        if not step.name:
            return
        span = self._spans.get((job.pk, step.name)) if step.column == "span" else None
        run = self._runs.get((job.pk, step.name)) if step.column == "run" else None
        found = span or run
        if found is None or found.is_withdrawn:
            gone = "was withdrawn from" if found is not None else f"is no {step.column} of"
            message = f"{gone} job {job}; correct the name, or take it up again in the job's span list"
            self._fault(step.column, step.name, message, step)
            return
        standing = self._find_standing(step, found.pk)
        if reason := _find_done(step, span, run, standing):
            self._check_done(step, standing, reason)
        elif day is not None:
            day.steps.append(PlannedStep(step, span, run, standing))

    def _check_done(self, step: ListedStep, standing: CrewDayStep | None, reason: str) -> None:
        """A step that is done stays so: the list may say it again, and nothing else."""
        if step.done_at is None or standing is None or standing.done_at is None:
            remedy = (
                "leave this row out" if standing is None else "say yes in the column done, or leave it out"
            )
            self._fault(step.column, step.name, f"{reason}; {remedy}", step)
        elif step.is_moment_given and step.done_at != standing.done_at:
            moment = standing.done_at.astimezone(step.done_at.tzinfo)
            message = f"was done at {moment:%Y-%m-%dT%H:%M:%S%z} by what stands here, and that stays; say yes"
            self._fault("done", step.done_at.isoformat(), message, step)

    def _find_standing(self, step: ListedStep, owner: int) -> CrewDayStep | None:
        stored = self.stored_days.get((step.crew, step.date)) if step.date is not None else None
        return self.stored_steps.get((stored.pk, step.kind, owner)) if stored is not None else None

    def _require_truck_and_yard(self, day: PlannedDay) -> None:
        if day.stored is not None or day.crew.code in self.new_crews:
            return
        for column, place, standing in (
            ("vehicle", day.vehicle, day.crew.vehicle),
            ("warehouse", day.warehouse, day.crew.warehouse),
        ):
            if place is None and standing is None:
                message = f"is empty, and crew {day.crew} has none of its own; name the {column}"
                self.faults.append(Fault(column, "", message, day.first_line))

    def _find_spans(self) -> Iterator[Span]:
        names = sorted({step.name for step in self._listed if step.column == "span"})
        for start in range(0, len(names), KEYS_AT_ONCE):
            chunk = names[start : start + KEYS_AT_ONCE]
            spans = Span.objects.filter(job__in=self.jobs.values(), name__in=chunk)
            yield from spans.select_related("cable_size", "as_found_size", "job", "run", "near", "far")

    def _find_runs(self) -> Iterator[Run]:
        names = sorted({step.name for step in self._listed if step.column == "run"})
        for start in range(0, len(names), KEYS_AT_ONCE):
            chunk = names[start : start + KEYS_AT_ONCE]
            runs = Run.objects.filter(job__in=self.jobs.values(), name__in=chunk)
            yield from runs.select_related("cable_size", "job__customer", "job__fibre", "job__fibre_owner")

    def _fault(self, column: str, value: str, message: str, step: ListedStep) -> None:
        self.faults.append(Fault(column, value, message, step.line))


def find_stored_days(dates: set[date], *, is_locking: bool = False) -> dict[tuple[str, date], CrewDay]:
    """The crew-days of these dates, by crew and date; those of crews the list does not name among them."""
    days = CrewDay.objects.filter(date__in=dates).select_related("crew", "vehicle", "warehouse")
    if is_locking:
        days = days.select_for_update(of=("self",)).order_by("pk")
    return {(day.crew.code, day.date): day for day in days}


def find_stored_steps(days: Iterable[CrewDay]) -> dict[tuple[int, str, int], CrewDayStep]:
    """The steps of these days, by day, kind, and span or run; of two alike the one that is not done."""
    steps = CrewDayStep.objects.filter(crew_day__in=list(days)).order_by("pk")
    found: dict[tuple[int, str, int], CrewDayStep] = {}
    for step in steps:
        owner = step.span_id or step.run_id
        assert owner is not None
        key = (step.crew_day_id, step.kind, owner)
        if key not in found or step.done_at is None:
            found[key] = step
    return found


def _find_done(step: ListedStep, span: Span | None, run: Run | None, standing: CrewDayStep | None) -> str:
    """Why this step is not to be planned: it is done. Empty where it is not."""
    if span is not None and span.is_extracted:
        return "has been extracted already"
    if run is not None and step.kind == CrewDayStep.Kind.CLEAN and run.is_cleaned:
        return "has been cleaned already"
    if run is not None and step.kind == CrewDayStep.Kind.BLOW and run.is_blown:
        return "has been blown already"
    if standing is not None and standing.done_at is not None:
        return "is done already"
    return ""


def _twice(listed: list[ListedStep]) -> Iterator[Fault]:
    first: dict[tuple[str, str, str], int] = {}
    for step in listed:
        if not (step.kind and step.job and step.name):
            continue
        line = first.setdefault((step.kind, step.job, step.name), step.line)
        if line != step.line:
            message = f"is planned for the same on line {line} already; keep one of them"
            yield Fault(step.column, step.name, message, step.line)


def _loaded(days: dict[tuple[str, date], PlannedDay]) -> Iterator[Fault]:
    """Of a day for which goods were taken a list may only say that steps of it are done."""
    for day in days.values():
        stored = day.stored
        if stored is None or day.is_open:
            continue
        changed = [step for step in day.steps if step.standing is None or step.listed.done_at is None]
        what = f"the day of crew {stored.crew} is {stored.get_state_display()} and stays as it is"
        if changed:
            message = f"{what}; leave its rows out, or say which of its own steps are done"
            yield Fault("date", str(stored.date), message, changed[0].listed.line)
        for column, place, standing in (
            ("vehicle", day.vehicle, stored.vehicle),
            ("warehouse", day.warehouse, stored.warehouse),
        ):
            if place is not None and place != standing:
                yield Fault(column, place.code, f"{what}; say {standing.code}, or nothing", day.first_line)


def _planned_elsewhere(days: dict[tuple[str, date], PlannedDay]) -> Iterator[Fault]:
    """Steps that stand on a day that the list does not replace; those on days it replaces go."""
    rows = [(day, row) for day in days.values() for row in day.steps]
    for start in range(0, len(rows), KEYS_AT_ONCE):
        chunk = rows[start : start + KEYS_AT_ONCE]
        spans = [row.span.pk for _, row in chunk if row.span is not None]
        runs = [row.run.pk for _, row in chunk if row.run is not None]
        waiting = CrewDayStep.objects.filter(done_at__isnull=True).select_related("crew_day__crew")
        stored = {
            (step.kind, step.span_id or step.run_id): step.crew_day
            for step in [*waiting.filter(span__in=spans), *waiting.filter(run__in=runs)]
        }
        for day, row in chunk:
            owner = row.span or row.run
            other = stored.get((row.listed.kind, owner.pk if owner is not None else None))
            if other is None or (other.crew.code, other.date) == (day.crew.code, day.date):
                continue
            replaced = days.get((other.crew.code, other.date))
            if replaced is None or not replaced.is_open:
                message = f"is planned on {other.date} with crew {other.crew}; move it, or list that day too"
                yield Fault(row.listed.column, row.listed.name, message, row.listed.line)


def _stopped(days: dict[tuple[str, date], PlannedDay]) -> Iterator[Fault]:
    """Work that a rule of the trade stops is not planned anew; where it stands already, the sheet says so."""
    stops = list_every_stop()
    for day in days.values() if stops else ():
        for row in day.steps:
            if row.standing is not None or row.listed.done_at is not None:
                continue
            span, run = row.span.pk if row.span else None, row.run.pk if row.run else None
            stop = next((each for each in stops if stops_step(each, row.listed.kind, span, run)), None)
            if stop is not None:
                message = f"is stopped: {stop.sentence} Leave its row out until safety has lifted it"
                yield Fault(row.listed.column, row.listed.name, message, row.listed.line)


def _name_days(days: dict[tuple[str, date], PlannedDay], listed: list[ListedStep]) -> Iterator[Fault]:
    """Note what other systems call the days: one name for one day, and a day has one of each system."""
    noun = noun_of(CrewDay)
    taken = find_taken(noun, [(step.reference_system, step.reference) for step in listed if step.reference])
    first: dict[tuple[str, str], PlannedDay] = {}
    for step in listed:
        day = days.get((step.crew, step.date)) if step.date is not None else None
        if day is None or not step.reference:
            continue
        name = (step.reference_system, step.reference)
        before = day.references.setdefault(step.reference_system, step.reference)
        record = taken.get(name)
        is_another = record is not None and (day.stored is None or day.stored.pk != record)
        if before != step.reference:
            message = f"an earlier row calls the day {before}; make them agree"
            yield Fault("reference", step.reference, message, step.line)
        elif is_another or first.setdefault(name, day) is not day:
            message = f"is what {step.reference_system} calls another crew-day already; give this one its own"
            yield Fault("reference", step.reference, message, step.line)
