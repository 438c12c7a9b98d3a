"""What others are to pay for: losses with a liable party, at cost, apart from the job's own usage.

The goods themselves stand in the book as lost at their span, run or job, with their cause and what they cost.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from inventory.calc.allocation import allocate_money
from inventory.models import Material, Movement, Party
from jobs.models import FluidCaught, Incident, Job, ReportedLoss

# A report's document, a fresh fluid or another material, and a cause.
Key = tuple[str, int, str]


@dataclass(frozen=True)
class ClaimLine:
    """One loss that somebody else has to pay for; `cost` is in millionths, None while nobody knows it."""

    loss: ReportedLoss
    cost: int | None

    @property
    def job(self) -> Job | None:
        return self.loss.span.job if self.loss.span else self.loss.run.job if self.loss.run else None

    @property
    def incident(self) -> Incident | None:
        return self.loss.incident


@dataclass(frozen=True)
class ClaimSheet:
    """All that one party is held liable for, oldest first."""

    party: Party
    lines: list[ClaimLine]

    @property
    def cost(self) -> int:
        """The sum of what is known."""
        return sum(line.cost or 0 for line in self.lines)

    @property
    def unpriced(self) -> int:
        """How many lines have no cost yet, because nobody knows how much was lost."""
        return sum(line.cost is None for line in self.lines)


def list_claims(*, job: str = "", party: str = "") -> list[ClaimSheet]:
    """The claim sheets by party, of one job or of one party, or all; in a fixed number of queries."""
    losses = ReportedLoss.objects.filter(liable_party__isnull=False, report__is_undone=False)
    if party:
        losses = losses.filter(liable_party__code=party)
    if job:
        losses = losses.filter(Q(span__job__reference=job) | Q(run__job__reference=job))
    rows = list(
        losses.select_related(
            "report__crew_day__crew",
            "material",
            "container",
            "span__job",
            "run__job",
            "liable_party",
            "incident",
        ).order_by("report__occurred_at", "report", "position")
    )
    costs = find_costs(rows)
    sheets: dict[int, ClaimSheet] = {}
    for row in rows:
        assert row.liable_party is not None
        sheet = sheets.setdefault(row.liable_party.pk, ClaimSheet(row.liable_party, []))
        sheet.lines.append(ClaimLine(row, costs[row.pk]))
    return sorted(sheets.values(), key=lambda sheet: sheet.party.code)


def find_costs(losses: Iterable[ReportedLoss]) -> dict[int, int | None]:
    """What each loss cost by the book: the value of what its report booked as lost for it, by its key.

    Losses of one report that the book cannot tell apart share by amount, those that nobody has to pay for
    too: of one material, cause and place, or of one material and cause where one of them names no place.
    """
    asked = list(losses)
    costs: dict[int, int | None] = {row.pk: None for row in asked}
    told = ReportedLoss.objects.filter(report__in={row.report_id for row in asked}, amount__isnull=False)
    rows = list(told.select_related("report", "material", "span", "run").order_by("report", "position"))
    booked = _find_booked(rows)
    groups: dict[Key, list[ReportedLoss]] = {}
    for row in rows:
        groups.setdefault(_key(row), []).append(row)
    for key, group in groups.items():
        values = booked.get(key, {})
        if all(_place(row) is not None for row in group):
            for place in {_place(row) for row in group} & set(values):
                here = [row for row in group if _place(row) == place]
                _share(costs, here, values[place])
        elif values:
            _share(costs, group, sum(values.values()))
    return {row.pk: costs[row.pk] for row in asked}


def _share(costs: dict[int, int | None], rows: list[ReportedLoss], value: int) -> None:
    parts = allocate_money(total_minor_units=value, weights=[row.amount or 0 for row in rows])
    costs.update(zip((row.pk for row in rows), parts, strict=True))


def _find_booked(rows: Iterable[ReportedLoss]) -> dict[Key, dict[int | None, int]]:
    """The value of what reports booked as lost, by the place it was charged to."""
    reports = {row.report_id: row.report for row in rows}
    codes: dict[int, list[str]] = {key: [] for key in reports}
    for key, code in FluidCaught.objects.filter(report__in=reports).values_list("report", "material__code"):
        codes[key].append(code)
    # By the ids of their entries, since no index leads from a document.
    ids = {id for key, report in reports.items() for id in report.standing_ids(codes[key]).values()}
    moved = Movement.objects.filter(
        entry__uuid__in=ids,
        entry__reverses__isnull=True,
        entry__reversed_by__isnull=True,
        purpose=Movement.Purpose.LOST,
    ).select_related("entry", "material")
    found: dict[Key, dict[int | None, int]] = {}
    for movement in moved:
        material = movement.material.recovered_from_id or movement.material_id
        values = found.setdefault((movement.entry.document, material, movement.cause), {})
        place = movement.target_place_id
        values[place] = values.get(place, 0) + movement.value
    return found


def _key(row: ReportedLoss) -> Key:
    return (row.report.document, row.material.recovered_from_id or row.material_id, row.cause)


def _place(row: ReportedLoss) -> int | None:
    """Where it was charged to, None where the day decided: a run's fluid is lost at one of its spans."""
    if row.span is not None:
        return row.span.place_id
    is_drawn = row.material.kind == Material.Kind.FLUID and row.container_id is None
    return None if row.run is None or is_drawn else row.run.place_id
