"""A job's cost sheet: the estimate frozen at approval beside what the book says, and why they differ."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet, Sum

from inventory.models import Entry, InvoiceShare, Material, Movement, Party, Place
from inventory.units import MILLION
from jobs.calc.cost_differences import CostDifference, explain_cost
from jobs.models import CrewDay, EstimateLine, FieldReport, Job, JobEstimate, Span
from jobs.models.balance import DOCUMENT_PREFIX
from jobs.queries.fluid_figures import FluidSum
from jobs.queries.job_places import in_parts, list_job_places
from jobs.queries.statement import Amounts, StatedMaterial, Statement, make_statement

UM_PER_FOOT = 304_800
# SQLite takes some 32,000 values in one statement.
IDS_AT_ONCE = 10_000
Purpose = Movement.Purpose


@dataclass(frozen=True)
class Differences:
    """Why the cost differs from the estimate, in millionths of the currency, positive = unfavourable."""

    price: int
    quantity: int
    recovery: int

    @property
    def total(self) -> int:
        return self.price + self.quantity + self.recovery


@dataclass(frozen=True)
class CostLine:
    """One material of the company's own: expected, and what became of it.

    `lost` is by cause. `late` is what bills brought after the job was closed and the book keeps as price
    variance: known now, and not part of the cost in the book.
    """

    material: Material
    owner: Party
    amounts: Amounts
    estimate: EstimateLine | None
    lost: dict[str, int]
    late: int
    differences: Differences | None

    @property
    def estimated_cost(self) -> int | None:
        """What the estimate says, None where it knows no price or not the material."""
        if self.estimate is None or self.estimate.unit_cost is None:
            return None
        return _estimated_cost(self.estimate)


@dataclass(frozen=True)
class CostPerFoot:
    """What the spans and runs of a cable size cost for each foot of them that is extracted."""

    cable_size: str
    length_um: int
    cost: int

    @property
    def per_foot(self) -> int | None:
        return round(Fraction(self.cost * UM_PER_FOOT, self.length_um)) if self.length_um else None


@dataclass(frozen=True)
class CostSheet:
    """All that the accountant asks of a job. Money in millionths of the currency."""

    statement: Statement
    estimate: JobEstimate | None
    lines: list[CostLine]
    furnished: list[CostLine]
    by_month: list[tuple[date, int]]
    # Under no name stands what no report of a crew brought; together they are the cost in the book.
    by_crew: list[tuple[str, int]]
    by_size: list[CostPerFoot]
    # What the days' balances could not account for, by fluid, with its interval.
    unaccounted: list[FluidSum]

    @property
    def estimated_cost(self) -> int | None:
        """Sum of what has an estimated price; None where there is no estimate."""
        if self.estimate is None:
            return None
        return sum(line.estimated_cost or 0 for line in self.lines)

    @property
    def late(self) -> int:
        return sum(line.late for line in self.lines)

    @property
    def cost_as_known(self) -> int:
        """The cost in the book, what bills brought after the job was closed, less what its core brought."""
        return self.statement.net_cost + self.late


def make_cost_sheet(job: Job) -> CostSheet:
    """Add up a job's cost from every side; a fixed number of queries, however many movements it has."""
    statement = make_statement(job)
    places = list_job_places(job)
    estimate = JobEstimate.objects.filter(job=job).order_by("pk").last()
    expected = _load_estimate(estimate)
    has_losses = any(line.amounts.quantity("lost") for line in [*statement.materials, *statement.furnished])
    lost, late = _sum_losses(places) if has_losses else {}, _sum_late(places)
    by_month, by_crew = _sum_by_month_and_crew(places)
    lines = _make_lines(statement.materials, expected, lost, late, is_own=True)
    furnished = _make_lines(statement.furnished, expected, lost, {}, is_own=False)
    return CostSheet(
        statement=statement,
        estimate=estimate,
        lines=lines,
        furnished=furnished,
        by_month=by_month,
        by_crew=by_crew,
        by_size=_sum_by_size(job, statement),
        unaccounted=statement.fluid,
    )


def _load_estimate(estimate: JobEstimate | None) -> dict[tuple[int, int], EstimateLine]:
    if estimate is None:
        return {}
    lines = estimate.lines.select_related("material", "owner")
    return {(line.material_id, line.owner_id): line for line in lines}


def _make_lines(
    stated: list[StatedMaterial],
    expected: dict[tuple[int, int], EstimateLine],
    lost: dict[tuple[int, int], dict[str, int]],
    late: dict[int, int],
    *,
    is_own: bool,
) -> list[CostLine]:
    """Every material that was charged, and what was expected and has not come."""
    found = {(line.material.pk, line.owner.pk): line for line in stated}
    lines = [
        _make_line(line.material, line.owner, line.amounts, expected.get(key), lost.get(key, {}), late)
        for key, line in found.items()
    ]
    lines += [
        _make_line(line.material, line.owner, Amounts(), line, {}, late)
        for key, line in expected.items()
        if key not in found and line.owner.is_company == is_own
    ]
    return sorted(lines, key=lambda line: (line.material.kind, line.material.code, line.owner.code))


def _make_line(
    material: Material,
    owner: Party,
    amounts: Amounts,
    estimate: EstimateLine | None,
    lost: dict[str, int],
    late: dict[int, int],
) -> CostLine:
    return CostLine(
        material=material,
        owner=owner,
        amounts=amounts,
        estimate=estimate,
        lost=lost,
        late=late.get(material.pk, 0),
        differences=_explain(estimate, amounts) if owner.is_company else None,
    )


def _estimated_cost(line: EstimateLine) -> int:
    assert line.unit_cost is not None
    back = Fraction(line.comes_back * line.recovered_share, MILLION)
    return round((line.quantity - back) * line.unit_cost / MILLION)


def _explain(line: EstimateLine | None, amounts: Amounts) -> Differences | None:
    """Round the three parts so that they add up to the difference of the two costs that are shown."""
    if line is None or line.unit_cost is None:
        return None
    found: CostDifference = explain_cost(
        estimated_quantity=line.quantity,
        estimated_back=line.comes_back,
        actual_quantity=amounts.drawn - amounts.quantity("returned") + amounts.quantity("adjusted"),
        actual_back=amounts.quantity("recovered"),
        unit_cost=Fraction(line.unit_cost, MILLION),
        actual_cost=amounts.cost,
        back_share=Fraction(line.recovered_share, MILLION),
    )
    quantity, recovery = round(found.quantity), round(found.recovery)
    total = amounts.cost - _estimated_cost(line)
    return Differences(price=total - quantity - recovery, quantity=quantity, recovery=recovery)


def _ends(places: Sequence[int]) -> Iterator[tuple[int, QuerySet[Movement]]]:
    """Movements into the job's places and out of them, with the sign that they count by."""
    for end, sign in (("target_place", 1), ("source_place", -1)):
        for part in in_parts(places):
            yield sign, Movement.objects.filter(**{f"{end}__in": part}).order_by()


def _sum_losses(places: Sequence[int]) -> dict[tuple[int, int], dict[str, int]]:
    found: dict[tuple[int, int], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for sign, movements in _ends(places):
        rows = movements.filter(purpose=Purpose.LOST).values_list("material", "owner", "cause")
        for material, owner, cause, quantity in rows.annotate(Sum("quantity")):
            found[material, owner][cause or Movement.Cause.UNKNOWN] += sign * int(quantity)
    return {
        key: {cause: amount for cause, amount in causes.items() if amount} for key, causes in found.items()
    }


def _sum_late(places: Sequence[int]) -> dict[int, int]:
    """By material: what standing bills could not book here, less what undone ones could not take back."""
    sums: dict[int, int] = defaultdict(int)
    for part in in_parts(places):
        shares = list_late_shares(part).order_by().values_list("line__material", "is_booked_there")
        for material, is_left, value in shares.annotate(Sum("value")):
            sums[material] += -int(value) if is_left else int(value)
    return dict(sums)


def list_late_shares(places: Sequence[int]) -> QuerySet[InvoiceShare]:
    """Shares of bills that the book does not show at these places as they are known now."""
    return InvoiceShare.objects.filter(
        Q(line__invoice__undone_at__isnull=True, is_booked_there=False)
        | Q(line__invoice__undone_at__isnull=False, is_booked_there=True),
        place__in=places,
    )


def _sum_by_month_and_crew(places: Sequence[int]) -> tuple[list[tuple[date, int]], list[tuple[str, int]]]:
    """Cost by month of booking, and by the crew whose report, or whose day's balance, brought it.

    What came otherwise stands under no name. The entries are looked up by their keys: in a join, a database
    that overrates how many movements the places have reads the whole book of entries.
    """
    by_entry: dict[int, int] = defaultdict(int)
    for sign, movements in _ends(places):
        for key, value in movements.exclude(value=0).values_list("entry").annotate(Sum("value")):
            by_entry[key] += sign * int(value)
    by_month: dict[date, int] = defaultdict(int)
    by_document: dict[str, int] = defaultdict(int)
    for part in in_parts(sorted(by_entry)):
        entries = Entry.objects.filter(pk__in=part).values_list("pk", "booked_date", "document")
        for key, booked, document in entries:
            by_month[booked.replace(day=1)] += by_entry[key]
            by_document[document] += by_entry[key]
    return sorted(by_month.items()), _by_crew(by_document)


def _by_crew(by_document: dict[str, int]) -> list[tuple[str, int]]:
    reports = FieldReport.objects.values_list("uuid", "crew_day__crew__code")
    days = CrewDay.objects.values_list("pk", "crew__code")
    crews = _find_crews(reports, "report:", UUID, by_document)
    crews |= _find_crews(days, DOCUMENT_PREFIX, _read_key, by_document)
    by_crew: dict[str, int] = defaultdict(int)
    for document, value in by_document.items():
        by_crew[crews.get(document, "")] += value
    return sorted((crew, value) for crew, value in by_crew.items() if value)


def _find_crews(
    rows: QuerySet[Any, tuple[Any, str]], prefix: str, read: Callable[[str], Any], documents: Iterable[str]
) -> dict[str, str]:
    """Crew by document. A document is free text: one that only looks like ours names no crew."""
    ids: dict[Any, str] = {}
    for document in documents:
        if document.startswith(prefix):
            try:
                ids[read(document.removeprefix(prefix))] = document
            except ValueError:
                continue
    found: dict[str, str] = {}
    keys, column = list(ids), "uuid" if read is UUID else "pk"
    for first in range(0, len(keys), IDS_AT_ONCE):
        for key, crew in rows.filter(**{f"{column}__in": keys[first : first + IDS_AT_ONCE]}):
            found[ids[key]] = crew
    return found


def _read_key(text: str) -> int:
    """The key of one of our rows; what no database could hold is none."""
    key = int(text)
    if not 0 < key < 2**63:
        raise ValueError(f"{key} is no key")
    return key


def _sum_by_size(job: Job, statement: Statement) -> list[CostPerFoot]:
    spans = Span.objects.filter(job=job, is_withdrawn=False).values_list(
        "name", "run__name", "cable_size__designation", "length_um", "extracted_at"
    )
    size_of = {}
    length: dict[str, int] = defaultdict(int)
    for name, run, size, length_um, extracted_at in spans:
        size_of["span", name] = size
        size_of["run", run] = size
        length[size] += length_um if extracted_at is not None else 0
    cost: dict[str, int] = defaultdict(int)
    for part in statement.parts:
        found = size_of.get((part.kind, part.name))
        if found is not None:
            cost[found] += part.cost
    sizes = sorted({size for size in {**length, **cost} if length[size] or cost[size]})
    return [CostPerFoot(size, length[size], cost[size]) for size in sizes]


def list_line_movements(
    job: Job, *, material: str, owner: str, part: tuple[str, str] | None = None, month: date | None = None
) -> QuerySet[Movement]:
    """The movements behind one line of the sheet, in the order of the book: the proof of its figures.

    `part` narrows it to one span or run ("span", name), `month` (its first day) to what was booked in one.
    """
    if part is None:
        places = Place.objects.filter(Q(pk=job.place_id) | Q(run__job=job) | Q(span__job=job))
    else:
        kind, name = part
        places = Place.objects.filter(**{f"{kind}__job": job, f"{kind}__name": name})
    rows = Movement.objects.filter(material__code=material, owner__code=owner)
    rows = rows.filter(Q(source_place__in=places) | Q(target_place__in=places))
    if month is not None:
        rows = rows.filter(entry__booked_date__year=month.year, entry__booked_date__month=month.month)
    return rows.select_related("entry__actor", "source_place", "target_place").order_by("entry", "line")
