"""What a container that was scanned at the truck is for."""

from dataclasses import dataclass

from django.db.models import Q

from inventory.models import Container
from inventory.queries.scans import pick_scanned
from jobs.models import CrewDay
from jobs.queries.kit_stock import Pick
from jobs.queries.kit_yard import find_warehouse_places
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.queries.sheet_lines import SheetLine


@dataclass(frozen=True)
class SheetScan:
    """A container, and the lines of a sheet that name it, each with the pick that does."""

    container: Container
    wanted: list[tuple[SheetLine, Pick]]


def scan_for_sheet(day: CrewDay, text: str) -> SheetScan:
    """Look a code up where a day's kit comes from and on its truck, and say for what the sheet wants it."""
    places = find_warehouse_places(day.warehouse) | {day.vehicle_id}
    lies_here = Q(kind=Container.Kind.LOT, holdings__place__in=places, holdings__quantity__gt=0)
    known = Container.objects.filter(Q(place__in=places) | lies_here).distinct()
    container = pick_scanned(known.select_related("material", "owner", "place", "filled_from"), text)
    wanted = [
        (line, pick)
        for line in make_pull_sheet(day).lines
        for pick in [*line.picks, *line.there]
        if pick.container == container.label
    ]
    return SheetScan(container, wanted)
