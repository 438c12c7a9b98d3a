"""The papers under which a crew handed waste over: the same records that the desk keeps."""

from inventory.models import Holding
from inventory.services.waste import forget_manifest, note_manifest
from jobs.models import WasteHandover
from jobs.services.reports.rows import Told


def note_manifests(told: Told, corrected: Told | None) -> None:
    """Make or find the manifest of each hand-over; forget those that only a corrected report told of.

    Where the number was not told there is no paper yet, and the vessel stays on the list of waste.
    """
    for number in {row.manifest_number for row in corrected.waste} if corrected is not None else ():
        standing = WasteHandover.objects.filter(manifest_number=number, report__is_undone=False)
        if not standing.exists():
            forget_manifest(number=number)
    for row in told.waste:
        if not row.manifest_number.strip():
            continue
        is_emptied = row.amount is None or not _holds_something(row)
        note_manifest(
            number=row.manifest_number,
            receiver=row.receiver,
            by=told.report.by,
            handed_at=told.report.occurred_at,
            emptied=[row.container] if is_emptied else [],
        )


def _holds_something(row: WasteHandover) -> bool:
    return Holding.objects.filter(container=row.container, quantity__gt=0).exists()
