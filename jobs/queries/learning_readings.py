"""What field reports say of ratios and counts: full extractions only, shared drums as one total.

A span counts where one try, its only one, brought all of the core out. What it took is over its bore as
found.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from inventory.models import Material
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from inventory.units import MILLION, convert
from jobs.calc.bore import bore_volume_m3
from jobs.models import (
    CableSize,
    ContainerReading,
    EstimatingPolicy,
    FluidCaught,
    PieceReport,
    RunCleaning,
    Span,
    SpanAttempt,
)
from jobs.queries.projectiles import ToldCleaning, find_told_before

UM_PER_M = 1_000_000
M3_PER_L = 1e-3
# Of a bore that nobody measured and a length from a map: so much of the volume, an estimate without a source.
BORE_UNCERTAINTY = 0.01


@dataclass(frozen=True)
class Extraction:
    """One span that came out in one try: its size, bore and what went in, in cubic metres."""

    span: int
    run: int
    size: int
    bore_m3: float
    injected_m3: float
    uncertainty_m3: float
    at: datetime


@dataclass
class GroupReadings:
    """Totals with the spans that each covers, as `gather_readings` takes them; volumes in cubic metres."""

    totals: list[float] = field(default_factory=list)
    uncertainties: list[float] = field(default_factory=list)
    span_readings: list[int] = field(default_factory=list)
    span_sizes: list[int] = field(default_factory=list)
    span_volumes: list[float] = field(default_factory=list)
    moments: list[datetime] = field(default_factory=list)
    # The keys of the spans of each total, for who wants to know who worked them.
    span_keys: list[tuple[int, ...]] = field(default_factory=list)

    def add(
        self,
        total: float,
        uncertainty: float,
        spans: Iterable[tuple[int, float]],
        at: datetime,
        keys: tuple[int, ...],
    ) -> None:
        """One total over spans that come as size and volume."""
        for size, volume in spans:
            self.span_readings.append(len(self.totals))
            self.span_sizes.append(size)
            self.span_volumes.append(volume)
        self.totals.append(total)
        self.uncertainties.append(uncertainty)
        self.moments.append(at)
        self.span_keys.append(keys)


@dataclass
class CountReadings:
    """By cable size how often each count was seen, and when."""

    rows: list[tuple[int, int, int]] = field(default_factory=list)
    moments: list[datetime] = field(default_factory=list)


@dataclass(frozen=True)
class Lessons:
    """All there is to learn from; rows of `passes` (size, projectiles, 1), of `losses` (size, uses, lost)."""

    injected: GroupReadings
    caught: GroupReadings
    recovered: GroupReadings
    passes: CountReadings
    losses: CountReadings


def collect_lessons(policy: EstimatingPolicy) -> Lessons:
    """Read all reports that stand; a fixed number of queries."""
    extractions = {row.span: row for row in _extractions(policy)}
    catches = _catches()
    return Lessons(
        injected=_injected(extractions.values()),
        caught=_caught(extractions, catches),
        recovered=_recovered(extractions, catches),
        passes=_passes(),
        losses=_losses(),
    )


def _extractions(policy: EstimatingPolicy) -> Iterable[Extraction]:
    rows = SpanAttempt.objects.filter(report__is_undone=False).values(
        "span", "span__run", "span__cable_size", "as_found_size", "span__length_um", "as_found_length_um",
        "span__as_found_size", "span__as_found_length_um", "outcome", "injected", "injected_uncertainty",
        "fluid__stock_unit", "meter", "meter_end", "report__occurred_at",
    )  # fmt: skip
    tries: dict[int, list[dict[str, Any]]] = {}
    for row in rows.order_by("report__occurred_at", "position"):
        tries.setdefault(row["span"], []).append(dict(row))
    bores = {size.pk: size.bore_mm for size in CableSize.objects.all()}
    for span, found in tries.items():
        only = found[0]
        if len(found) == 1 and only["outcome"] == SpanAttempt.Outcome.ALL_OUT and only["injected"]:
            yield _extraction(span, only, bores, policy)


def _extraction(
    span: int, row: dict[str, Any], bores: dict[int, float], policy: EstimatingPolicy
) -> Extraction:
    size = row["as_found_size"] or row["span__as_found_size"] or row["span__cable_size"]
    length = row["as_found_length_um"] or row["span__as_found_length_um"] or row["span__length_um"]
    bore = bore_volume_m3(bore_mm=bores[size], length_m=length / UM_PER_M)
    injected = _to_m3(row["injected"], row["fluid__stock_unit"])
    if row["meter_end"] is None:
        # The meter sits behind hose and pump; what left a drum has filled them as well.
        injected = max(injected - policy.set_up_volume_l * M3_PER_L, 0.0)
    read = _to_m3(row["injected_uncertainty"] or 0, row["fluid__stock_unit"])
    return Extraction(span, row["span__run"], size, bore, injected, read, row["report__occurred_at"])


def _to_m3(millionths: float, unit: str) -> float:
    return millionths / MILLION * float(convert(1, unit, "m3"))


def _injected(extractions: Iterable[Extraction]) -> GroupReadings:
    found = GroupReadings()
    for row in extractions:
        uncertainty = (row.uncertainty_m3**2 + (BORE_UNCERTAINTY * row.injected_m3) ** 2) ** 0.5
        found.add(row.injected_m3, uncertainty, [(row.size, row.bore_m3)], row.at, (row.span,))
    return found


@dataclass
class _Catch:
    """What came back into one container by one report, and the spans or the run it came from."""

    kind: str
    spans: set[int]
    run: int | None
    amount_m3: float | None
    uncertainty_m3: float
    at: datetime


def _catches() -> list[_Catch]:
    rows = list(
        FluidCaught.objects.filter(report__is_undone=False)
        .select_related("material", "report")
        .prefetch_related("spans")
        .order_by("report__occurred_at", "position")
    )
    readings: dict[tuple[int, int, str], ContainerReading] = {
        (row.report_id, row.container_id, row.moment): row
        for row in ContainerReading.objects.filter(report__in={row.report_id for row in rows})
    }
    seen: set[int] = set()
    shares: dict[tuple[int, int], int] = {}
    for row in rows:
        shares[row.report_id, row.container_id] = shares.get((row.report_id, row.container_id), 0) + 1
    found = []
    for row in rows:
        is_alone = shares[row.report_id, row.container_id] == 1
        amount, uncertainty = _amount(row, readings, is_first=row.container_id not in seen, is_alone=is_alone)
        seen.add(row.container_id)
        spans = {span.pk for span in row.spans.all()}
        at = row.report.occurred_at
        unit = row.material.stock_unit
        read = None if amount is None else _to_m3(amount, unit)
        found.append(_Catch(row.kind, spans, row.run_id, read, _to_m3(uncertainty, unit), at))
    return found


def _amount(
    row: FluidCaught,
    readings: dict[tuple[int, int, str], ContainerReading],
    *,
    is_first: bool,
    is_alone: bool,
) -> tuple[int | None, float]:
    """The amount told, else what the container gained; None where nobody can say for this catch alone."""
    if row.amount is not None:
        return row.amount, row.standard_uncertainty or 0.0
    end = readings.get((row.report_id, row.container_id, ContainerReading.Moment.END))
    start = readings.get((row.report_id, row.container_id, ContainerReading.Moment.START))
    if end is None or not is_alone or (start is None and not is_first):
        return None, 0.0
    before = start.amount if start is not None else 0
    scatter = start.standard_uncertainty if start is not None else 0.0
    return max(end.amount - before, 0), (end.standard_uncertainty**2 + scatter**2) ** 0.5


def _caught(extractions: dict[int, Extraction], catches: list[_Catch]) -> GroupReadings:
    """Groups of spans whose catches belong together, since two drums may share spans."""
    rows = [row for row in catches if row.kind == FluidCaught.Kind.CAUGHT]
    found = GroupReadings()
    for spans, members in _join([(row.spans, row) for row in rows]):
        _add_group(found, spans, [row for _spans, row in members], extractions)
    return found


def _recovered(extractions: dict[int, Extraction], catches: list[_Catch]) -> GroupReadings:
    """Runs that were swept, with all that was caught at their spans before."""
    spans_of_run: dict[int, set[int]] = {}
    for span, run in Span.objects.filter(is_withdrawn=False).values_list("pk", "run"):
        spans_of_run.setdefault(run, set()).add(span)
    found = GroupReadings()
    sets = [
        (row.spans or spans_of_run.get(row.run or 0, set()), row)
        for row in catches
        if row.spans or row.run is not None
    ]
    for spans, members in _join(sets):
        swept = _covered(members, FluidCaught.Kind.SWEPT)
        if spans == swept == _covered(members, FluidCaught.Kind.CAUGHT):
            _add_group(found, spans, [row for _spans, row in members], extractions)
    return found


def _covered(members: list[tuple[set[int], _Catch]], kind: str) -> set[int]:
    return set().union(*(spans for spans, row in members if row.kind == kind))


def _add_group(
    found: GroupReadings, spans: set[int], members: list[_Catch], extractions: dict[int, Extraction]
) -> None:
    amounts = [row.amount_m3 for row in members]
    known = [extractions[span] for span in sorted(spans) if span in extractions]
    if not spans or len(known) < len(spans) or any(amount is None for amount in amounts):
        return
    total = sum(amount for amount in amounts if amount is not None)
    injected = sum(row.injected_m3 for row in known)
    # Both parts of the ratio were read; that of what went in counts as far as it came back.
    read = sum(row.uncertainty_m3**2 for row in members)
    read += (total / injected) ** 2 * sum(row.uncertainty_m3**2 for row in known) if injected else 0.0
    volumes = [(row.size, row.injected_m3) for row in known if row.injected_m3 > 0]
    if len(volumes) == len(known):
        keys = tuple(row.span for row in known)
        found.add(total, read**0.5, volumes, max(row.at for row in members), keys)


def _join(
    sets: list[tuple[set[int], _Catch]],
) -> list[tuple[set[int], list[tuple[set[int], _Catch]]]]:
    """Sets that share a span, joined: each with all its spans and its members."""
    leads: dict[int, int] = {}

    def find(span: int) -> int:
        while leads.setdefault(span, span) != span:
            leads[span] = span = leads[leads[span]]
        return span

    for spans, _row in sets:
        first, *others = spans or {0}
        for span in others:
            leads[find(span)] = find(first)
    joined: dict[int, tuple[set[int], list[tuple[set[int], _Catch]]]] = {}
    for spans, row in sets:
        if spans:
            group = joined.setdefault(find(next(iter(spans))), (set(), []))
            group[0].update(spans)
            group[1].append((spans, row))
    return list(joined.values())


def _passes() -> CountReadings:
    """Projectiles of each run that came clean; the fired of several days add up."""
    told: dict[int, list[ToldCleaning]] = {}
    sizes: dict[int, int] = {}
    rows = RunCleaning.objects.filter(report__is_undone=False).order_by("report__occurred_at", "position")
    for run, size, *values, device, by in rows.values_list(
        "run", "run__cable_size", "report__occurred_at", "fired", "retrieved", "stuck_at_um", "is_clean",
        "report__crew_day", "report__device", "report__by",
    ):  # fmt: skip
        told.setdefault(run, []).append(ToldCleaning._make((*values, (device, by))))
        sizes[run] = size
    fired: dict[int, int] = {}
    unknown: set[int] = set()
    done: dict[int, tuple[int, datetime]] = {}
    for run, cleanings in told.items():
        repeated = find_told_before(cleanings)
        fired[run] = sum(row.fired or 0 for number, row in enumerate(cleanings) if number not in repeated)
        if any(row.fired is None for row in cleanings):
            unknown.add(run)
        clean = [row.moment for row in cleanings if row.is_clean]
        if clean:
            done[run] = (sizes[run], clean[-1])
    found = CountReadings()
    for run, (size, at) in done.items():
        if run not in unknown and fired[run] > 0:
            found.rows.append((size, fired[run], 1))
            found.moments.append(at)
    return found


def _losses() -> CountReadings:
    """Each try uses a fitting at either end; those worn or lost are reported as pieces."""
    sizes = {size.designation: size.pk for size in CableSize.objects.all()}
    found = CountReadings()
    tries = SpanAttempt.objects.filter(report__is_undone=False).values_list(
        "as_found_size", "span__as_found_size", "span__cable_size", "report__occurred_at"
    )
    for as_found, of_span, designed, at in tries.order_by("report__occurred_at"):
        found.rows.append((as_found or of_span or designed, 2, 0))
        found.moments.append(at)
    pieces = PieceReport.objects.filter(
        report__is_undone=False,
        fate__in=(PieceReport.Fate.LOST, PieceReport.Fate.WORN),
        material__kind=Material.Kind.FITTING,
        material__fitting_role__in=(Material.FittingRole.PRESSURE_END, Material.FittingRole.EXIT_END),
    )
    for designation, quantity in pieces.values_list("material__cable_size", "quantity"):
        size = sizes.get(_read_size(designation))
        if size is not None:
            found.rows.append((size, 0, round(quantity / MILLION)))
    return found


def _read_size(text: str) -> str:
    try:
        return read_cable_size(text)
    except CellRefused:
        return text
