"""One yard, several crews and days: who is served when, and what is left for whoever comes after.

The crews of a day are served in the order of their codes, so that every sheet comes out the same whichever is
asked for first; and before a crew's day, its own earlier days that are still to be worked, since what they
leave on the truck serves again. Nothing is promised by that. What is promised is kept from all others.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from inventory.models import Container, Holding, Material, Party, Place, Reservation
from jobs.models import CrewDay
from jobs.queries.kit_masses import load_mass_kg, tare_kg
from jobs.queries.kit_stock import KitStock, State, StockItem, StockKey

# A crew that has loaded has its goods on the truck.
WAITING_STATES = (CrewDay.State.PLANNED, CrewDay.State.AGREED)
SETTLED = CrewDay.State.SETTLED
VESSEL_KINDS = (
    Container.Kind.DRUM,
    Container.Kind.TOTE,
    Container.Kind.PAIL,
    Container.Kind.TRUCK_TANK,
)
# A crew's earlier days are looked through no further back than this; beyond, plans are guesses.
DAYS_BEFORE = 7
PLACES_WITH_REELS = (Place.Kind.WAREHOUSE, Place.Kind.BIN, Place.Kind.VEHICLE, Place.Kind.SITE)


def list_days_to_serve(days: Sequence[CrewDay], *, as_of: date) -> list[CrewDay]:
    """The days that are served before any of these from their warehouse and on their date, and these."""
    last = days[0]
    wanted = {day.pk for day in days}
    codes = max(day.crew.code for day in days)
    here = CrewDay.objects.filter(date=last.date, warehouse=last.warehouse_id, crew__code__lte=codes)
    found = [
        day
        for day in here.select_related("crew", "vehicle", "warehouse").order_by("crew__code")
        if day.state in WAITING_STATES or day.pk in wanted
    ]
    known = {day.pk: day for day in days}
    found = [known.get(day.pk, day) for day in found]
    earlier = _find_earlier(found, as_of)
    return [each for day in found for each in (*earlier.get(day.crew_id, []), day)]


def _find_earlier(days: list[CrewDay], as_of: date) -> dict[int, list[CrewDay]]:
    """For each crew its own days before this one, from today on, that are not settled."""
    until = days[0].date
    first = max(as_of, date.fromordinal(until.toordinal() - DAYS_BEFORE))
    if first >= until:
        return {}
    rows = CrewDay.objects.filter(crew__in={day.crew_id for day in days}, date__gte=first, date__lt=until)
    found: dict[int, list[CrewDay]] = {}
    for row in rows.exclude(state=SETTLED).select_related("crew", "vehicle", "warehouse").order_by("date"):
        found.setdefault(row.crew_id, []).append(row)
    return found


@dataclass
class _Lot:
    """Goods of one holding, and what is left of them as day after day is served."""

    place: Place
    material: Material
    owner_id: int
    container: Container | None
    left: int
    promises: list[Reservation] = field(default_factory=list)
    # A reel of another place, which would have to be brought.
    is_elsewhere: bool = False
    # With whose truck it goes, where a crew has taken it.
    crew_id: int | None = None
    is_shared_out: bool = False

    @property
    def goes_whole(self) -> bool:
        return self.container is not None and self.container.kind != Container.Kind.LOT


class Yard:
    """What lies in a warehouse and on the trucks of these days, in a number of queries that does not grow."""

    def __init__(self, days: Sequence[CrewDay]) -> None:
        areas = _Areas()
        self._trucks = {day.vehicle_id: areas.of_truck(day.vehicle_id) for day in days}
        self._warehouses = {day.warehouse_id: areas.of_warehouse(day.warehouse_id) for day in days}
        self._areas = areas
        places = frozenset().union(*self._trucks.values(), *self._warehouses.values())
        self._lots = {**_load_lots(places), **_load_reels_elsewhere(places, days[0].date)}
        self._vessels = _load_empty_vessels(places)
        self._vessel_holders: dict[int, str] = {}
        vessels = {vessel.pk for vessel in self._vessels}
        known = places | {key[0] for key in self._lots}
        for promise in Reservation.objects.filter(place__in=known).order_by("pk"):
            key = (promise.place_id, promise.material_id, promise.owner_id, promise.container_id)
            lot = self._lots.get(key) or self._find_parted(promise)
            if lot is not None:
                lot.promises.append(promise)
            elif promise.container_id in vessels:
                self._vessel_holders[promise.container_id] = promise.holder
        self._filled: set[int] = set()
        self._served: set[str] = set()

    def open_for(self, day: CrewDay) -> KitStock:
        """What this day may be served from, less what is promised or goes with others."""
        stock = KitStock(day.date)
        truck, warehouse = self._trucks[day.vehicle_id], self._warehouses[day.warehouse_id]
        for lot in self._lots.values():
            if lot.place.pk not in truck and lot.place.pk not in warehouse and not lot.is_elsewhere:
                continue
            item = StockItem(lot.place, lot.material, lot.owner_id, lot.container, self._free(lot, day))
            item.offered = item.left
            if lot.is_elsewhere and lot.place.pk not in warehouse:
                if item.left:
                    item.distance = _distance(lot.place, day.warehouse_id)
                    stock.elsewhere.append(item)
                continue
            item.is_rolling = lot.crew_id == day.crew_id and lot.place.pk not in truck
            if item.left < lot.left or lot.is_shared_out:
                stock.given_away.append(item)
            if item.left:
                side = stock.truck if lot.place.pk in truck or item.is_rolling else stock.warehouse
                side.append(item)
        self._add_vessels(stock, day, truck, warehouse)
        stock.payload_left_kg = self._payload_left(day, stock)
        return stock

    def close(self, day: CrewDay, stock: KitStock, *, back: Iterable[tuple[Material, int, int]] = ()) -> None:
        """Set down what a day has taken; `back` comes back to its truck: material, owner, millionths."""
        self._served.add(day.requirement_reference)
        for item in stock.truck:
            self._lots[item.key].left -= item.gone_after
        for item in [*stock.warehouse, *stock.elsewhere]:
            lot = self._lots[item.key]
            lot.left -= item.gone_after
            if item.taken:
                lot.is_shared_out = True
                lot.crew_id = day.crew_id if lot.goes_whole else None
        for material, owner_id, quantity in back:
            self._put_back(day, material, owner_id, quantity)
        self._filled |= stock.filled_vessels

    def payload_kg(self, day: CrewDay) -> float | None:
        """What a day's truck may carry with its trailers."""
        return self._areas.payload_kg(day.vehicle_id)

    def _free(self, lot: _Lot, day: CrewDay) -> int:
        if lot.crew_id is not None and lot.crew_id != day.crew_id:
            return 0
        if not lot.promises:
            return lot.left
        others = [row for row in lot.promises if not self._is_own(row, day)]
        if lot.goes_whole and any(row.holder != day.crew.holder for row in others):
            return 0
        return max(lot.left - sum(row.quantity for row in others), 0)

    def _find_parted(self, promise: Reservation) -> _Lot | None:
        """Where an amount is promised and none lies loose: it comes out of the first lot that has it."""
        if promise.container_id is not None:
            return None
        wanted = (promise.place_id, promise.material_id, promise.owner_id)
        for key, lot in self._lots.items():
            if key[:3] == wanted and not lot.goes_whole:
                return lot
        return None

    def _is_own(self, promise: Reservation, day: CrewDay) -> bool:
        """Whether a promise no longer stands in this day's way: it is for it, or was served before it."""
        return promise.reference == day.requirement_reference or promise.reference in self._served

    def _put_back(self, day: CrewDay, material: Material, owner_id: int, quantity: int) -> None:
        key = (day.vehicle_id, material.pk, owner_id, None)
        lot = self._lots.setdefault(key, _Lot(day.vehicle, material, owner_id, None, 0))
        lot.left += quantity

    def _add_vessels(
        self, stock: KitStock, day: CrewDay, truck: frozenset[int], warehouse: frozenset[int]
    ) -> None:
        for vessel in self._vessels:
            if vessel.place_id not in truck and vessel.place_id not in warehouse:
                continue
            is_promised = self._vessel_holders.get(vessel.pk, day.crew.holder) != day.crew.holder
            if vessel.pk in self._filled or is_promised:
                stock.given_vessels.append(vessel)
            elif vessel.place_id in truck:
                stock.truck_vessels.append(vessel)
            else:
                stock.warehouse_vessels.append(vessel)

    def _payload_left(self, day: CrewDay, stock: KitStock) -> float | None:
        payload = self.payload_kg(day)
        if payload is None:
            return None
        masses = [
            load_mass_kg(item.container, item.material, item.left) or 0.0
            for item in stock.truck
            if item.left > 0
        ]
        return payload - sum(masses) - sum(tare_kg(vessel) or 0.0 for vessel in stock.truck_vessels)


def find_warehouse_places(warehouse: Place) -> frozenset[int]:
    """The keys of a warehouse and of its bins."""
    return _Areas().of_warehouse(warehouse.pk)


class _Areas:
    """Which places belong to a truck or a warehouse; a trailer is a vehicle inside its truck."""

    def __init__(self) -> None:
        kinds = (Place.Kind.BIN, Place.Kind.VEHICLE)
        self._payloads: dict[int, float | None] = {}
        self._inside: dict[int | None, list[tuple[int, str]]] = {}
        rows = Place.objects.filter(kind__in=kinds).values_list("pk", "parent_id", "kind", "payload_kg")
        for key, parent, kind, payload in rows:
            self._inside.setdefault(parent, []).append((key, kind))
            self._payloads[key] = payload

    def of_warehouse(self, key: int) -> frozenset[int]:
        return self._within(key, {Place.Kind.BIN})

    def of_truck(self, key: int) -> frozenset[int]:
        return self._within(key, {Place.Kind.BIN, Place.Kind.VEHICLE})

    def payload_kg(self, key: int) -> float | None:
        """What a truck may carry with its trailers; None where nobody has said it of each."""
        found = [self._payloads[place] for place in self.of_truck(key) if place in self._payloads]
        known = [payload for payload in found if payload is not None]
        return sum(known) if known else None

    def _within(self, key: int, kinds: set[Place.Kind]) -> frozenset[int]:
        found = [key]
        for place in found:
            # Grows while it is walked; a place that lies in itself would walk for ever.
            inside = self._inside.get(place, [])
            found += [part for part, kind in inside if kind in kinds and part not in found]
        return frozenset(found)


def _load_lots(places: frozenset[int]) -> dict[StockKey, _Lot]:
    rows = Holding.objects.filter(place__in=places, quantity__gt=0).select_related(
        "place", "material", "container__material"
    )
    found = {}
    for row in rows.order_by("place__code", "material__code", "container__label"):
        lot = _Lot(row.place, row.material, row.owner_id, row.container, row.quantity)
        found[row.place_id, row.material_id, row.owner_id, row.container_id] = lot
    return found


def _load_reels_elsewhere(places: frozenset[int], day: date) -> dict[StockKey, _Lot]:
    """Reels of any owner in other places of ours, but for trucks that go out with what is on them."""
    busy = CrewDay.objects.filter(date__gte=day).exclude(state=SETTLED).values("vehicle")
    rows = (
        Holding.objects.filter(container__kind=Container.Kind.REEL, quantity__gt=0)
        .filter(place__kind__in=PLACES_WITH_REELS)
        .exclude(place__in=places)
        .exclude(place__in=busy)
        .exclude(place__parent__in=busy)
        .select_related("place__parent", "material", "container__material")
    )
    found = {}
    for row in rows.order_by("place__code", "material__code", "container__label"):
        lot = _Lot(row.place, row.material, row.owner_id, row.container, row.quantity, is_elsewhere=True)
        found[row.place_id, row.material_id, row.owner_id, row.container_id] = lot
    return found


def _distance(place: Place, warehouse_id: int) -> int:
    """0 for what belongs to the same warehouse, 1 for another warehouse, 2 for anything else."""
    above = {place.pk, place.parent_id, place.parent.parent_id if place.parent is not None else None}
    if warehouse_id in above:
        return 0
    return 1 if place.kind in (Place.Kind.WAREHOUSE, Place.Kind.BIN) else 2


def _load_empty_vessels(places: frozenset[int]) -> list[Container]:
    full = Holding.objects.filter(quantity__gt=0, container__isnull=False).values("container")
    vessels = Container.objects.filter(
        place__in=places,
        state=State.CLEAN,
        kind__in=VESSEL_KINDS,
        capacity__isnull=False,
        owner__in=Party.objects.filter(is_company=True),
    )
    return list(vessels.exclude(pk__in=full).select_related("place", "material").order_by("label"))
