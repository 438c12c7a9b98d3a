"""A list of crew-days as it stands in the file: one row, one step."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from inventory.errors import Fault
from inventory.sheets.columns import Column
from inventory.sheets.reading import read_sheet
from inventory.sheets.table import Record, Table
from jobs.models import CrewDayStep

Kind = CrewDayStep.Kind

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
)


@dataclass(frozen=True, slots=True)
class ListedStep:
    """One row, understood, its names not yet looked up. `name` is that of the span or run."""

    line: int
    date: date
    crew: str
    vehicle: str
    position: int | None
    kind: str
    job: str
    name: str
    warehouse: str

    @property
    def column(self) -> str:
        return "span" if self.kind == Kind.EXTRACT else "run"


def read_schedule_list(path: str | Path) -> tuple[list[ListedStep], tuple[str, ...]]:
    """Read the whole list, or refuse it with every fault. Also returns the headers nobody asked for."""
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        steps = [step for record in table if (step := _understand(table, record)) is not None]
        table.faults.extend(_position_faults(steps))
        table.raise_if_faulty()
        return steps, table.ignored_headers


def _understand(table: Table, record: Record) -> ListedStep | None:
    kind = record["step"]
    column = "span" if kind == Kind.EXTRACT else "run"
    if not record[column]:
        message = f"is empty; a step that is to {Kind(kind).label} names the {column}"
        table.faults.add(table.make_fault(record, column, message))
        return None
    return ListedStep(
        line=record.line,
        date=record["date"],
        crew=record["crew"],
        vehicle=record["vehicle"] or "",
        position=record["position"],
        kind=kind,
        job=record["job"],
        name=record[column],
        warehouse=record["warehouse"] or "",
    )


def _position_faults(steps: list[ListedStep]) -> list[Fault]:
    """Within a crew's day every step has a position of its own, or none has any."""
    faults = []
    seen: dict[tuple[str, date], dict[int | None, int]] = {}
    for step in steps:
        taken = seen.setdefault((step.crew, step.date), {})
        if step.position is not None and step.position in taken:
            message = f"crew {step.crew} has this position on line {taken[step.position]} already"
            faults.append(Fault("position", str(step.position), message, step.line))
        elif taken and (step.position is None) != (None in taken):
            message = f"some steps of crew {step.crew} on {step.date} have a position, this row differs"
            faults.append(Fault("position", str(step.position or ""), message, step.line))
        taken.setdefault(step.position, step.line)
    return faults
