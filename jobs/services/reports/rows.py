"""From a report's content to its rows: what was told, with amounts in the units we keep."""

from dataclasses import dataclass, field
from fractions import Fraction

from inventory.errors import Fault
from inventory.models import Container, Material
from inventory.services.lines import BadLine
from inventory.services.measuring import Measured, measure, measure_metered
from inventory.units import Amount, convert, require_dimension
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
    CatchContent,
    CleaningContent,
    ReportContent,
)
from jobs.services.reports.names import (
    Names,
    find_projectile,
    find_recovered_form,
    find_usual_fluid,
)
from jobs.services.reports.readings import make_readings
from jobs.services.reports.told_amounts import (
    as_entered,
    read_kg,
    read_mark,
    read_optional,
    read_some,
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
    # What other reports told before: by the position of a blowing or a try, the share of its marks or of what
    # its meter counted; and the positions of cleanings with as many fired into the same run that day.
    marks_told_before: dict[int, Fraction] = field(default_factory=dict)
    meters_told_before: dict[int, Fraction] = field(default_factory=dict)
    fired_before: set[int] = field(default_factory=set)

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
        told.attempts.append(_make_attempt(attempt, number, report, names))
    for number, cleaning in enumerate(content.cleanings):
        told.cleanings.append(_make_cleaning(cleaning, number, report, names))
    told.blowings = [_make_blowing(row, number, report, names) for number, row in enumerate(content.blowings)]
    for number, catch in enumerate(content.caught):
        told.caught.append(_make_catch(catch, number, report, names))
        told.caught_spans.append([names.spans[span] for span in dict.fromkeys(catch.spans)])
    _make_goods(told, content, names)
    caught = {row.container_id: row.material for row in told.caught}
    told.readings = make_readings(content, report=report, names=names, caught=caught)
    return told


def _make_attempt(row: AttemptContent, number: int, report: FieldReport, names: Names) -> SpanAttempt:
    pointer = f"/attempts/{number}"
    fluid = _fluid_of(row, names)
    measured = _read_injected(row, fluid, names, pointer)
    meter = names.instruments.get(row.meter)
    start, end = row.meter_start, row.meter_end
    unit = end.unit if end else start.unit if start else ""
    note = row.note
    if measured is not None and fluid is names.usual_fluid and names.is_fluid_guessed and not row.fluid:
        note = _remarked(note, f"which fluid was not told, taken as {fluid}")
    return SpanAttempt(
        report=report,
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


def _fluid_of(row: AttemptContent, names: Names) -> Material | None:
    """The fluid an attempt tells of: named, or what its drum is for, or what the company injects."""
    if row.fluid:
        return names.materials[row.fluid]
    box = names.containers.get(row.source_container)
    inside = names.contents.get(box.pk) or box.material if box is not None else None
    if inside is not None:
        return inside
    is_told = row.injected is not None or row.meter_end is not None or box is not None
    return find_usual_fluid(names) if is_told else None


def _read_injected(
    row: AttemptContent, fluid: Material | None, names: Names, pointer: str
) -> Measured | None:
    """The best raw amount: by the meter where both readings are known and it ran forwards, else as told."""
    start, end = row.meter_start, row.meter_end
    if start is not None and end is not None and _runs_forward(start, end, pointer):
        _require_fluid(fluid, pointer)
        assert fluid is not None
        return measure_metered(
            material=fluid,
            start=convert(start.value, start.unit, end.unit) if start.unit != end.unit else start.value,  # type: ignore[arg-type]
            end=end.value,
            unit=end.unit,
            reference_temperature_c=names.company.reference_temperature_c,
            temperature_c=row.temperature_c,
            instrument=names.instruments.get(row.meter),
            pointer=pointer,
        )
    if row.injected is None:
        return None
    _require_fluid(fluid, pointer)
    assert fluid is not None
    return measure(
        material=fluid,
        method="metered",
        value=row.injected.value,
        unit=row.injected.unit,
        reference_temperature_c=names.company.reference_temperature_c,
        temperature_c=row.temperature_c,
        pointer=f"{pointer}/injected",
    )


def _runs_forward(start: Amount, end: Amount, pointer: str) -> bool:
    """Whether a meter's end lies above its start; one that ran backwards tells no amount."""
    require_dimension(start.unit, "volume")
    require_dimension(end.unit, "volume")
    return convert(end.value, end.unit, start.unit) >= start.value


def _require_fluid(fluid: Material | None, pointer: str) -> None:
    if fluid is None:
        message = "is not told and the company has no usual one; name it"
        raise BadLine.of([Fault(f"{pointer}/fluid", "", message)])
    if fluid.kind != Material.Kind.FLUID:
        raise BadLine.of([Fault(f"{pointer}/fluid", str(fluid), "is no fluid")])


def _make_cleaning(row: CleaningContent, number: int, report: FieldReport, names: Names) -> RunCleaning:
    run, note = names.runs[row.run], row.note
    projectile = names.materials.get(row.projectile)
    if projectile is None and row.fired:
        projectile = find_projectile(names, run)
        if projectile is None:
            message = "is missing, and none is on record for this bore; say which projectile was fired"
            raise BadLine.of([Fault(f"/cleanings/{number}/projectile", "", message)])
        note = _remarked(note, f"which projectile was not told, taken as {projectile}")
    return RunCleaning(
        report=report,
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


def _make_blowing(row: BlowingContent, number: int, report: FieldReport, names: Names) -> RunBlowing:
    pointer = f"/blowings/{number}"
    reel = names.containers.get(row.reel)
    start, end = row.mark_start, row.mark_end
    if reel is None and (start or end):
        raise BadLine.of([Fault(f"{pointer}/reel", "", "is missing; marks are those of a reel")])
    if reel is not None and reel.kind != Container.Kind.REEL:
        raise BadLine.of([Fault(f"{pointer}/reel", str(reel), f"is a {reel.get_kind_display()}, not a reel")])
    unit = end.unit if end else start.unit if start else ""
    return RunBlowing(
        report=report,
        position=number,
        run=names.runs[row.run],
        reel=reel,
        mark_start=read_mark(start, unit, "length", f"{pointer}/mark_start"),
        mark_end=read_mark(end, unit, "length", f"{pointer}/mark_end"),
        mark_unit=unit,
        is_done=row.is_done,
        pressure_kpa=row.pressure_kpa,
        ran_short_at_um=read_um(row.ran_short_at, f"{pointer}/ran_short_at"),
        note=row.note,
    )


def _make_catch(row: CatchContent, number: int, report: FieldReport, names: Names) -> FluidCaught:
    pointer = f"/caught/{number}"
    box = names.containers[row.container]
    material = _recovered_in(box, names)
    if material is None:
        message = "is for nothing that fluid is recovered as; name a container for recovered fluid"
        raise BadLine.of([Fault(f"{pointer}/container", str(box), message)])
    measured = None
    if row.amount is not None:
        measured = measure(
            material=material,
            method="metered",
            value=row.amount.value,
            unit=row.amount.unit,
            reference_temperature_c=names.company.reference_temperature_c,
            pointer=f"{pointer}/amount",
        )
    return FluidCaught(
        report=report,
        position=number,
        kind=row.kind,
        container=box,
        material=material,
        run=names.runs[row.run] if row.run is not None else None,
        amount=measured.amount if measured else None,
        standard_uncertainty=measured.standard_uncertainty if measured else None,
        **as_entered(row.amount),
    )


def _recovered_in(box: Container, names: Names) -> Material | None:
    """What came back into a container: its own recovered fluid, else that of the usual fluid."""
    inside = names.contents.get(box.pk)
    for material in (inside, box.material):
        if material is not None and material.recovered_from_id is not None:
            return material
    fresh = box.material if box.material is not None else find_usual_fluid(names)
    return find_recovered_form(names, fresh) if fresh is not None else None


def _make_goods(told: Told, content: ReportContent, names: Names) -> None:
    report = told.report
    told.pieces = [
        PieceReport(
            report=report,
            position=number,
            material=names.materials[row.material],
            quantity=read_some(row.amount, names.materials[row.material], f"/pieces/{number}/amount"),
            fate=row.fate,
            span=names.spans[row.span] if row.span is not None else None,
            run=names.runs[row.run] if row.run is not None else None,
            tag=row.tag,
            cause=row.cause,
        )
        for number, row in enumerate(content.pieces)
    ]
    for number, waste in enumerate(content.waste):
        box = names.containers[waste.container]
        material = names.contents.get(box.pk) or box.material or _recovered_in(box, names)
        if material is None:
            message = "is for no material that is known; say what it is for first"
            raise BadLine.of([Fault(f"/waste/{number}/container", str(box), message)])
        told.waste.append(
            WasteHandover(
                report=report,
                position=number,
                manifest_number=waste.manifest_number,
                receiver=waste.receiver,
                container=box,
                material=material,
                amount=read_optional(waste.amount, material, f"/waste/{number}/amount"),
                **as_entered(waste.amount),
            )
        )
    told.losses = [
        ReportedLoss(
            report=report,
            position=number,
            material=names.materials[row.material],
            container=names.containers.get(row.container),
            amount=read_optional(row.amount, names.materials[row.material], f"/losses/{number}/amount"),
            cause=row.cause,
            span=names.spans[row.span] if row.span is not None else None,
            run=names.runs[row.run] if row.run is not None else None,
            is_contained=row.is_contained,
            liable_party=names.parties.get(row.liable_party),
            note=row.note,
            **as_entered(row.amount),
        )
        for number, row in enumerate(content.losses)
    ]
