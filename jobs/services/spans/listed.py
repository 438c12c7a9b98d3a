"""A span list as it stands in the file: one row, one span."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from sys import intern

from inventory.errors import Fault
from inventory.services.references import DEFAULT_SYSTEM
from inventory.sheets.columns import Column
from inventory.sheets.numbers import CellRefused
from inventory.sheets.reading import read_sheet
from inventory.sheets.sizes import read_cable_size
from inventory.sheets.table import FaultList, Record, Table, find_duplicates
from inventory.units import Amount, convert
from jobs.models import AccessPoint

NAME_LENGTH = 64
UM_PER_M = 1_000_000
# Told once per so many rows, so that telling costs nothing.
PROGRESS_ROWS = 2_000

_KINDS = {
    AccessPoint.Kind.PEDESTAL.value: ("ped",),
    AccessPoint.Kind.VAULT.value: ("manhole", "mh"),
    AccessPoint.Kind.HANDHOLE.value: ("hand hole", "hh"),
    AccessPoint.Kind.POLE.value: (),
}
DONE_STEPS = ("extracted", "cleaned", "blown")

COLUMNS = (
    Column("span", ("span name", "span id", "name"), max_length=NAME_LENGTH),
    Column("run", ("run name",), is_required=False, max_length=NAME_LENGTH),
    Column("sequence", ("seq", "order"), kind="whole", is_required=False),
    Column("cable_size", ("cable size", "size", "cable"), max_length=20),
    Column(
        "length",
        ("span length",),
        dimension="length",
        unit_spellings=("unit", "length unit", "uom"),
        is_positive=True,
    ),
    Column(
        "near",
        ("near access point", "from", "near end", "from access point"),
        max_length=NAME_LENGTH,
    ),
    Column("far", ("far access point", "to", "far end", "to access point"), max_length=NAME_LENGTH),
    Column("near_kind", ("near kind", "from kind"), kind="choice", choices=_KINDS, is_required=False),
    Column("far_kind", ("far kind", "to kind"), kind="choice", choices=_KINDS, is_required=False),
    Column("bends", (), kind="whole", is_required=False),
    Column("slack", ("slack loop",), dimension="length", is_required=False),
    Column("reference", ("external reference", "ref"), is_required=False, max_length=160),
    Column("reference_system", ("reference system",), is_required=False, max_length=64),
    Column("done", ("steps done", "already done"), is_required=False, max_length=80),
)


@dataclass(slots=True)
class ListedSpan:
    """One row, understood. `run` is filled in for rows that name none once runs are found.

    A row with faults is not sound: what could be read of it is here, nothing in the place of the rest, and
    it is looked at for more faults only.
    """

    line: int
    name: str
    run: str
    is_run_derived: bool
    sequence: int | None
    cable_size: str
    length_um: int
    entered_length: str
    entered_unit: str
    near: str
    far: str
    near_kind: str
    far_kind: str
    bends: int | None
    slack_um: int
    reference: str
    reference_system: str
    done: frozenset[str]
    is_sound: bool

    @property
    def ends(self) -> tuple[str, str]:
        return self.near, self.far


def read_span_list(
    path: str | Path, *, known_sizes: frozenset[str], report: Callable[[str, int, int], None]
) -> tuple[list[ListedSpan], FaultList, tuple[str, ...]]:
    """Read the whole list; its faults, and the headers nobody asked for, come back with it."""
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        spans: list[ListedSpan] = []
        for number, record in enumerate(table.read_rows(), start=1):
            spans.append(_understand(table, record, known_sizes))
            if number % PROGRESS_ROWS == 0:
                report("Reading the list", number, 0)
        between = list(find_faults_between(spans))
        doubtful = {fault.line for fault in between}
        for span in spans if doubtful else ():
            span.is_sound = span.is_sound and span.line not in doubtful
        table.faults.extend(between)
        return spans, table.faults, table.ignored_headers


def _understand(table: Table, record: Record, known_sizes: frozenset[str]) -> ListedSpan:
    """Make the span of a row, and set down the faults that only this importer can know."""
    known = table.faults.count
    size = _read_size(table, record, known_sizes)
    done = _read_done(table, record)
    if record["near"] and record["near"] == record["far"]:
        message = "is the near access point too; a span has two ends, name the other one"
        table.faults.add(table.make_fault(record, "far", message))
    length: Amount | None = record["length"]
    slack: Amount | None = record["slack"]
    return ListedSpan(
        line=record.line,
        name=record["span"] or "",
        run=intern(record["run"] or ""),
        is_run_derived=not record["run"],
        sequence=record["sequence"],
        cable_size=size,
        length_um=_to_um(length) if length else 0,
        entered_length=str(length.value) if length else "",
        entered_unit=length.unit if length else "m",
        # Most names stand in two rows or more and are kept once.
        near=intern(record["near"] or ""),
        far=intern(record["far"] or ""),
        near_kind=record["near_kind"] or "",
        far_kind=record["far_kind"] or "",
        bends=record["bends"],
        slack_um=_to_um(slack) if slack else 0,
        reference=record["reference"] or "",
        reference_system=record["reference_system"] or DEFAULT_SYSTEM,
        done=done,
        is_sound=record.is_sound and table.faults.count == known,
    )


def _read_size(table: Table, record: Record, known_sizes: frozenset[str]) -> str:
    if not record["cable_size"]:
        # The table has said that it is missing.
        return ""
    try:
        size = read_cable_size(record["cable_size"])
    except CellRefused as refused:
        table.faults.add(table.make_fault(record, "cable_size", str(refused)))
        return ""
    if size not in known_sizes:
        known = " ".join(sorted(known_sizes, key=float))
        message = f"is a size not known here; write one of: {known}"
        table.faults.add(table.make_fault(record, "cable_size", message))
        return ""
    return size


def _read_done(table: Table, record: Record) -> frozenset[str]:
    """Steps done before the start; what must have come before one goes without saying."""
    text = (record["done"] or "").replace(";", ",").replace("+", ",").replace("/", ",")
    words = {word.strip().casefold() for word in text.split(",") if word.strip()}
    if not words <= set(DONE_STEPS):
        table.faults.add(
            table.make_fault(
                record, "done", f"is none of the steps that can be done; write {', '.join(DONE_STEPS)}"
            )
        )
        return frozenset()
    furthest = max((DONE_STEPS.index(word) for word in words), default=-1)
    return frozenset(DONE_STEPS[: furthest + 1])


def _to_um(amount: Amount) -> int:
    return round(amount.value * _um_per(amount.unit))


@cache
def _um_per(unit: str) -> int:
    """Whole micrometres in a unit of length; exact for every one on the list."""
    return int(convert(1, unit, "m") * UM_PER_M)


def find_faults_between(spans: list[ListedSpan]) -> Iterator[Fault]:
    """Faults that no row has by itself: names and references used twice, kinds that disagree."""
    named_spans = ((span.line, span.name) for span in spans if span.name)
    yield from find_duplicates(named_spans, pointer="span", what="span")
    named = ((span.line, (span.reference_system, span.reference)) for span in spans if span.reference)
    yield from find_duplicates(named, pointer="reference", what="reference")
    kinds: dict[str, tuple[str, int]] = {}
    for span in spans:
        for column, name, kind in (
            ("near kind", span.near, span.near_kind),
            ("far kind", span.far, span.far_kind),
        ):
            first, line = kinds.setdefault(name, (kind, span.line)) if kind and name else (kind, 0)
            if kind != first:
                yield Fault(column, kind, f"{name} is a {first} on line {line}; make them agree", span.line)
