"""What is on the truck and in the warehouse for a kit, and taking from it without giving it twice."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any

from inventory.models import Container, Holding, Material, Party, Place, Reservation
from inventory.units import MILLION, convert, format_millionths
from jobs.models import CrewDay
from jobs.queries.day_needs import Need

# By place, material, owner and container.
Promised = dict[tuple[int, int, int, int | None], int]
State = Container.State
Contents = Container.ContentsState
VESSEL_KINDS = (
    Container.Kind.DRUM,
    Container.Kind.TOTE,
    Container.Kind.PAIL,
    Container.Kind.TRUCK_TANK,
)


@dataclass(frozen=True)
class Pick:
    """So much to take, from where. Quantity in millionths of `unit`; `note` says what to know about it."""

    place: str
    container: str
    quantity: int
    unit: str
    note: str = ""


@dataclass
class StockItem:
    """Goods in one place, loose or in one container. `left` is what nobody has been given yet.

    `offered` is what the kit might take of it at first, `own` how much of that is promised to this very kit.
    """

    place: Place
    material: Material
    owner_id: int
    container: Container | None
    left: int
    offered: int = 0
    own: int = 0

    @property
    def key(self) -> tuple[int, int, int, int | None]:
        container = self.container.pk if self.container is not None else None
        return self.place.pk, self.material.pk, self.owner_id, container

    @property
    def goes_whole(self) -> bool:
        """A drum or reel goes with one crew, whatever it takes of it; goods of a lot can be parted."""
        return self.container is not None and self.container.kind != Container.Kind.LOT

    @property
    def usable(self) -> int:
        """What can be got out: a heel stays in a vessel."""
        heel = self.container.heel_for(self.material) if self.container is not None else 0
        return max(self.left - heel, 0)

    @property
    def is_opened(self) -> bool:
        return self.container is not None and self.container.state == State.OPEN

    def take(self, quantity: int, note: str = "") -> Pick:
        self.left -= quantity
        label = self.container.label if self.container else ""
        return Pick(self.place.name, label, quantity, self.material.stock_unit, note)


@dataclass
class KitStock:
    """What a crew-day may be served from, on its truck and in its warehouse with the bins inside."""

    day: date
    truck: list[StockItem] = field(default_factory=list)
    warehouse: list[StockItem] = field(default_factory=list)
    truck_vessels: list[Container] = field(default_factory=list)
    warehouse_vessels: list[Container] = field(default_factory=list)
    # What lies in the warehouse too, but goes with a crew that is served first that day.
    given_away: list[StockItem] = field(default_factory=list)
    given_vessels: list[Container] = field(default_factory=list)

    def pieces(self, items: list[StockItem], need: Need) -> list[StockItem]:
        """Those of `items` that serve a need as they are: its material, of its owner, not held back."""
        return [
            item
            for item in items
            if need.material is not None
            and item.material.pk == need.material.pk
            and need.owner is not None
            and item.owner_id == need.owner.pk
            and (item.container is None or item.container.state not in (State.HELD, State.GONE))
        ]

    def fluids(self, items: list[StockItem], need: Need, recovered: Iterable[Material]) -> list[StockItem]:
        """Fluid fit to inject: fresh, or recovered and passed as fit for use; in the order of taking it.

        Recovered before new, opened before sealed, first expired first.
        """
        fit = {material.pk for material in recovered}
        found = [
            item for item in self.pieces(items, need) if self._is_good(item, (Contents.FRESH, Contents.FIT))
        ]
        found += [
            item
            for item in items
            if item.material.pk in fit
            and need.owner is not None
            and item.owner_id == need.owner.pk
            and self._is_good(item, (Contents.FIT,))
        ]
        return sorted(found, key=lambda item: _taking_order(item, fit))

    def _is_good(self, item: StockItem, states: tuple[str, ...]) -> bool:
        container = item.container
        if container is None:
            return Contents.FRESH in states
        is_expired = container.best_before_date is not None and container.best_before_date < self.day
        is_ready = container.state in (State.SEALED, State.OPEN) and container.contents_state in states
        return is_ready and not is_expired


def load_kit_stocks(days: Sequence[CrewDay]) -> list[KitStock]:
    """For each of these days of one warehouse the goods and empty vessels of its truck and that warehouse.

    They are less what is promised to others, and in a number of queries that does not grow with the days.
    """
    warehouse = _with_bins(days[0].warehouse)
    places = [*{day.vehicle_id for day in days}, *warehouse]
    holdings = list(
        Holding.objects.filter(place__in=places, quantity__gt=0)
        .select_related("place", "material", "container")
        .order_by("place__code", "material__code", "container__label")
    )
    promises = list(Reservation.objects.filter(place__in=places))
    vessels = _empty_vessels(places)
    inside = frozenset(warehouse)
    return [_make_stock(day, inside, holdings, promises, vessels) for day in days]


def _make_stock(
    day: CrewDay,
    warehouse: frozenset[int],
    holdings: list[Holding],
    promises: list[Reservation],
    vessels: list[Container],
) -> KitStock:
    promised, own = _sum_promises(day, promises)
    stock = KitStock(day.date)
    for holding in holdings:
        item = StockItem(holding.place, holding.material, holding.owner_id, holding.container, 0)
        item.offered = item.left = max(holding.quantity - promised.get(item.key, 0), 0)
        item.own = own.get(item.key, 0)
        if holding.place_id == day.vehicle_id:
            stock.truck.append(item)
        elif holding.place_id in warehouse:
            stock.warehouse.append(item)
    stock.truck_vessels = [vessel for vessel in vessels if vessel.place_id == day.vehicle_id]
    stock.warehouse_vessels = [vessel for vessel in vessels if vessel.place_id in warehouse]
    return stock


def take_pieces(items: list[StockItem], quantity: int) -> tuple[list[Pick], int]:
    """Take pieces or measured goods until there is enough; returns the picks and what was got."""
    picks: list[Pick] = []
    got = 0
    for item in items:
        part = min(item.usable, quantity - got)
        if part > 0:
            picks.append(item.take(part))
            got += part
    return picks, got


def take_vessels(items: list[StockItem], unit: str, quantity: int) -> tuple[list[Pick], int]:
    """Take whole drums until what can be pumped from them is enough; loose fluid by the amount."""
    picks: list[Pick] = []
    got = 0
    for item in items:
        if got >= quantity:
            break
        usable = to_unit(item.usable, item.material.stock_unit, unit)
        if usable <= 0:
            continue
        if item.container is None:
            usable = min(usable, quantity - got)
            picks.append(item.take(to_unit(usable, unit, item.material.stock_unit)))
        else:
            picks.append(item.take(item.left, _note(item)))
        got += usable
    return picks, got


def choose_empties(
    vessels: list[Container], unit: str, quantity: int, fill_limit: float
) -> tuple[list[Container], int]:
    """Few empty vessels that together catch enough: the smallest that does alone, else the largest first.

    They are removed from `vessels`, so that fluid of another state gets others.
    """
    chosen: list[Container] = []
    held = 0

    def room(vessel: Container) -> int:
        return vessel_room(vessel, unit, fill_limit)

    while held < quantity and vessels:
        enough = [vessel for vessel in vessels if room(vessel) >= quantity - held]
        best = min(enough, key=room) if enough else max(vessels, key=room)
        vessels.remove(best)
        chosen.append(best)
        held += room(best)
    return chosen, held


def vessel_room(vessel: Container, unit: str, fill_limit: float) -> int:
    """How much may be filled into an empty vessel, in millionths of `unit`."""
    return int((vessel.capacity_in(unit) or 0) * Fraction(str(fill_limit)))


def to_unit(millionths: int, from_unit: str, unit: str) -> int:
    """Millionths of another unit, rounded down, since what is not there cannot be used."""
    if from_unit == unit:
        return millionths
    return int(convert(Fraction(millionths, MILLION), from_unit, unit) * MILLION // 1)


def empty_pick(vessel: Container, unit: str, fill_limit: float) -> Pick:
    place = vessel.place.name if vessel.place is not None else ""
    return Pick(place, vessel.label, vessel_room(vessel, unit, fill_limit), unit, "clean and empty")


def _taking_order(item: StockItem, recovered: set[int]) -> tuple[Any, ...]:
    container = item.container
    received = container.received_at.timestamp() if container is not None and container.received_at else 0.0
    best_before = container.best_before_date if container is not None else None
    return (
        item.material.pk not in recovered,
        not item.is_opened,
        best_before or date.max,
        received,
        container.label if container is not None else "",
    )


def _note(item: StockItem) -> str:
    container = item.container
    assert container is not None
    parts = ["recovered, fit for use"] if item.material.recovered_from_id is not None else []
    parts.append("opened" if item.is_opened else "sealed")
    if container.best_before_date is not None:
        parts.append(f"best before {container.best_before_date}")
    if container.heel:
        parts.append(f"{format_millionths(item.usable, item.material.stock_unit)} can be pumped")
    return ", ".join(parts)


def _with_bins(place: Place) -> list[int]:
    """A place and the bins in it, however deep."""
    found = [place.pk]
    level = [place.pk]
    while level:
        inside = Place.objects.filter(parent__in=level, kind=Place.Kind.BIN).order_by("pk")
        level = list(inside.values_list("pk", flat=True))
        found += level
    return found


def _sum_promises(day: CrewDay, promises: list[Reservation]) -> tuple[Promised, Promised]:
    """What is promised to others, and what to this day."""
    others: Promised = {}
    own: Promised = {}
    for row in promises:
        key = (row.place_id, row.material_id, row.owner_id, row.container_id)
        side = own if row.reference == day.requirement_reference else others
        side[key] = side.get(key, 0) + row.quantity
    return others, own


def _empty_vessels(places: list[int]) -> list[Container]:
    full = Holding.objects.filter(quantity__gt=0, container__isnull=False).values("container")
    vessels = Container.objects.filter(
        place__in=places,
        state=State.CLEAN,
        kind__in=VESSEL_KINDS,
        capacity__isnull=False,
        owner__in=Party.objects.filter(is_company=True),
    )
    return list(vessels.exclude(pk__in=full).select_related("place", "material").order_by("label"))
