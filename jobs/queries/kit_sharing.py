"""One warehouse, several crews on one day: what the first takes is not offered to the next.

Crews are served in the order of their codes, so that every sheet of the day comes out the same whichever is
asked for first. Nothing is promised by that; a reservation comes before it.
"""

from inventory.models import Container
from jobs.models import CrewDay
from jobs.queries.day_needs import Need
from jobs.queries.kit_stock import KitStock, Promised

# A crew that has loaded has its goods on the truck.
WAITING_STATES = (CrewDay.State.PLANNED, CrewDay.State.AGREED)
SHOWN_LABELS = 5


def list_days_before(day: CrewDay) -> list[CrewDay]:
    """The days of crews that are served before this one from the same warehouse, in order."""
    days = CrewDay.objects.filter(
        date=day.date, warehouse=day.warehouse_id, state__in=WAITING_STATES, crew__code__lt=day.crew.code
    )
    return list(days.select_related("crew", "vehicle", "warehouse").order_by("crew__code"))


class SharedOut:
    """What the crews served so far take from their warehouse."""

    def __init__(self) -> None:
        self._loose: Promised = {}
        self._containers: set[int] = set()

    def note(self, stock: KitStock, vessels_before: list[Container]) -> None:
        """Set down what a kit has taken from the warehouse."""
        for item in stock.warehouse:
            taken = item.offered - item.left
            if taken and item.container is not None and item.goes_whole:
                self._containers.add(item.container.pk)
            elif taken > item.own:
                # What was promised to that crew has been kept from the others already.
                self._loose[item.key] = self._loose.get(item.key, 0) + taken - item.own
        left = {vessel.pk for vessel in stock.warehouse_vessels}
        self._containers |= {vessel.pk for vessel in vessels_before} - left

    def withhold(self, stock: KitStock) -> None:
        """Take out of a kit's stock what goes with the crews before."""
        for item in stock.warehouse:
            is_gone = item.container is not None and item.container.pk in self._containers
            taken = item.left if is_gone else min(self._loose.get(item.key, 0), item.left)
            if taken:
                item.left -= taken
                item.offered = item.left
                stock.given_away.append(item)
        stock.given_vessels = [item for item in stock.warehouse_vessels if item.pk in self._containers]
        stock.warehouse_vessels = [
            item for item in stock.warehouse_vessels if item.pk not in self._containers
        ]


def explain_given_away(need: Need, stock: KitStock, recovered: set[int]) -> str:
    """Name what would serve a need that is short, but goes with another crew; empty where nothing does."""
    materials = recovered | ({need.material.pk} if need.material is not None else set())
    found = [
        item.container.label if item.container is not None else f"{item.material.name} in {item.place.name}"
        for item in stock.given_away
        if item.material.pk in materials and need.owner is not None and item.owner_id == need.owner.pk
    ]
    return say_given_away(found)


def say_given_away(labels: list[str]) -> str:
    if not labels:
        return ""
    more = f" and {len(labels) - SHOWN_LABELS} more" if len(labels) > SHOWN_LABELS else ""
    shown = ", ".join(labels[:SHOWN_LABELS])
    return f" Goes with another crew that is served first that day: {shown}{more}."
