"""Facts of the fluid: what went in and what came back, of a crew on its day and of a run over all days.

Held against each other are amounts as they were told or read, not as they were booked: the book takes no more
out of a span than is in it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from inventory.units import MILLION, conversion_factor
from jobs.models import CrewDay, FluidCaught, Run
from jobs.services.reports.rows import Told
from jobs.services.rules.facts import Subject, combine, name_day
from jobs.services.rules.reading import Growth, Record, ToldAttempt, ToldCatch, find_growth

# By report and container how much came into it.
Grown = Mapping[tuple[int, int], Growth]

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


def list_fluid_subjects(told: Told, record: Record) -> list[Subject]:
    """The day's fluid where something was caught, and that of each run that was swept."""
    if not told.caught:
        return []
    runs: dict[int, Run] = {row.run.pk: row.run for row in told.caught if row.run is not None}
    growth = find_growth(record.readings)
    subjects = [_day_subject(told.report.crew_day, record, growth)]
    subjects += [_run_subject(run, record, growth) for run in runs.values()]
    return [subject for subject in subjects if subject is not None]


def _day_subject(day: CrewDay, record: Record, growth: Grown) -> Subject | None:
    """Bypass is caught while the core moves, so no more of it comes than goes in on the day itself."""
    own = [row for row in record.attempts if row.crew_day_id == day.pk]
    caught = [
        row
        for row in record.catches
        if row.crew_day_id == day.pk and row.kind == FluidCaught.Kind.CAUGHT.value
    ]
    if not own or not caught:
        return None
    facts = _facts(name_day(day), own, caught, growth)
    return _subject(facts, record, is_swept=False)


def _run_subject(run: Run, record: Record, growth: Grown) -> Subject | None:
    """A run's fluid over all days, unless a catch served other runs too or nobody knows its spans."""
    own = [row for row in record.attempts if row.run_id == run.pk]
    came = []
    for row in record.catches:
        runs = row.span_runs | ({row.run_id} if row.run_id else set())
        if run.pk in runs and len(runs) > 1:
            return None
        if runs == {run.pk}:
            came.append(row)
    worked = {row.crew_day_id for row in own}
    if any(not row.run_id and not row.span_runs and row.crew_day_id in worked for row in record.catches):
        return None
    if not own:
        return None
    return _subject(_facts(f"Run {run}", own, came, growth), record, is_swept=True, run=run)


def _subject(facts: dict[str, Any], record: Record, *, is_swept: bool, run: Run | None = None) -> Subject:
    factor = record.company.recovered_coverage_factor
    return Subject("fluid", {**facts, "coverage_factor": factor, "is_swept": is_swept}, run=run)


def _facts(
    where: str, attempts: Iterable[ToldAttempt], catches: Sequence[ToldCatch], growth: Grown
) -> dict[str, Any]:
    injected, recovered = _Sum(), _Sum()
    for row in attempts:
        meter = ("meter", row.meter_id) if row.meter_id else ("attempt", row.key)
        injected.add(row.injected, row.uncertainty, row.unit or "L", meter)
    for catch in catches:
        amount, uncertainty = catch.amount, catch.uncertainty
        read_with: tuple[str, int] = ("catch", catch.key)
        grown = growth.get((catch.report_id, catch.container_id))
        if amount is None and grown is not None:
            amount, uncertainty = grown.amount, grown.uncertainty
            if grown.instrument_id is not None:
                read_with = ("scale", grown.instrument_id)
        recovered.add(amount, uncertainty, catch.unit, read_with)
    facts: dict[str, Any] = {"where": where}
    if injected.litres is not None:
        facts["injected_l"] = injected.litres
    if recovered.litres is not None:
        facts["recovered_l"] = recovered.litres
    facts["uncertainty_l"] = combine(injected.standard_uncertainty, recovered.standard_uncertainty)
    return facts
