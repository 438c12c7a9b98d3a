"""Field reports as JSON, with all that they tell."""

from typing import Any
from uuid import UUID

from api.wire.amounts import quantity_json
from api.wire.answers import named_json
from api.wire.moments import moment_json
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
    words,
)
from api.wire.schemas import UUID as UUID_SHAPE
from inventory.models import Material, Movement
from inventory.units import MILLION
from jobs.models import (
    ContainerReading,
    FieldReport,
    FluidCaught,
    PieceReport,
    ReportedLoss,
    Run,
    RunBlowing,
    RunCleaning,
    Span,
    SpanAttempt,
    SpanSplit,
    WasteHandover,
)
from jobs.queries.field_reports import find_entries

Json = dict[str, Any]
UM_PER_M = 1_000_000


def reports_json(reports: list[FieldReport]) -> list[Json]:
    """Reports that were loaded with their rows; the ids of their entries are asked for at once."""
    entries = find_entries(reports)
    return [report_json(report, entries[report.document]) for report in reports]


def report_json(report: FieldReport, entries: list[UUID]) -> Json:
    """A report with all it tells, what the rules found in it, and the entries it stands in the book by."""
    return {
        "id": str(report.uuid),
        "crew": report.crew_day.crew.code,
        "date": report.crew_day.date.isoformat(),
        "occurred_at": moment_json(report.occurred_at),
        "recorded_at": moment_json(report.recorded_at),
        "by": named_json(report.by),
        "device": report.device,
        "note": report.note,
        "corrects": str(report.corrects.uuid) if report.corrects is not None else None,
        "corrected_by": str(report.corrected_by.uuid) if hasattr(report, "corrected_by") else None,
        "is_undone": report.is_undone,
        "entries": [str(uuid) for uuid in entries],
        "attempts": [attempt_json(row) for row in report.attempts.all()],
        "cleanings": [cleaning_json(row) for row in report.cleanings.all()],
        "blowings": [blowing_json(row) for row in report.blowings.all()],
        "caught": [caught_json(row) for row in report.caught.all()],
        "readings": [reading_json(row) for row in report.readings.all()],
        "pieces": [piece_json(row) for row in report.pieces.all()],
        "waste": [waste_json(row) for row in report.waste.all()],
        "losses": [loss_json(row) for row in report.losses.all()],
        "splits": [split_json(row) for row in report.splits.all()],
        "incidents": [str(row.uuid) for row in report.incidents.all()],
        "findings": [
            {"rule": row.rule, "severity": row.severity, "sentence": row.sentence, "is_open": row.is_open}
            for row in report.findings.all()
        ],
    }


def attempt_json(row: SpanAttempt) -> Json:
    return {
        "span": work_json(row.span),
        "outcome": row.outcome,
        "pressure_end": row.pressure_end.name if row.pressure_end else None,
        "pressure_fitting_tag": row.pressure_fitting_tag,
        "core_out_m": _metres(row.core_out_um),
        "core_mass_kg": row.core_mass_kg,
        "meter": row.meter.tag if row.meter else None,
        "meter_start": _mark(row.meter_start, row.meter_unit),
        "meter_end": _mark(row.meter_end, row.meter_unit),
        "fluid": named_json(row.fluid) if row.fluid else None,
        "source_container": _label(row.source_container),
        "injected": _quantity(row.injected, row.fluid),
        "injected_uncertainty": _uncertainty(row.injected_uncertainty),
        "pressure_kpa": row.pressure_kpa,
        "temperature_c": row.temperature_c,
        "duration_s": row.duration_s,
        "was_leak_looked_for": row.was_leak_looked_for,
        "as_found_size": str(row.as_found_size) if row.as_found_size else None,
        "as_found_length_m": _metres(row.as_found_length_um),
        "hidden_splices": row.hidden_splices,
        "note": row.note,
    }


def cleaning_json(row: RunCleaning) -> Json:
    return {
        "run": work_json(row.run),
        "is_clean": row.is_clean,
        "projectile": named_json(row.projectile) if row.projectile else None,
        "fired": row.fired,
        "retrieved": row.retrieved,
        "pressure_kpa": row.pressure_kpa,
        "stuck_at_m": _metres(row.stuck_at_um),
        "were_both_ends_vented": row.were_both_ends_vented,
        "note": row.note,
    }


def blowing_json(row: RunBlowing) -> Json:
    return {
        "run": work_json(row.run),
        "is_done": row.is_done,
        "reel": _label(row.reel),
        "mark_start": _mark(row.mark_start, row.mark_unit),
        "mark_end": _mark(row.mark_end, row.mark_unit),
        "pressure_kpa": row.pressure_kpa,
        "ran_short_at_m": _metres(row.ran_short_at_um),
        "note": row.note,
    }


def caught_json(row: FluidCaught) -> Json:
    return {
        "kind": row.kind,
        "container": row.container.label,
        "material": named_json(row.material),
        "spans": [work_json(span) for span in row.spans.all()],
        "run": work_json(row.run) if row.run else None,
        "amount": _quantity(row.amount, row.material),
    }


def reading_json(row: ContainerReading) -> Json:
    return {
        "container": row.container.label,
        "moment": row.moment,
        "method": row.method,
        "value": row.value,
        "unit": row.unit,
        "temperature_c": row.temperature_c,
        "instrument": row.instrument.tag if row.instrument else None,
        "material": named_json(row.material),
        "amount": _quantity(row.amount, row.material),
        "standard_uncertainty": _uncertainty(row.standard_uncertainty),
    }


def piece_json(row: PieceReport) -> Json:
    return {
        "material": named_json(row.material),
        "amount": _quantity(row.quantity, row.material),
        "fate": row.fate,
        "span": work_json(row.span) if row.span else None,
        "run": work_json(row.run) if row.run else None,
        "tag": row.tag,
        "cause": row.cause,
    }


def waste_json(row: WasteHandover) -> Json:
    return {
        "manifest_number": row.manifest_number,
        "receiver": row.receiver,
        "container": row.container.label,
        "material": named_json(row.material),
        "amount": _quantity(row.amount, row.material),
    }


def loss_json(row: ReportedLoss) -> Json:
    return {
        "material": named_json(row.material),
        "container": _label(row.container),
        "amount": _quantity(row.amount, row.material),
        "cause": row.cause,
        "span": work_json(row.span) if row.span else None,
        "run": work_json(row.run) if row.run else None,
        "is_contained": row.is_contained,
        "liable_party": named_json(row.liable_party) if row.liable_party else None,
        "note": row.note,
    }


def split_json(row: SpanSplit) -> Json:
    return {
        "span": work_json(row.span),
        "at_m": _metres(row.at_um),
        "access_point": row.access_point.name,
        "pieces": [piece.name for piece in row.span.pieces.all()],
    }


def work_json(work: Span | Run) -> Json:
    return {"job": work.job.reference, "name": work.name}


def _label(container: Any) -> str | None:
    return container.label if container is not None else None


def _metres(micrometres: int | None) -> float | None:
    return None if micrometres is None else micrometres / UM_PER_M


def _mark(millionths: int | None, unit: str) -> Json | None:
    return None if millionths is None else {"value": f"{millionths / MILLION:.6f}", "unit": unit}


def _quantity(millionths: int | None, material: Material | None) -> Json | None:
    if millionths is None or material is None:
        return None
    return quantity_json(millionths, material.stock_unit)


def _uncertainty(millionths: float | None) -> float | None:
    """In the unit of the amount it stands beside."""
    return None if millionths is None else millionths / MILLION


_WORK, _TEXT, _NUMBER, _FLAG = of("Work"), nullable(TEXT), nullable(NUMBER), nullable(FLAG)
_AMOUNT, _NAMED = nullable(of("Quantity")), nullable(of("Named"))
COMPONENTS: dict[str, Schema] = {
    "Work": {**shape(job=TEXT, name=TEXT), "description": "A span or a run, by its job's reference."},
    "Attempt": shape(
        span=_WORK,
        outcome=words(SpanAttempt.Outcome),
        pressure_end=_TEXT,
        pressure_fitting_tag=TEXT,
        core_out_m=_NUMBER,
        core_mass_kg=_NUMBER,
        meter=_TEXT,
        meter_start=_AMOUNT,
        meter_end=_AMOUNT,
        fluid=_NAMED,
        source_container=_TEXT,
        injected=_AMOUNT,
        injected_uncertainty=_NUMBER,
        pressure_kpa=_NUMBER,
        temperature_c=_NUMBER,
        duration_s=_NUMBER,
        was_leak_looked_for=_FLAG,
        as_found_size=_TEXT,
        as_found_length_m=_NUMBER,
        hidden_splices=nullable(WHOLE),
        note=TEXT,
    ),
    "Cleaning": shape(
        run=_WORK,
        is_clean=FLAG,
        projectile=_NAMED,
        fired=nullable(WHOLE),
        retrieved=nullable(WHOLE),
        pressure_kpa=_NUMBER,
        stuck_at_m=_NUMBER,
        were_both_ends_vented=_FLAG,
        note=TEXT,
    ),
    "Blowing": shape(
        run=_WORK,
        is_done=FLAG,
        reel=_TEXT,
        mark_start=_AMOUNT,
        mark_end=_AMOUNT,
        pressure_kpa=_NUMBER,
        ran_short_at_m=_NUMBER,
        note=TEXT,
    ),
    "Catch": shape(
        kind=words(FluidCaught.Kind),
        container=TEXT,
        material=of("Named"),
        spans=listing(_WORK),
        run=nullable(_WORK),
        amount=_AMOUNT,
    ),
    "ContainerReading": shape(
        container=TEXT,
        moment=words(ContainerReading.Moment),
        method=words(ContainerReading.Method),
        value=TEXT,
        unit=TEXT,
        temperature_c=_NUMBER,
        instrument=_TEXT,
        material=of("Named"),
        amount=_AMOUNT,
        standard_uncertainty=_NUMBER,
    ),
    "PieceReport": shape(
        material=of("Named"),
        amount=_AMOUNT,
        fate=words(PieceReport.Fate),
        span=nullable(_WORK),
        run=nullable(_WORK),
        tag=TEXT,
        cause=words(Movement.Cause, with_none=True),
    ),
    "WasteHandover": shape(
        manifest_number=TEXT, receiver=TEXT, container=TEXT, material=of("Named"), amount=_AMOUNT
    ),
    "ReportedLoss": shape(
        material=of("Named"),
        container=_TEXT,
        amount=_AMOUNT,
        cause=words(Movement.Cause),
        span=nullable(_WORK),
        run=nullable(_WORK),
        is_contained=_FLAG,
        liable_party=_NAMED,
        note=TEXT,
    ),
    "ReportFinding": shape(rule=TEXT, severity=TEXT, sentence=TEXT, is_open=FLAG),
    "SpanSplit": {
        **shape(span=_WORK, at_m=NUMBER, access_point=TEXT, pieces=listing(TEXT)),
        "description": (
            "A span cut in two. It stays so where the report is corrected: a pit that was dug is there."
        ),
    },
    "FieldReport": shape(
        id=UUID_SHAPE,
        crew=TEXT,
        date=DAY,
        occurred_at=MOMENT,
        recorded_at=MOMENT,
        by=of("Named"),
        device=TEXT,
        note=TEXT,
        corrects=nullable(UUID_SHAPE),
        corrected_by=nullable(UUID_SHAPE),
        is_undone=FLAG,
        entries=listing(UUID_SHAPE),
        attempts=listing(of("Attempt")),
        cleanings=listing(of("Cleaning")),
        blowings=listing(of("Blowing")),
        caught=listing(of("Catch")),
        readings=listing(of("ContainerReading")),
        pieces=listing(of("PieceReport")),
        waste=listing(of("WasteHandover")),
        losses=listing(of("ReportedLoss")),
        splits=listing(of("SpanSplit")),
        incidents=listing(UUID_SHAPE),
        findings=listing(of("ReportFinding")),
    ),
}
