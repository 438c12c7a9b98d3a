"""What field reports told of as handed over, by the number of the manifest, at what the book moved."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from inventory.models import Container, Material, Movement
from jobs.models import WasteHandover


@dataclass(frozen=True)
class FieldWaste:
    """Goods that a crew handed over; quantity in millionths of the material's stock unit."""

    container: Container
    material: Material
    quantity: int


def find_field_waste(numbers: Collection[str]) -> dict[str, list[FieldWaste]]:
    """Return what stands in reports under these numbers; two queries."""
    told = WasteHandover.objects.filter(manifest_number__in=numbers, report__is_undone=False)
    rows = list(told.select_related("report", "container", "material").order_by("report", "position"))
    moved: dict[tuple[str, int], list[Movement]] = defaultdict(list)
    lines = Movement.objects.filter(
        entry__document__in={row.report.document for row in rows},
        entry__reversed_by__isnull=True,
        entry__reverses__isnull=True,
        purpose=Movement.Purpose.DISPOSED,
    )
    for line in lines.select_related("entry", "material").order_by("entry", "line"):
        moved[line.entry.document, line.source_container_id or 0].append(line)
    found: dict[str, list[FieldWaste]] = defaultdict(list)
    for row in rows:
        # Of two rows of one vessel in one report each takes its own line.
        lines_of_row = moved[row.report.document, row.container_id]
        if lines_of_row:
            line = lines_of_row.pop(0)
            found[row.manifest_number].append(FieldWaste(row.container, line.material, line.quantity))
    return found
