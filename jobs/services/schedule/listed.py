"""A list of crew-days as it stands in the file: one row, one step."""

from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from inventory.errors import Fault
from inventory.services.references import DEFAULT_SYSTEM
from inventory.sheets.cells import read_boolean, read_date
from inventory.sheets.columns import Column
from inventory.sheets.numbers import CellRefused
from inventory.sheets.reading import read_sheet
from inventory.sheets.table import FaultList, Record, Table
from jobs.models import CrewDayStep

Kind = CrewDayStep.Kind
END_OF_DAY = time(23, 59, 59)

COLUMNS = (
    Column("date", ("day",), kind="date"),
    Column("crew", ("crew code",), max_length=40),
    Column("vehicle", ("truck",), is_required=False, max_length=160),
    Column("position", ("pos", "order"), kind="whole", is_required=False, is_positive=True),
    Column(
        "step",
        ("work",),
        kind="choice",
        choices={
            Kind.EXTRACT.value: ("extract span", "extraction"),
            Kind.CLEAN.value: ("clean run", "cleaning"),
            Kind.BLOW.value: ("blow run", "blow fibre", "blowing"),
        },
    ),
    Column("job", ("job reference",), max_length=40),
    Column("span", ("span name",), is_required=False, max_length=64),
    Column("run", ("run name",), is_required=False, max_length=64),
    Column("warehouse", ("kit from",), is_required=False, max_length=160),
    Column("reference", ("external reference", "ref"), is_required=False, max_length=160),
    Column("reference_system", ("reference system",), is_required=False, max_length=64),
    Column("done", ("is done", "done at"), is_required=False, max_length=40),
)


@dataclass(frozen=True, slots=True)
class ListedStep:
    """One row, its names not yet looked up. `name` is that of the span or run, in `column`.

    `reference` is what another system calls the crew's day, not the step.
    What could not be read is None or empty; such a row is looked at for more faults only. `done_at` is the
    moment at which the step was done; `is_moment_given` where the row says it rather than just yes.
    """

    line: int
    date: date | None
    crew: str
    vehicle: str
    position: int | None
    kind: str
    job: str
    column: str
    name: str
    warehouse: str
    reference: str
    reference_system: str
    done_at: datetime | None
    is_moment_given: bool


@dataclass(frozen=True)
class Clock:
    """The company's clocks and the moment at which the list is taken: nothing is done after it."""

    zone: ZoneInfo
    now: datetime

    def end_of(self, day: date) -> datetime:
        return datetime.combine(day, END_OF_DAY, self.zone)

    def is_ahead(self, day: date) -> bool:
        return day > self.now.astimezone(self.zone).date()


def read_schedule_list(
    path: str | Path, *, clock: Clock
) -> tuple[list[ListedStep], FaultList, tuple[str, ...]]:
    """Read the whole list; its faults, and the headers nobody asked for, come back with it."""
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        steps = [_understand(table, record, clock) for record in table.read_rows()]
        table.faults.extend(_position_faults(steps))
        return steps, table.faults, table.ignored_headers


def _understand(table: Table, record: Record, clock: Clock) -> ListedStep:
    kind = record["step"] or ""
    column = "span" if kind == Kind.EXTRACT or (not kind and record["span"]) else "run"
    if kind and not record[column] and column not in record.refused:
        message = f"is empty; a step that is to {Kind(kind).label} names the {column}"
        table.faults.add(table.make_fault(record, column, message))
    done_at, is_moment_given = _read_done(table, record, clock)
    return ListedStep(
        line=record.line,
        date=record["date"],
        crew=record["crew"] or "",
        vehicle=record["vehicle"] or "",
        position=record["position"],
        kind=kind,
        job=record["job"] or "",
        column=column,
        name=record[column] or "",
        warehouse=record["warehouse"] or "",
        reference=record["reference"] or "",
        reference_system=record["reference_system"] or DEFAULT_SYSTEM,
        done_at=done_at,
        is_moment_given=is_moment_given,
    )


def _read_done(table: Table, record: Record, clock: Clock) -> tuple[datetime | None, bool]:
    """When the step was done: a moment, the end of a day, or with yes the end of the crew-day."""
    text = record["done"]
    if not text:
        return None, False
    try:
        moment, is_given = _read_moment(text, record["date"], clock)
    except CellRefused as refused:
        table.faults.add(table.make_fault(record, "done", str(refused)))
        return None, False
    return moment, is_given


def _read_moment(text: str, crew_day: date | None, clock: Clock) -> tuple[datetime | None, bool]:
    try:
        if not read_boolean(text):
            return None, False
        day = crew_day
    except CellRefused:
        moment = _read_exact(text, clock.zone)
        if moment is not None:
            if moment > clock.now:
                raise CellRefused("is still to come; say when the step was done, or no") from None
            return moment, True
        day = read_date(text)
    if day is None:
        return None, False
    if clock.is_ahead(day):
        raise CellRefused(f"cannot be, since {day} is still to come; say when the step was done, or no")
    return min(clock.end_of(day), clock.now), day is not crew_day


def _read_exact(text: str, zone: ZoneInfo) -> datetime | None:
    """A date with a time of day; None for a date alone, or for what is neither."""
    if ":" not in text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        message = "is no moment; write yes, no, a date such as 2026-08-07, or 2026-08-07T16:30"
        raise CellRefused(message) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def _position_faults(steps: list[ListedStep]) -> list[Fault]:
    """Within a crew's day every step has a position of its own, or none has any."""
    faults = []
    seen: dict[tuple[str, date], dict[int | None, int]] = {}
    for step in steps:
        if step.date is None or not step.crew:
            continue
        taken = seen.setdefault((step.crew, step.date), {})
        if step.position is not None and step.position in taken:
            message = (
                f"crew {step.crew} has this position on line {taken[step.position]} already; give another"
            )
            faults.append(Fault("position", str(step.position), message, step.line))
        elif taken and (step.position is None) != (None in taken):
            message = (
                f"some steps of crew {step.crew} on {step.date} have a position, this row differs; "
                "give all of them one, or none"
            )
            faults.append(Fault("position", str(step.position or ""), message, step.line))
        taken.setdefault(step.position, step.line)
    return faults
