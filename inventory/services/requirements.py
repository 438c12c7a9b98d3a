"""What planners tell inventory will be needed; restocking reads it without knowing the plan."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice

from django.db import transaction

from inventory.models import Material, Party, Place, Requirement
from inventory.services.posting.rows import Statement, one_of

REFERENCES_AT_ONCE = 500


@dataclass(frozen=True)
class NeededMaterial:
    """One row of a plan: mean in millionths of the stock unit, variance in the square of the stock unit."""

    material: Material
    owner: Party
    place: Place
    needed_date: date
    mean: int
    variance: float = 0.0
    returned_material: Material | None = None
    returned_mean: int = 0
    returned_variance: float = 0.0
    returned_date: date | None = None
    why: str = ""


def replace_requirements(*, reference: str, rows: Sequence[NeededMaterial]) -> None:
    """Put these rows in the place of whatever the reference said before; none at all drops it."""
    replace_many_requirements(rows_by_reference={reference: rows})


@transaction.atomic
def replace_many_requirements(*, rows_by_reference: Mapping[str, Sequence[NeededMaterial]]) -> None:
    """The same for many references, in as few statements as that takes."""
    references = iter(rows_by_reference)
    while chunk := list(islice(references, REFERENCES_AT_ONCE)):
        Requirement.objects.filter(reference__in=chunk).delete()
        Requirement.objects.bulk_create(_make_rows(chunk, rows_by_reference))


def forget_requirements(references: Sequence[str]) -> Statement:
    """A statement that drops what some references said, for whoever writes more in one message."""
    return Statement(f"DELETE FROM inventory_requirement WHERE reference IN {one_of(references)}", references)


def _make_rows(
    references: Iterable[str], rows_by_reference: Mapping[str, Sequence[NeededMaterial]]
) -> list[Requirement]:
    return [
        Requirement(
            material=row.material,
            owner=row.owner,
            place=row.place,
            needed_date=row.needed_date,
            mean=row.mean,
            variance=row.variance,
            returned_material=row.returned_material,
            returned_mean=row.returned_mean,
            returned_variance=row.returned_variance,
            returned_date=row.returned_date,
            reference=reference,
            why=row.why,
        )
        for reference in references
        for row in rows_by_reference[reference]
    ]
