"""A job's cost sheet: the estimate frozen at approval beside what the book says, and why they differ."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from django.db.models import Q, QuerySet, Sum

from inventory.models import Entry, InvoiceShare, Material, Movement, Party, Place, SupplierInvoice
from inventory.queries.company import get_company_party
from inventory.units import MILLION
from jobs.calc.cost_differences import CostDifference, explain_cost
from jobs.models import EstimateLine, Job, JobEstimate, Span
from jobs.queries.cost_groups import CostGroup, find_crews_of, group_cost
from jobs.queries.fluid_figures import FluidCut, FluidSum, cut_job
from jobs.queries.furnished_goods import Reconciliation, reconcile_furnished
from jobs.queries.job_places import in_parts, list_ends, list_job_places
from jobs.queries.statement import Amounts, StatedMaterial, Statement, make_statement

UM_PER_FOOT = 304_800
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


class Loss(NamedTuple):
    """What was lost by one cause: millionths of the stock unit and of the currency."""

    quantity: int
    value: int


Key = tuple[int, int]
Losses = dict[str, Loss]


@dataclass(frozen=True)
class CostLine:
    """One material of one owner: expected, and what became of it.

    `lost` is by cause, in the order of their names. `reconciled` says where goods of others are. `late` is
    what bills brought after the job was closed and the book keeps as price variance: known now, and not part
    of the cost in the book.
    """

    material: Material
    owner: Party
    amounts: Amounts
    estimate: EstimateLine | None
    lost: Losses
    late: int
    differences: Differences | None
    reconciled: Reconciliation | None = None

    @property
    def estimated_cost(self) -> int | None:
        """What the estimate says, None where it knows no price or not the material."""
        if self.estimate is None or self.estimate.unit_cost is None:
            return None
        return _estimated_cost(self.estimate)


@dataclass(frozen=True)
class LateBill:
    """What one bill brought for one material that the job used, where the book has it as price variance.

    Of a bill that was undone, what the book still has at the job; its value is below zero then. `entries`
    are the bill's own and that of its undoing.
    """

    invoice: SupplierInvoice
    material: Material
    place: Place
    value: int

    @property
    def entries(self) -> list[Entry]:
        entry = self.invoice.entry
        return [] if entry is None else [entry, *([entry.reversed_by] if self.invoice.undone_at else [])]


@dataclass(frozen=True)
class CostPerFoot:
    """What the spans and runs of a cable size cost for each foot of them that is extracted.

    Under no size stands what was charged to the job itself and to withdrawn spans and runs; together the
    rows are the cost in the book.
    """

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
    by_month: list[CostGroup[date]]
    # Under no name stands what no report of a crew brought; together they are the cost in the book.
    by_crew: list[CostGroup[str]]
    by_size: list[CostPerFoot]
    # What the days' balances could not account for, by fluid, with its interval; then by every other way.
    unaccounted: list[FluidSum]
    unaccounted_parts: list[FluidCut]
    late_bills: list[LateBill]

    @property
    def estimated_cost(self) -> int | None:
        """Sum of what has an estimated price; None where there is no estimate."""
        if self.estimate is None:
            return None
        return sum(line.estimated_cost or 0 for line in self.lines)

    @property
    def late(self) -> int:
        return sum(bill.value for bill in self.late_bills)

    def unit_cost_of(self, fluid: Material) -> Fraction | None:
        """What a unit of a fluid cost the job when it was drawn, else what was estimated; None if neither.

        In millionths of the currency for a millionth of the stock unit. Unaccounted fluid is part of what
        was drawn and did not come back, so its money is within the cost and not beside it.
        """
        for line in self.lines:
            if line.material.pk == fluid.pk:
                if line.amounts.drawn > 0:
                    return Fraction(line.amounts.drawn_value, line.amounts.drawn)
                if line.estimate is not None and line.estimate.unit_cost is not None:
                    return Fraction(line.estimate.unit_cost, MILLION)
        return None

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
    lost, late_bills = _sum_losses(places) if has_losses else {}, list_late_bills(places)
    late: dict[int, int] = defaultdict(int)
    for bill in late_bills:
        late[bill.material.pk] += bill.value
    by_month, by_crew = group_cost(places)
    lines = _make_lines(statement.materials, expected, lost, late, is_own=True)
    lines = _add_late_only(lines, late_bills, late)
    furnished = _make_lines(statement.furnished, expected, lost, {}, is_own=False)
    return CostSheet(
        statement=statement,
        estimate=estimate,
        lines=lines,
        furnished=_reconcile(job, furnished),
        by_month=by_month,
        by_crew=by_crew,
        by_size=_sum_by_size(job, statement),
        unaccounted=statement.fluid,
        unaccounted_parts=cut_job(job) if statement.fluid else [],
        late_bills=late_bills,
    )


def _load_estimate(estimate: JobEstimate | None) -> dict[Key, EstimateLine]:
    if estimate is None:
        return {}
    lines = estimate.lines.select_related("material", "owner")
    return {(line.material_id, line.owner_id): line for line in lines}


def _make_lines(
    stated: list[StatedMaterial],
    expected: dict[Key, EstimateLine],
    lost: dict[Key, Losses],
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
    return sorted(lines, key=_place_of_line)


def _place_of_line(line: CostLine) -> tuple[str, str, str]:
    return line.material.kind, line.material.code, line.owner.code


def _add_late_only(lines: list[CostLine], bills: list[LateBill], late: dict[int, int]) -> list[CostLine]:
    """The lines, and one for what only a bill tells of, such as fresh fluid of which recovered was used."""
    company = get_company_party()
    known = {line.material.pk for line in lines}
    missing = {bill.material.pk: bill.material for bill in bills if bill.material.pk not in known}
    added = [_make_line(material, company, Amounts(), None, {}, late) for material in missing.values()]
    return sorted(
        [*lines, *added], key=lambda line: (line.material.kind, line.material.code, line.owner.code)
    )


def _make_line(
    material: Material,
    owner: Party,
    amounts: Amounts,
    estimate: EstimateLine | None,
    lost: Losses,
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


def _reconcile(job: Job, lines: list[CostLine]) -> list[CostLine]:
    """The lines with where the goods are, and lines for what the owners brought that was not charged yet."""
    known = {(line.material.pk, line.owner.pk): line for line in lines}
    found = reconcile_furnished(job, {key: line.amounts.stays for key, line in known.items()})
    materials = Material.objects.in_bulk([material for material, _owner in found.keys() - known.keys()])
    owners = Party.objects.in_bulk([owner for _material, owner in found.keys() - known.keys()])
    for material, owner in found.keys() - known.keys():
        known[material, owner] = _make_line(materials[material], owners[owner], Amounts(), None, {}, {})
    reconciled = [replace(line, reconciled=found.get(key)) for key, line in known.items()]
    return sorted(reconciled, key=_place_of_line)


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


def _sum_losses(places: Sequence[int]) -> dict[Key, Losses]:
    found: dict[Key, Amounts] = defaultdict(Amounts)
    for sign, movements in list_ends(places):
        rows = movements.filter(purpose=Purpose.LOST).values_list("material", "owner", "cause")
        for material, owner, cause, quantity, value in rows.annotate(Sum("quantity"), Sum("value")):
            word = cause or Movement.Cause.UNKNOWN.value
            found[material, owner].add(word, sign * int(quantity), sign * int(value))
    return {
        key: {
            cause: Loss(quantity, amounts.value(cause))
            for cause, quantity in sorted(amounts.quantities.items())
            if quantity or amounts.value(cause)
        }
        for key, amounts in found.items()
    }


def list_late_bills(places: Sequence[int]) -> list[LateBill]:
    """What standing bills could not book here, less what undone ones could not take back, bill by bill."""
    return [
        LateBill(
            invoice=share.line.invoice,
            material=share.line.material,
            place=share.place,
            value=-share.value if share.is_booked_there else share.value,
        )
        for part in in_parts(places)
        for share in list_late_shares(part)
        .select_related("line__invoice__supplier", "line__invoice__entry__reversed_by")
        .select_related("line__material", "place__run", "place__span")
        .order_by("line__invoice", "pk")
        if share.place is not None
    ]


def list_late_shares(places: Sequence[int]) -> QuerySet[InvoiceShare]:
    """Shares of bills that the book does not show at these places as they are known now."""
    return InvoiceShare.objects.filter(
        Q(line__invoice__undone_at__isnull=True, is_booked_there=False)
        | Q(line__invoice__undone_at__isnull=False, is_booked_there=True),
        place__in=places,
    )


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
        cost[size_of.get((part.kind, part.name), "")] += part.cost
    # What belongs to no size comes last.
    sizes = sorted({*length, *cost}, key=lambda size: (not size, size))
    return [CostPerFoot(size, length[size], cost[size]) for size in sizes if length[size] or cost[size]]


def list_line_movements(
    job: Job,
    *,
    material: str,
    owner: str,
    part: tuple[str, str] | None = None,
    month: date | None = None,
    crew: str | None = None,
) -> QuerySet[Movement]:
    """The movements behind one line of the sheet, in the order of the book: the proof of its figures.

    `part` narrows it to one span or run ("span", name) or to the job itself ("job", ""), `month` (its first
    day) to what was booked in one, `crew` to what its reports and balances brought ("": no crew's).
    """
    if part is None:
        places = Place.objects.filter(Q(pk=job.place_id) | Q(run__job=job) | Q(span__job=job))
    elif part[0] == "job":
        places = Place.objects.filter(pk=job.place_id)
    else:
        kind, name = part
        places = Place.objects.filter(**{f"{kind}__job": job, f"{kind}__name": name})
    rows = Movement.objects.filter(material__code=material, owner__code=owner)
    rows = rows.filter(Q(source_place__in=places) | Q(target_place__in=places))
    if month is not None:
        rows = rows.filter(entry__booked_date__year=month.year, entry__booked_date__month=month.month)
    if crew is not None:
        crews = find_crews_of(set(rows.order_by().values_list("entry__document", flat=True)))
        known = Q(
            entry__document__in=[document for document, code in crews.items() if not crew or code == crew]
        )
        rows = rows.filter(known) if crew else rows.exclude(known)
    return rows.select_related("entry__actor", "source_place", "target_place").order_by("entry", "line")
