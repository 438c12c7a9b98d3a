"""What others are to pay for: losses with a liable party, at cost, apart from the job's own usage.

The goods themselves stand in the book as lost at their span, run or job, with their cause and what they cost.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from inventory.calc.allocation import allocate_money
from inventory.models import Movement, Party
from jobs.models import Incident, Job, ReportedLoss


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

    Losses of one report that the book cannot tell apart (one material, cause and place) share by amount.
    """
    rows = list(losses)
    # Losses are booked in the first entry of a report; by its id, since no index leads from a document.
    ids = {row.report.standing_ids(())["book"] for row in rows}
    moved = Movement.objects.filter(
        entry__uuid__in=ids,
        entry__reverses__isnull=True,
        entry__reversed_by__isnull=True,
        purpose=Movement.Purpose.LOST,
    ).select_related("entry", "material")
    values: dict[tuple[object, ...], int] = {}
    for movement in moved:
        material = movement.material.recovered_from_id or movement.material_id
        for place in (movement.target_place_id, None):
            end = (movement.entry.document, material, movement.cause, place)
            values[end] = values.get(end, 0) + movement.value
    groups: dict[tuple[object, ...], list[ReportedLoss]] = {}
    for row in rows:
        groups.setdefault(_key(row), []).append(row)
    costs: dict[int, int | None] = {row.pk: None for row in rows}
    for key, group in groups.items():
        told = [row for row in group if row.amount is not None]
        if told and key in values:
            total = values[key]
            if key[-1] is None:
                # What was lost without a place is what those with one leave.
                total -= sum(
                    values.get(other, 0) for other in groups if other != key and other[:3] == key[:3]
                )
            parts = allocate_money(total_minor_units=total, weights=[row.amount or 0 for row in told])
            costs.update(zip((row.pk for row in told), parts, strict=True))
    return costs


def _key(row: ReportedLoss) -> tuple[object, ...]:
    material = row.material.recovered_from_id or row.material_id
    place = row.span.place_id if row.span else row.run.place_id if row.run else None
    return (row.report.document, material, row.cause, place)
