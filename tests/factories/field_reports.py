"""Field reports as rows, for what reads them: made with the models, so that nothing is booked."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

from inventory.models import Actor, Container, Material
from jobs.models import (
    CrewDay,
    FieldReport,
    FluidCaught,
    PieceReport,
    Run,
    RunCleaning,
    Span,
    SpanAttempt,
)
from tests.factories.jobs import make_fluid

EVENING = datetime(2026, 3, 2, 18, tzinfo=UTC)


def make_report(crew_day: CrewDay, *, days_later: int = 0) -> FieldReport:
    at = EVENING + timedelta(days=days_later)
    actor = Actor.objects.get_or_create(code="lead", defaults={"name": "Crew lead", "kind": "person"})[0]
    return FieldReport.objects.create(
        uuid=uuid4(), crew_day=crew_day, occurred_at=at, recorded_at=at, by=actor, fingerprint=uuid4().hex
    )


def add_attempt(
    report: FieldReport, span: Span, litres: float, *, outcome: str = "all_out", **fields: object
) -> SpanAttempt:
    """A metered try; the fluid is counted in litres."""
    values: dict[str, object] = {
        "position": report.attempts.count(),
        "fluid": make_fluid("glide-l", "L"),
        "injected": round(litres * 1_000_000),
        "injected_uncertainty": 0.0,
        "meter_start": 0,
        "meter_end": round(litres * 1_000_000),
        "meter_unit": "L",
    }
    return SpanAttempt.objects.create(report=report, span=span, outcome=outcome, **{**values, **fields})


def add_catch(
    report: FieldReport, container: Container, litres: float, spans: list[Span], *, run: Run | None = None
) -> FluidCaught:
    """Fluid caught at spans, or swept out of a run."""
    row = FluidCaught.objects.create(
        report=report,
        position=report.caught.count(),
        kind=FluidCaught.Kind.CAUGHT if run is None else FluidCaught.Kind.SWEPT,
        container=container,
        material=make_fluid("glide-l", "L"),
        run=run,
        amount=round(litres * 1_000_000),
        standard_uncertainty=0.0,
    )
    row.spans.set(spans)
    return row


def add_cleaning(report: FieldReport, run: Run, fired: int, projectile: Material, *, is_clean: bool) -> None:
    RunCleaning.objects.create(
        report=report,
        position=report.cleanings.count(),
        run=run,
        projectile=projectile,
        fired=fired,
        retrieved=fired,
        is_clean=is_clean,
    )


def add_lost_piece(report: FieldReport, material: Material, count: int = 1) -> None:
    PieceReport.objects.create(
        report=report,
        position=report.pieces.count(),
        material=material,
        quantity=count * 1_000_000,
        fate=PieceReport.Fate.LOST,
    )
