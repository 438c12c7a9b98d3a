"""What the core of a job came to: expected, weighed, sold, and whose the money is."""

from dataclasses import dataclass

from django.db.models import Q, Sum

from jobs.calc.core_mass import expected_core_mass_g
from jobs.models import CoreMass, Job, ScrapShare, Span


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
