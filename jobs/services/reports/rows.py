"""From a report's content to its rows: what was told, with amounts in the units we keep."""

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from inventory.errors import Fault
from inventory.models import Container, Material
from inventory.services.lines import BadLine
from inventory.services.measuring import Measured, measure, measure_metered
from inventory.units import MILLION, Amount, convert, from_millionths, require_dimension
from jobs.models import (
    ContainerReading,
    FieldReport,
    FluidCaught,
    PieceReport,
    ReportedLoss,
    RunBlowing,
    RunCleaning,
    Span,
    SpanAttempt,
    WasteHandover,
)
from jobs.services.reports.content import (
    AttemptContent,
    BlowingContent,
    CleaningContent,
    ReportContent,
)
from jobs.services.reports.gaps import Gap
from jobs.services.reports.goods_rows import add_catch, make_goods
from jobs.services.reports.names import (
    Names,
    find_only_reel,
    find_projectile,
    find_usual_fluid,
)
from jobs.services.reports.readings import make_readings
from jobs.services.reports.told_amounts import (
    read_kg,
    read_mark,
    read_um,
)

NOTE_LENGTH = 500


@dataclass
class Told:
    """The rows of one report; the spans of each catch stand beside it, as they are kept apart."""

    report: FieldReport
    attempts: list[SpanAttempt] = field(default_factory=list)
    cleanings: list[RunCleaning] = field(default_factory=list)
    blowings: list[RunBlowing] = field(default_factory=list)
    caught: list[FluidCaught] = field(default_factory=list)
    caught_spans: list[list[Span]] = field(default_factory=list)
    readings: list[ContainerReading] = field(default_factory=list)
    pieces: list[PieceReport] = field(default_factory=list)
    waste: list[WasteHandover] = field(default_factory=list)
    losses: list[ReportedLoss] = field(default_factory=list)
    # What was told before: by the position of a blowing or a try, the share of its marks or of what its meter
    # counted; and the positions of cleanings.
    marks_told_before: dict[int, Fraction] = field(default_factory=dict)
    meters_told_before: dict[int, Fraction] = field(default_factory=dict)
    fired_before: set[int] = field(default_factory=set)
    # What looks like something told before and is booked all the same: positions of cleanings, of tries by a
    # meter that began again where it had begun, and of tries on spans that had come out.
    fired_alike: set[int] = field(default_factory=set)
    meters_set_back: set[int] = field(default_factory=set)
    out_before: set[int] = field(default_factory=set)
    # What had to be assumed, or could only be kept as it was told.
    gaps: list[Gap] = field(default_factory=list)

    @property
    def end_readings(self) -> list[ContainerReading]:
        """What was left in containers when the report was made."""
        return [row for row in self.readings if row.moment == ContainerReading.Moment.END]


def make_rows(content: ReportContent, *, report: FieldReport, names: Names) -> Told:
    """Make the rows of a report, unsaved.

    Raises
    ------
    BadInput
        If an amount is none, or of another kind than what it is said to be.
    """
    told = Told(report)
    for number, attempt in enumerate(content.attempts):
        told.attempts.append(_make_attempt(attempt, number, told, names))
    for number, cleaning in enumerate(content.cleanings):
        told.cleanings.append(_make_cleaning(cleaning, number, told, names))
    told.blowings = [_make_blowing(row, number, told, names) for number, row in enumerate(content.blowings)]
    for number, catch in enumerate(content.caught):
        add_catch(catch, number, told, names)
    make_goods(told, content, names)
    caught = {row.container_id: row.material for row in told.caught}
    told.readings = make_readings(content, report=report, names=names, caught=caught, gaps=told.gaps)
    return told


def _make_attempt(row: AttemptContent, number: int, told: Told, names: Names) -> SpanAttempt:
    pointer = f"/attempts/{number}"
    fluid, is_open = _fluid_of(row, names)
    measured = _read_injected(row, fluid, names, pointer)
    note = _note_fluid(row, fluid, told, names) if is_open else row.note
    meter = names.instruments.get(row.meter)
    start, end = row.meter_start, row.meter_end
    unit = end.unit if end else start.unit if start else ""
    return SpanAttempt(
        report=told.report,
        position=number,
        span=names.spans[row.span],
        outcome=row.outcome,
        pressure_end=names.points.get((row.span.job, row.pressure_end)),
        pressure_fitting_tag=row.pressure_fitting_tag,
        core_out_um=read_um(row.core_out, f"{pointer}/core_out"),
        core_mass_kg=read_kg(row.core_mass, f"{pointer}/core_mass"),
        meter=meter.instrument if meter else None,
        meter_start=read_mark(start, unit, "volume", f"{pointer}/meter_start"),
        meter_end=read_mark(end, unit, "volume", f"{pointer}/meter_end"),
        meter_unit=unit,
        fluid=fluid if measured is not None or row.fluid or row.source_container else None,
        source_container=names.containers.get(row.source_container),
        injected=measured.amount if measured else None,
        injected_uncertainty=measured.standard_uncertainty if measured else None,
        pressure_kpa=row.pressure_kpa,
        temperature_c=row.temperature_c,
        duration_s=row.duration_s,
        was_leak_looked_for=row.was_leak_looked_for,
        as_found_size=names.sizes.get(row.as_found_size),
        as_found_length_um=read_um(row.as_found_length, f"{pointer}/as_found_length"),
        hidden_splices=row.hidden_splices,
        note=note,
    )


def _note_fluid(row: AttemptContent, fluid: Material | None, told: Told, names: Names) -> str:
    """What the crew noted, with what was assumed of the fluid behind it."""
    span = names.spans[row.span]
    if fluid is not None:
        told.gaps.append(Gap("which fluid went in was not told", f"taken as {fluid}", True, span=span))
        return _remarked(row.note, f"which fluid was not told, taken as {fluid}")
    went = str(row.injected) if row.injected is not None else f"the meter up to {row.meter_end}"
    reason = "no fluid is on record; put it on record and correct the report"
    told.gaps.append(Gap(f"{went} went in", reason, False, span=span))
    return _remarked(row.note, f"{went} went in; no fluid is on record")


def _fluid_of(row: AttemptContent, names: Names) -> tuple[Material | None, bool]:
    """The fluid an attempt tells of: named, or what its drum is for, or what the company injects.

    Beside it whether that is only likely, the company having several.
    """
    if row.fluid:
        return names.materials[row.fluid], False
    box = names.containers.get(row.source_container)
    inside = names.contents.get(box.pk) or box.material if box is not None else None
    if inside is not None:
        return inside, False
    is_told = row.injected is not None or row.meter_end is not None
    fluid = find_usual_fluid(names) if is_told or box is not None else None
    return fluid, is_told and (fluid is None or names.is_fluid_guessed)


def _read_injected(
    row: AttemptContent, fluid: Material | None, names: Names, pointer: str
) -> Measured | None:
    """The best raw amount: by the meter where both readings are known and it ran forwards, else as told.

    None where nobody told any, or no fluid is on record whose amount it could be.
    """
    start, end = row.meter_start, row.meter_end
    is_metered = start is not None and end is not None and _runs_forward(start, end, pointer)
    if fluid is None:
        return None
    if fluid.kind != Material.Kind.FLUID:
        raise BadLine.of([Fault(f"{pointer}/fluid", str(fluid), "is no fluid")])
    if is_metered:
        assert start is not None
        assert end is not None
        return measure_metered(
            material=fluid,
            start=_in_unit(start, end.unit),
            end=end.value,
            unit=end.unit,
            reference_temperature_c=names.company.reference_temperature_c,
            temperature_c=row.temperature_c,
            instrument=names.instruments.get(row.meter),
            pointer=pointer,
        )
    if row.injected is None:
        return None
    return measure(
        material=fluid,
        method="metered",
        value=row.injected.value,
        unit=row.injected.unit,
        reference_temperature_c=names.company.reference_temperature_c,
        temperature_c=row.temperature_c,
        pointer=f"{pointer}/injected",
    )


def _in_unit(amount: Amount, unit: str) -> Decimal:
    """What a meter showed in another unit, as fine as it is kept."""
    if amount.unit == unit:
        return amount.value
    return from_millionths(round(convert(amount.value, amount.unit, unit) * MILLION), unit)


def _runs_forward(start: Amount, end: Amount, pointer: str) -> bool:
    """Whether a meter's end lies above its start; one that ran backwards tells no amount."""
    require_dimension(start.unit, "volume")
    require_dimension(end.unit, "volume")
    return convert(end.value, end.unit, start.unit) >= start.value


def _make_cleaning(row: CleaningContent, number: int, told: Told, names: Names) -> RunCleaning:
    run, note = names.runs[row.run], row.note
    projectile = names.materials.get(row.projectile)
    if projectile is None and row.fired:
        projectile = find_projectile(names, run)
        what = f"which of the projectiles was fired, {row.fired} in all, was not told"
        if projectile is not None:
            told.gaps.append(Gap(what, f"taken as {projectile}", True, run=run))
            note = _remarked(note, f"which projectile was not told, taken as {projectile}")
        else:
            reason = "none is on record for this bore; put it on record and correct the report"
            told.gaps.append(Gap(what, reason, False, run=run))
    return RunCleaning(
        report=told.report,
        position=number,
        run=run,
        projectile=projectile,
        fired=row.fired,
        retrieved=row.retrieved,
        is_clean=row.is_clean,
        pressure_kpa=row.pressure_kpa,
        stuck_at_um=read_um(row.stuck_at, f"/cleanings/{number}/stuck_at"),
        were_both_ends_vented=row.were_both_ends_vented,
        note=note,
    )


def _remarked(note: str, remark: str) -> str:
    """What a crew noted, with what we had to assume behind it."""
    return f"{note} [{remark}]".strip()[:NOTE_LENGTH]


def _make_blowing(row: BlowingContent, number: int, told: Told, names: Names) -> RunBlowing:
    pointer = f"/blowings/{number}"
    run, reel, note = names.runs[row.run], names.containers.get(row.reel), row.note
    start, end = row.mark_start, row.mark_end
    unit = end.unit if end else start.unit if start else ""
    marks = [read_mark(each, unit, "length", f"{pointer}/{name}")
             for each, name in ((start, "mark_start"), (end, "mark_end"))]  # fmt: skip
    if reel is None and (start or end):
        reel = find_only_reel(names)
        note = _note_reel(row, reel, told, names)
        marks = marks if reel is not None else [None, None]
    if reel is not None and reel.kind != Container.Kind.REEL:
        raise BadLine.of([Fault(f"{pointer}/reel", str(reel), f"is a {reel.get_kind_display()}, not a reel")])
    return RunBlowing(
        report=told.report,
        position=number,
        run=run,
        reel=reel,
        mark_start=marks[0],
        mark_end=marks[1],
        mark_unit=unit,
        is_done=row.is_done,
        pressure_kpa=row.pressure_kpa,
        ran_short_at_um=read_um(row.ran_short_at, f"{pointer}/ran_short_at"),
        note=note,
    )


def _note_reel(row: BlowingContent, reel: Container | None, told: Told, names: Names) -> str:
    """What the crew noted, with what was assumed of the reel whose marks these are."""
    run = names.runs[row.run]
    if reel is not None:
        told.gaps.append(Gap("which reel was blown from was not told", f"taken as {reel}", True, run=run))
        return _remarked(row.note, f"which reel was not told, taken as {reel}")
    marks = " to ".join(str(each) for each in (row.mark_start, row.mark_end) if each is not None)
    reason = "their reel was not told; name it and correct the report"
    told.gaps.append(Gap(f"marks of {marks} were read", reason, False, run=run))
    return _remarked(row.note, f"marks {marks} of a reel that was not told")
