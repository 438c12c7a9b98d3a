"""Facts of the fluid: what went in and what came back, of a crew on its day and of a run over all days.

Held against each other are amounts as they were told or read, not as they were booked: the book takes no more
out of a span than is in it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from inventory.units import MILLION, conversion_factor
from jobs.models import ContainerReading, CrewDay, FluidCaught, Run, SpanAttempt
from jobs.services.reports.rows import Told
from jobs.services.rules.facts import Subject, combine, get_company_rules

# Of an amount that was told without saying how it was measured: half a tenth of it (an estimate, no source).
TOLD_SHARE = 0.05


@dataclass
class _Sum:
    """Litres with their standard uncertainty; unknown as soon as one part is."""

    litres: float | None = 0.0
    parts: dict[Any, float] = field(default_factory=dict)

    def add(self, amount: int | None, uncertainty: float | None, unit: str, instrument: Any) -> None:
        """Readings of one instrument share its error, so theirs add up; all others are independent."""
        if amount is None or self.litres is None:
            self.litres = None
            return
        per_unit = float(conversion_factor(unit, "L")) / MILLION
        self.litres += amount * per_unit
        own = TOLD_SHARE * amount if uncertainty is None else uncertainty
        self.parts[instrument] = self.parts.get(instrument, 0.0) + own * per_unit

    @property
    def standard_uncertainty(self) -> float:
        return combine(*self.parts.values()) if self.parts else 0.0


def list_fluid_subjects(told: Told) -> list[Subject]:
    """The day's fluid where something was caught, and that of each run that was swept."""
    if not told.caught:
        return []
    day = told.report.crew_day
    runs: dict[int, Run] = {row.run.pk: row.run for row in told.caught if row.run is not None}
    attempts = _find_attempts(day, runs)
    catches = _find_catches(day, runs)
    read = _read_amounts(catches)
    factor = get_company_rules().recovered_coverage_factor
    subjects = [_day_subject(day, attempts, catches, read, factor)]
    subjects += [_run_subject(run, attempts, catches, read, factor) for run in runs.values()]
    return [subject for subject in subjects if subject is not None]


def _find_attempts(day: CrewDay, runs: Iterable[int]) -> list[SpanAttempt]:
    rows = SpanAttempt.objects.filter(
        Q(report__crew_day=day) | Q(span__run__in=list(runs)), report__is_undone=False
    )
    return list(rows.select_related("fluid", "span", "report"))


def _find_catches(day: CrewDay, runs: Iterable[int]) -> list[FluidCaught]:
    keys = list(runs)
    rows = FluidCaught.objects.filter(
        Q(report__crew_day=day) | Q(run__in=keys) | Q(spans__run__in=keys), report__is_undone=False
    )
    return list(rows.select_related("material", "report").prefetch_related("spans").distinct())


def _read_amounts(catches: list[FluidCaught]) -> dict[tuple[int, int], tuple[int, float]]:
    """Of containers read at start and end in a report: by how much they grew, and how sure that is."""
    silent = [row for row in catches if row.amount is None]
    if not silent:
        return {}
    readings = ContainerReading.objects.filter(
        report__in={row.report_id for row in silent}, container__in={row.container_id for row in silent}
    )
    by_moment = {(row.report_id, row.container_id, row.moment): row for row in readings}
    found = {}
    for row in silent:
        start = by_moment.get((row.report_id, row.container_id, ContainerReading.Moment.START.value))
        end = by_moment.get((row.report_id, row.container_id, ContainerReading.Moment.END.value))
        if start is not None and end is not None:
            uncertainty = combine(start.standard_uncertainty, end.standard_uncertainty)
            found[row.report_id, row.container_id] = (end.amount - start.amount, uncertainty)
    return found


def _day_subject(
    day: CrewDay,
    attempts: list[SpanAttempt],
    catches: list[FluidCaught],
    read: dict[tuple[int, int], tuple[int, float]],
    factor: float,
) -> Subject | None:
    """Bypass is caught while the core moves, so no more of it comes than goes in on the day itself."""
    own = [row for row in attempts if row.report.crew_day_id == day.pk]
    caught = [
        row for row in catches if row.report.crew_day_id == day.pk and row.kind == FluidCaught.Kind.CAUGHT
    ]
    if not own or not caught:
        return None
    facts = _facts(f"Crew {day.crew} on {day.date}", own, caught, read, factor)
    return Subject("fluid", {**facts, "is_swept": False})


def _run_subject(
    run: Run,
    attempts: list[SpanAttempt],
    catches: list[FluidCaught],
    read: dict[tuple[int, int], tuple[int, float]],
    factor: float,
) -> Subject | None:
    """A run's fluid over all days, unless a catch served other runs too or nobody knows its spans."""
    own = [row for row in attempts if row.span.run_id == run.pk]
    came = []
    for row in catches:
        runs = {span.run_id for span in row.spans.all()} | ({row.run_id} if row.run_id else set())
        if run.pk in runs and len(runs) > 1:
            return None
        if runs == {run.pk}:
            came.append(row)
    worked = {row.report.crew_day_id for row in own}
    if any(not row.run_id and not row.spans.all() and row.report.crew_day_id in worked for row in catches):
        return None
    if not own:
        return None
    return Subject("fluid", {**_facts(f"Run {run}", own, came, read, factor), "is_swept": True}, run=run)


def _facts(
    where: str,
    attempts: list[SpanAttempt],
    catches: list[FluidCaught],
    read: dict[tuple[int, int], tuple[int, float]],
    factor: float,
) -> dict[str, Any]:
    injected, recovered = _Sum(), _Sum()
    for row in attempts:
        unit = row.fluid.stock_unit if row.fluid is not None else "L"
        meter = ("meter", row.meter_id) if row.meter_id else ("attempt", row.pk)
        injected.add(row.injected, row.injected_uncertainty, unit, meter)
    for catch in catches:
        amount, uncertainty = catch.amount, catch.standard_uncertainty
        if amount is None:
            amount, uncertainty = read.get((catch.report_id, catch.container_id), (None, None))
        recovered.add(amount, uncertainty, catch.material.stock_unit, ("catch", catch.pk))
    facts: dict[str, Any] = {"where": where, "coverage_factor": factor}
    if injected.litres is not None:
        facts["injected_l"] = injected.litres
    if recovered.litres is not None:
        facts["recovered_l"] = recovered.litres
    facts["uncertainty_l"] = combine(injected.standard_uncertainty, recovered.standard_uncertainty)
    return facts
