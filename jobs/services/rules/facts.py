"""From a report's rows to the named facts that the rules ask for. What nobody told is left out."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from math import hypot
from typing import Any

from inventory.models import Container, Holding, Material, Movement, TaggedFitting
from inventory.services.tagged_fittings import rig_fittings
from inventory.units import MILLION, conversion_factor
from jobs.models import CrewDay, ReportedLoss, Run, RunBlowing, Span
from jobs.queries.pressure_limits import Purpose
from jobs.queries.projectiles import count_projectiles
from jobs.queries.reel_directions import find_direction, find_first_marks
from jobs.services.reports.rows import Told
from jobs.services.rules.reading import Record


@dataclass(frozen=True)
class Subject:
    """What rules look at: the facts, and the records that a finding about it names."""

    about: str
    facts: dict[str, Any]
    span: Span | None = None
    run: Run | None = None
    container: Container | None = None
    fitting: TaggedFitting | None = None
    loss: ReportedLoss | None = None

    @property
    def name(self) -> str:
        """Tells subjects of one report apart; the same when the report is sent again."""
        parts = (self.span, self.run, self.container, self.loss)
        return "/".join(str(part.pk) if part is not None else "" for part in parts) + str(
            self.facts.get("tag", self.facts.get("told", ""))
        )


def list_subjects(told: Told, record: Record) -> list[Subject]:
    """Everything in a report that rules look at, but its fluid, which has a module of its own."""
    limits = record.limits_kpa
    return [
        *_attempts(told, limits.get(Purpose.EXTRACTION)),
        *_cleanings(told, limits.get(Purpose.AIR_CLEANING)),
        *_projectiles(told, record),
        *_blowings(told, limits.get(Purpose.BLOWING), record),
        *_fittings(told),
        *_losses(told),
        *_gaps(told),
    ]


def _told(**facts: Any) -> dict[str, Any]:
    return {name: value for name, value in facts.items() if value is not None}


def _attempts(told: Told, limit_kpa: float | None) -> Iterator[Subject]:
    """One subject a span: a later try on it in the same report does not hide what the first one told."""
    for number, row in enumerate(told.attempts):
        facts = _told(
            span=row.span.name,
            is_meter_told_before=number in told.meters_told_before or None,
            is_meter_set_back=number in told.meters_set_back or None,
            is_out_before=number in told.out_before or None,
            meter_start=_units(row.meter_start),
            meter_end=_units(row.meter_end),
            pressure_kpa=row.pressure_kpa,
            limit_kpa=limit_kpa,
            was_leak_looked_for=row.was_leak_looked_for,
        )
        yield Subject("attempt", facts, span=row.span)


def _cleanings(told: Told, limit_kpa: float | None) -> Iterator[Subject]:
    for number, row in enumerate(told.cleanings):
        facts = _told(
            run=row.run.name,
            fired=row.fired,
            is_told_before=number in told.fired_before or None,
            is_told_alike=number in told.fired_alike or None,
            pressure_kpa=row.pressure_kpa,
            limit_kpa=limit_kpa,
        )
        yield Subject("cleaning", facts, run=row.run)


def _projectiles(told: Told, record: Record) -> Iterator[Subject]:
    """What is inside over all days; what safety has accounted for counts as out."""
    runs: dict[int, Run] = {row.run.pk: row.run for row in told.cleanings}
    for key, run in runs.items():
        count = count_projectiles(record.cleanings.get(key, []), record.accounted.get(key, []))
        yield Subject("projectiles", {"run": run.name, **count.facts()}, run=run)


def _blowings(told: Told, limit_kpa: float | None, record: Record) -> Iterator[Subject]:
    clean = record.clean_runs | {row.run_id for row in told.cleanings if row.is_clean}
    for number, row in enumerate(told.blowings):
        facts = _told(
            run=row.run.name,
            are_marks_told_before=number in told.marks_told_before or None,
            is_clean=row.run_id in clean,
            pressure_kpa=row.pressure_kpa,
            limit_kpa=limit_kpa,
            tolerance=record.company.mark_tolerance_fraction,
            **(_marks(told, row, row.reel) if row.reel is not None else {}),
        )
        yield Subject("blowing", facts, run=row.run, container=row.reel)


def _marks(told: Told, row: RunBlowing, reel: Container) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "reel": reel.label,
        "mark_start": _units(row.mark_start),
        "mark_end": _units(row.mark_end),
    }
    if row.mark_start is None or row.mark_end is None:
        return facts
    per_metre = float(conversion_factor(row.mark_unit, "m"))
    facts["used_m"] = abs(row.mark_end - row.mark_start) / MILLION * per_metre
    facts["reel_m"] = _find_reel_before(told, reel)
    first = find_first_marks([reel.pk], told_by=row.report).get(reel.pk)
    facts["reel_direction"] = find_direction(reel, first)
    return facts


def _find_reel_before(told: Told, reel: Container) -> float | None:
    """What the book had on a reel before this report: what it has now, and what the report took off it.

    What the book lacked came from its differences and was never there.
    """
    if reel.material is None:
        return None
    now = Holding.objects.filter(container=reel, quantity__gt=0).values_list("quantity", flat=True)
    # By its entry's id: nothing leads from a document to its entries but reading the whole book.
    entry_id = told.report.standing_ids(())["book"]
    moved = Movement.objects.filter(entry__uuid=entry_id, entry__reversed_by__isnull=True)
    taken = moved.filter(source_container=reel).exclude(purpose=Movement.Purpose.MOVED)
    short = moved.filter(target_container=reel, purpose=Movement.Purpose.BOOK_SHORT)
    before = (
        sum(now)
        + sum(taken.values_list("quantity", flat=True))
        - sum(short.values_list("quantity", flat=True))
    )
    return before / MILLION * float(conversion_factor(reel.material.stock_unit, "m"))


def _fittings(told: Told) -> Iterator[Subject]:
    """Tagged fittings that were rigged. Rigging is noted here, since it says in which condition each was."""
    tags: dict[str, Span | None] = {}
    for attempt in told.attempts:
        if attempt.pressure_fitting_tag:
            tags.setdefault(attempt.pressure_fitting_tag, attempt.span)
    if not tags:
        return
    report = told.report
    for rigged in rig_fittings(
        tags=list(tags), by=report.by, occurred_at=report.occurred_at, reference=report.document
    ):
        facts: dict[str, Any] = {"tag": rigged.tag, "is_known": rigged.fitting is not None}
        if rigged.fitting is not None:
            facts |= _told(
                is_in_service=rigged.was_in_service,
                is_inspected=rigged.was_inspected,
                uses=rigged.uses,
                age_days=rigged.age_days,
                most_uses=rigged.policy.most_uses,
                longest_age_days=rigged.policy.longest_age_days,
            )
        yield Subject("fitting", facts, fitting=rigged.fitting)


def _losses(told: Told) -> Iterator[Subject]:
    for row in told.losses:
        where = (
            f"Span {row.span}"
            if row.span
            else f"Run {row.run}"
            if row.run
            else name_day(told.report.crew_day)
        )
        facts = _told(
            material=row.material.name,
            is_fluid=row.material.kind == Material.Kind.FLUID,
            cause=row.cause,
            is_contained=row.is_contained,
            where=where,
        )
        yield Subject("loss", facts, span=row.span, run=row.run, loss=row)


def _gaps(told: Told) -> Iterator[Subject]:
    for gap in told.gaps:
        facts = {"where": gap.where, "told": gap.told, "reason": gap.reason, "is_booked": gap.is_booked}
        yield Subject("gap", facts, span=gap.span, run=gap.run, container=gap.container)


def name_day(day: CrewDay) -> str:
    """A crew's day as a sentence names it."""
    return f"Crew {day.crew} on {day.date}"


def _units(millionths: int | None) -> float | None:
    return None if millionths is None else float(Decimal(millionths) / MILLION)


def combine(*uncertainties: float) -> float:
    """The standard uncertainty of a sum of independent amounts."""
    return hypot(*uncertainties)
