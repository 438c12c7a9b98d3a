"""What the core of a job came to: expected, weighed, sold, and whose the money is."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, Sum

from inventory.models import Party
from jobs.calc.core_mass import expected_core_mass_g
from jobs.models import CoreMass, Job, ScrapLot, ScrapShare, Span


@dataclass(frozen=True)
class JobScrap:
    """Masses in grams, money in millionths of the currency.

    `expected_g` is of all spans extracted so far, in a lot or not; `credited` is the company's own and
    lowers the job's cost as a by-product, `owed` is due to the owner of the rest. `unknown_sizes` have no
    mass per length, so that the expected mass is too small.
    """

    expected_g: int
    in_lots_g: int
    weighed_g: int
    credited: int
    owed: int
    unknown_sizes: tuple[str, ...]


@dataclass(frozen=True)
class ScrapCredit:
    """One job's share of one sold lot: its core by expected and by weighed mass, and the money for it.

    Masses in grams, money in millionths of the currency. `credited` is what the company's own core brought
    and lowers the job's cost as a by-product (IAS 2.14); `owed` is due to `owner`, and no income of the
    job. One of the two is nothing.
    """

    lot: str
    sold_at: datetime
    buyer: str
    document: str
    owner: Party
    expected_g: int
    weighed_g: int
    credited: int
    owed: int


def list_scrap_credits(job: Job) -> list[ScrapCredit]:
    """Return what each sold lot brings to a job, oldest sale first; one query, whatever the lots.

    The shares of a lot over its jobs add up to its proceeds. A sale posts nothing to the ledger, since core
    was never stock with a cost there: the credit stands beside the cost in the book and is not part of it.
    A lot that is sold after a job was closed still counts.
    """
    rows = ScrapShare.objects.filter(job=job, lot__state=ScrapLot.State.SOLD).select_related("lot", "owner")
    return [_make_credit(row) for row in rows.order_by("lot__sold_at", "lot__label")]


def get_job_scrap(job: Job) -> JobScrap:
    """Sum up the core of one job; a fixed number of queries."""
    spans = Span.objects.filter(job=job, extracted_at__isnull=False).select_related(
        "cable_size", "as_found_size"
    )
    masses = dict(CoreMass.objects.values_list("cable_size", "grams_per_m"))
    expected, unknown = 0, set()
    for span in spans:
        size = span.as_found_size or span.cable_size
        if size.pk not in masses:
            unknown.add(size.designation)
            continue
        length = span.as_found_length_um or span.length_um
        expected += expected_core_mass_g(grams_per_m=masses[size.pk], length_um=length)
    sums = ScrapShare.objects.filter(job=job).aggregate(
        weighed=Sum("weighed_g"),
        credited=Sum("proceeds", filter=Q(owner__is_company=True)),
        owed=Sum("proceeds", filter=Q(owner__is_company=False)),
    )
    in_lots = job.scrap_parts.aggregate(total=Sum("expected_g"))["total"]
    return JobScrap(
        expected_g=expected,
        in_lots_g=in_lots or 0,
        weighed_g=sums["weighed"] or 0,
        credited=sums["credited"] or 0,
        owed=sums["owed"] or 0,
        unknown_sizes=tuple(sorted(unknown)),
    )


def _make_credit(row: ScrapShare) -> ScrapCredit:
    lot, proceeds = row.lot, row.proceeds
    assert lot.sold_at is not None
    assert proceeds is not None
    return ScrapCredit(
        lot=lot.label,
        sold_at=lot.sold_at,
        buyer=lot.buyer,
        document=lot.sale_document,
        owner=row.owner,
        expected_g=row.expected_g,
        weighed_g=row.weighed_g,
        credited=proceeds if row.owner.is_company else 0,
        owed=0 if row.owner.is_company else proceeds,
    )
