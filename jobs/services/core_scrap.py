"""The core that came out: gathered in lots, weighed, split over its jobs by expected mass, sold."""

from datetime import datetime
from math import isfinite
from uuid import UUID

from django.db import transaction
from django.db.models import Sum

from inventory.calc.allocation import allocate_money
from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Party
from inventory.services.documents import DocumentConflict
from inventory.units import Amount, convert, require_dimension
from jobs.calc.core_mass import expected_core_mass_g
from jobs.errors import WorkRefused
from jobs.models import CableSize, CoreMass, Job, ScrapLot, ScrapPart, ScrapShare, ScrapTerms, Span

State = ScrapLot.State
UM_PER_M = 1_000_000


class ScrapOwnerUnknown(SpanstockError):
    """Nobody has said whose the core of a job is by its contract, so a lot with it cannot be split."""

    code = "scrap_owner_unknown"


class LotClosed(WorkRefused):
    """The lot was weighed or sold before; its shares stand."""

    code = "scrap_lot_closed"


@transaction.atomic
def set_core_mass(*, cable_size: CableSize, grams_per_m: float, source: str) -> CoreMass:
    """Put the company's own weighing in the place of what was reckoned; lots made before keep theirs."""
    faults = []
    if not isfinite(grams_per_m) or grams_per_m <= 0:
        faults.append(Fault("/grams_per_m", f"{grams_per_m:g}", "must be more than nothing"))
    if not source.strip():
        faults.append(Fault("/source", "", "is needed: which length was weighed, when, on what"))
    if faults:
        raise BadInput.of(faults)
    return CoreMass.objects.update_or_create(
        cable_size=cable_size,
        defaults={"grams_per_m": grams_per_m, "source": source.strip(), "is_measured": True},
    )[0]


@transaction.atomic
def set_scrap_terms(*, job: Job, owner: Party, document: str = "") -> ScrapTerms:
    """Say whose the core of a job is by its contract; lots that were weighed keep their owners."""
    return ScrapTerms.objects.update_or_create(job=job, defaults={"owner": owner, "document": document})[0]


@transaction.atomic
def add_to_lot(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    label: str,
    job: Job,
    length: Amount,
    span: Span | None = None,
    cable_size: CableSize | None = None,
) -> ScrapPart:
    """Put a length of core into a lot, which is made with its first part; a repeat adds nothing.

    The size is the span's as it was found, or named where nobody knows the span any more.
    """
    length_um = _to_um(length)
    size = cable_size
    if size is None and span is not None:
        size = span.as_found_size or span.cable_size
    if size is None:
        raise BadInput.of([Fault("/cable_size", "", "is needed where no span is named")])
    if not label.strip():
        raise BadInput.of([Fault("/lot", "", "is needed: the label of the lot")])
    if span is not None and span.job_id != job.pk:
        raise BadInput.of([Fault("/span", span.name, f"is no span of {job}")])
    known = ScrapPart.objects.select_related("lot").filter(uuid=id).first()
    if known is not None:
        told = (known.lot.label, known.job_id, known.span_id, known.length_um, known.added_by_id)
        _require_same(id, told == (label.strip(), job.pk, span.pk if span else None, length_um, by.pk))
        return known
    ScrapLot.objects.get_or_create(label=label.strip())
    lot = _lock(label)
    if lot.state != State.GATHERED:
        raise LotClosed(f"Lot {lot} is {lot.get_state_display()}. Begin another one.")
    mass = CoreMass.objects.filter(cable_size=size).first()
    if mass is None:
        message = "has no mass per length yet; weigh a length of its core and set it"
        raise BadInput.of([Fault("/cable_size", size.designation, message)])
    return ScrapPart.objects.create(
        lot=lot,
        uuid=id,
        job=job,
        span=span,
        cable_size=size,
        length_um=length_um,
        entered_length=str(length.value),
        entered_unit=length.unit,
        grams_per_m=mass.grams_per_m,
        expected_g=expected_core_mass_g(grams_per_m=mass.grams_per_m, length_um=length_um),
        added_at=occurred_at,
        added_by=by,
    )


@transaction.atomic
def weigh_lot(*, label: str, mass: Amount, by: Actor, occurred_at: datetime, ticket: str = "") -> ScrapLot:
    """Close a lot with what it weighs, split over its jobs by expected mass to the gram.

    Raises
    ------
    ScrapOwnerUnknown
        If a job's contract does not say whose the core is.
    """
    require_dimension(mass.unit, "mass")
    grams = round(convert(mass.value, mass.unit, "g"))
    if grams <= 0:
        raise BadInput.of([Fault("/mass", str(mass), "must be more than nothing")])
    lot = _lock(label)
    if lot.state != State.GATHERED:
        told = (lot.weighed_g, lot.weighed_by_id, lot.weigh_ticket)
        return _accept_again(lot, told == (grams, by.pk, ticket))
    expected = _sum_expected(lot)
    if not expected:
        raise BadInput.of([Fault("/lot", label, "has nothing in it")])
    owners = dict(ScrapTerms.objects.filter(job__in=expected).values_list("job", "owner"))
    missing = Job.objects.filter(pk__in=set(expected) - set(owners)).values_list("reference", flat=True)
    if missing:
        raise ScrapOwnerUnknown(
            f"Whose the core of {', '.join(missing)} is, nobody has said. Look at the contract and set it."
        )
    shares = allocate_money(total_minor_units=grams, weights=list(expected.values()))
    ScrapShare.objects.bulk_create(
        ScrapShare(lot=lot, job_id=job, owner_id=owners[job], expected_g=expected[job], weighed_g=share)
        for job, share in zip(expected, shares, strict=True)
    )
    lot.state, lot.weighed_g, lot.weighed_at = State.WEIGHED, grams, occurred_at
    lot.weighed_by, lot.weigh_ticket = by, ticket
    lot.save()
    return lot


@transaction.atomic
def sell_lot(
    *, label: str, buyer: str, proceeds: int, by: Actor, occurred_at: datetime, document: str = ""
) -> ScrapLot:
    """Sell a weighed lot for so many millionths of the currency, split over its jobs by expected mass.

    Of the company's own core a job is credited its share as a by-product (IAS 2.14); of others' it is owed
    to them.
    """
    faults = [] if buyer.strip() else [Fault("/buyer", "", "is needed")]
    if proceeds < 0:
        faults.append(Fault("/proceeds", str(proceeds), "cannot be less than nothing"))
    if faults:
        raise BadInput.of(faults)
    lot = _lock(label)
    if lot.state == State.SOLD:
        told = (lot.buyer, lot.proceeds, lot.sold_by_id, lot.sale_document)
        return _accept_again(lot, told == (buyer.strip(), proceeds, by.pk, document))
    if lot.state != State.WEIGHED:
        raise WorkRefused(f"Lot {lot} was not weighed. Weigh it before it is sold.")
    rows = list(lot.shares.order_by("job"))
    parts = allocate_money(total_minor_units=proceeds, weights=[row.expected_g for row in rows])
    for row, part in zip(rows, parts, strict=True):
        row.proceeds = part
    ScrapShare.objects.bulk_update(rows, ["proceeds"])
    lot.state, lot.buyer, lot.proceeds, lot.sold_at = State.SOLD, buyer.strip(), proceeds, occurred_at
    lot.sold_by, lot.sale_document = by, document
    lot.save()
    return lot


def _lock(label: str) -> ScrapLot:
    lot = ScrapLot.objects.select_for_update().filter(label=label.strip()).first()
    if lot is None:
        raise BadInput.of([Fault("/lot", label, "is no lot of scrap")])
    return lot


def _sum_expected(lot: ScrapLot) -> dict[int, int]:
    """By job, in a fixed order, since remainders that are equal go to the first."""
    rows = lot.parts.order_by("job").values("job").annotate(total=Sum("expected_g"))
    return {row["job"]: row["total"] for row in rows}


def _to_um(length: Amount) -> int:
    require_dimension(length.unit, "length")
    length_um = round(convert(length.value, length.unit, "m") * UM_PER_M)
    if length_um <= 0:
        raise BadInput.of([Fault("/length", str(length), "must be more than nothing")])
    return length_um


def _require_same(id: UUID, is_same: bool) -> None:
    if not is_same:
        raise DocumentConflict(f"The id {id} was used with other content. Use a new one.")


def _accept_again(lot: ScrapLot, is_same: bool) -> ScrapLot:
    if not is_same:
        raise LotClosed(f"Lot {lot} is {lot.get_state_display()} already, with other figures.")
    return lot
