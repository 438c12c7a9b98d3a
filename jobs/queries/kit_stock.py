"""What is on the truck and in the warehouse for a kit, and taking from it without giving it twice."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import lru_cache
from math import floor

from inventory.models import Container, Material, Place
from inventory.short_codes import make_short_code
from inventory.units import MILLION, conversion_factor, convert, get_unit
from jobs.queries.day_needs import Need

# By place, material, owner and container.
StockKey = tuple[int, int, int, int | None]
State = Container.State
Contents = Container.ContentsState


@dataclass(frozen=True)
class Pick:
    """So much to take, from where. Quantity in millionths of `unit`; `note` says what to know about it.

    `mass_kg` is what the whole load weighs, None where nobody knows; `caution` is for whoever lifts it.
    """

    place: str
    container: str
    quantity: int
    unit: str
    note: str = ""
    place_code: str = ""
    material_code: str = ""
    owner_code: str = ""
    # What the kit counts on of what still stands in the warehouse: this is promised when it is agreed.
    counted_on: int = 0
    mass_kg: float | None = None
    caution: str = ""
    # What a person types or scans to name the container; empty for loose goods.
    short_code: str = ""
    # Of a cut off a reel: what was on it before.
    before: int = 0


@dataclass
class StockItem:
    """Goods in one place, loose or in one container. `left` is what nobody has been given yet.

    `offered` is what the kit might take of it at first. `used` is what the day is expected to use of it,
    where that is less than what is taken along, as of a drum.
    """

    place: Place
    material: Material
    owner_id: int
    container: Container | None
    left: int
    offered: int = 0
    used: int | None = None
    is_rolling: bool = False
    # Of what lies in another place than the kit comes from: 0 where that belongs to the same warehouse.
    distance: int = 0

    @property
    def key(self) -> StockKey:
        container = self.container.pk if self.container is not None else None
        return self.place.pk, self.material.pk, self.owner_id, container

    @property
    def goes_whole(self) -> bool:
        """A drum or reel goes with one crew, whatever it takes of it; goods of a lot can be parted."""
        return self.container is not None and self.container.kind != Container.Kind.LOT

    @property
    def is_held_back(self) -> bool:
        """Whether nobody may plan it: its container is held back, or gone."""
        return self.container is not None and self.container.state in (State.HELD, State.GONE)

    @property
    def usable(self) -> int:
        """What can be got out: a heel stays in a vessel."""
        return max(self.left - self._heel, 0)

    @property
    def usable_at_first(self) -> int:
        """What could be got out before anything of it was taken."""
        return max(self.offered - self._heel, 0)

    @property
    def _heel(self) -> int:
        return self.container.heel_for(self.material) if self.container is not None else 0

    @property
    def is_opened(self) -> bool:
        return self.container is not None and self.container.state == State.OPEN

    @property
    def taken(self) -> int:
        return self.offered - self.left

    @property
    def gone_after(self) -> int:
        """What the day uses up: of a drum what is pumped out of it, of other goods what was taken."""
        return self.taken if self.used is None else self.used

    def take(self, quantity: int, note: str = "") -> Pick:
        self.left -= quantity
        label = self.container.label if self.container else ""
        return Pick(
            self.place.name,
            label,
            quantity,
            self.material.stock_unit,
            note,
            place_code=self.place.code,
            material_code=self.material.code,
            short_code=short_code_of(self.container),
        )


@dataclass
class KitStock:
    """What a crew-day may be served from: its truck, its warehouse with the bins, reels elsewhere."""

    day: date
    truck: list[StockItem] = field(default_factory=list)
    warehouse: list[StockItem] = field(default_factory=list)
    # Reels in other places, which would have to be brought first.
    elsewhere: list[StockItem] = field(default_factory=list)
    truck_vessels: list[Container] = field(default_factory=list)
    warehouse_vessels: list[Container] = field(default_factory=list)
    # What lies in the warehouse too, but goes with a crew that is served first, or is promised to one.
    given_away: list[StockItem] = field(default_factory=list)
    given_vessels: list[Container] = field(default_factory=list)
    # Those of the vessels that this day fills.
    filled_vessels: set[int] = field(default_factory=set)
    # Kilograms that may still be loaded; None where the truck's payload is not known.
    payload_left_kg: float | None = None

    def pieces(self, items: list[StockItem], need: Need) -> list[StockItem]:
        """Those of `items` that serve a need as they are: its material, of its owner, not held back."""
        return [
            item
            for item in items
            if need.material is not None
            and item.material.pk == need.material.pk
            and need.owner is not None
            and item.owner_id == need.owner.pk
            and not item.is_held_back
        ]

    def fluids(self, items: list[StockItem], need: Need, recovered: Iterable[Material]) -> list[StockItem]:
        """Fluid fit to inject: fresh, or recovered and passed as fit for use."""
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
        return found

    def _is_good(self, item: StockItem, states: tuple[str, ...]) -> bool:
        container = item.container
        if container is None:
            return Contents.FRESH in states
        is_expired = container.best_before_date is not None and container.best_before_date < self.day
        is_ready = container.state in (State.SEALED, State.OPEN) and container.contents_state in states
        return is_ready and not is_expired


def short_code_of(container: Container | None) -> str:
    """What a person types for a container; nothing for loose goods, and for a container not stored yet."""
    return make_short_code(container.pk) if container is not None and container.pk else ""


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


def vessel_room(vessel: Container, unit: str, fill_limit: float) -> int:
    """How much may be filled into an empty vessel, in millionths of `unit`."""
    return _room(vessel.capacity, vessel.measure_unit, unit, fill_limit)


@lru_cache(maxsize=1024)
def _room(capacity: int | None, measure_unit: str, unit: str, fill_limit: float) -> int:
    """Kept, since a yard has many vessels and few sizes of them."""
    if capacity is None or get_unit(unit).dimension != get_unit(measure_unit).dimension:
        return 0
    return int(floor(capacity * conversion_factor(measure_unit, unit)) * Fraction(str(fill_limit)))


def to_unit(millionths: int, from_unit: str, unit: str) -> int:
    """Millionths of another unit, rounded down, since what is not there cannot be used."""
    if from_unit == unit:
        return millionths
    return int(convert(Fraction(millionths, MILLION), from_unit, unit) * MILLION // 1)
