"""Which drums and totes to take, and which empty vessels: fit first, then sensible to handle."""

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from inventory.models import Container
from inventory.units import MILLION, conversion_factor, format_millionths
from jobs.models import KitPolicy
from jobs.queries.kit_masses import lifting_caution, load_mass_kg, tare_kg
from jobs.queries.kit_stock import KitStock, Pick, StockItem, short_code_of, to_unit, vessel_room

Kind = Container.Kind
# No drum holds more (49 CFR 178.504, from memory): what does is moved by a fork truck.
LARGEST_DRUM_L = 450.0
# A vessel is too large for a kit that needs less than this share of it, so that others come first.
LEAST_SHARE = 1 / 8
LEAST_SHARE_OF_TOTE = 1 / 2
# A rest that covers less than this of the need is not worth carrying where the kit is full without it.
WORTH_CARRYING = 0.1
HANDLING = {Kind.LOT: 0, Kind.PAIL: 0, Kind.DRUM: 1, Kind.REEL: 1, Kind.TOTE: 2, Kind.TRUCK_TANK: 3}


@dataclass
class ChosenFluid:
    """What to take, how much of it serves, and what stays behind for being too heavy, with its weight."""

    picks: list[Pick] = field(default_factory=list)
    got: int = 0
    left_behind: list[str] = field(default_factory=list)


def order_fluids(items: list[StockItem], policy: KitPolicy) -> list[StockItem]:
    """In the order of using them up: recovered or new as the policy says, opened, first expired, first in."""
    return sorted(items, key=lambda item: _taking_order(item, policy))


def choose_fluids(
    items: list[StockItem], *, unit: str, missing: int, stock: KitStock, policy: KitPolicy
) -> ChosenFluid:
    """Take whole vessels until what can be pumped from them is enough; loose fluid by the amount.

    Vessels much larger than what is missing come last, by how they are handled: no tote is named for ten
    gallons while a drum stands there. What the truck cannot carry stays behind, and is named.
    """
    found = ChosenFluid()
    if missing <= 0:
        return found
    chosen: list[tuple[StockItem, int]] = []
    left_kg = stock.payload_left_kg
    for item in sorted(items, key=lambda item: _choosing_order(item, unit, missing, policy)):
        usable = to_unit(item.usable, item.material.stock_unit, unit)
        if found.got >= missing:
            break
        if usable <= 0 or _stays(item):
            continue
        mass = load_mass_kg(item.container, item.material, item.left)
        if item.container is not None and left_kg is not None and mass is not None and mass > left_kg:
            rest = f"the truck takes {max(left_kg, 0):.0f} kg more"
            found.left_behind.append(f"{item.container} weighs about {mass:.0f} kg, {rest}")
            continue
        left_kg = left_kg - mass if left_kg is not None and mass is not None else left_kg
        chosen.append((item, usable))
        found.got += usable
    for item, usable in _without_rests(chosen, missing, found):
        _take(item, usable, found, unit, missing, policy)
    return found


def use_up(items: list[StockItem], quantity: int, unit: str) -> None:
    """Set down what the day is expected to use of each, in this order; the rest serves another day."""
    for item in items:
        part = min(to_unit(item.usable_at_first, item.material.stock_unit, unit), quantity)
        item.used = min(to_unit(part, unit, item.material.stock_unit), item.offered)
        quantity -= part


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


def empty_pick(vessel: Container, unit: str, fill_limit: float, policy: KitPolicy) -> Pick:
    mass = tare_kg(vessel)
    return Pick(
        vessel.place.name if vessel.place is not None else "",
        vessel.label,
        vessel_room(vessel, unit, fill_limit),
        unit,
        "clean and empty",
        place_code=vessel.place.code if vessel.place is not None else "",
        short_code=short_code_of(vessel),
        mass_kg=mass,
        caution=lifting_caution(vessel, mass, policy.lifting_limit_kg),
    )


def weigh_pick(pick: Pick, item: StockItem, quantity: int, policy: KitPolicy) -> Pick:
    """The same pick with what the load weighs: a vessel with all in it, or the pieces."""
    mass = load_mass_kg(item.container, item.material, quantity)
    caution = lifting_caution(item.container, mass, policy.lifting_limit_kg)
    return replace(pick, mass_kg=mass, caution=caution)


def _take(
    item: StockItem, usable: int, found: ChosenFluid, unit: str, missing: int, policy: KitPolicy
) -> None:
    if item.container is None:
        usable = min(usable, missing)
        found.picks.append(item.take(to_unit(usable, unit, item.material.stock_unit)))
        return
    quantity = item.left
    found.picks.append(weigh_pick(item.take(quantity, _note(item)), item, quantity, policy))


def _without_rests(
    chosen: list[tuple[StockItem, int]], missing: int, found: ChosenFluid
) -> list[tuple[StockItem, int]]:
    """Leave out small rests that the others cover: one vessel less to carry."""
    kept = []
    for item, usable in chosen:
        if usable < WORTH_CARRYING * missing and found.got - usable >= missing:
            found.got -= usable
        else:
            kept.append((item, usable))
    return kept


def _stays(item: StockItem) -> bool:
    return item.container is not None and item.container.kind == Kind.TRUCK_TANK


def _choosing_order(item: StockItem, unit: str, missing: int, policy: KitPolicy) -> tuple[Any, ...]:
    is_large = _is_too_large(item, unit, missing)
    handling = HANDLING[Kind(item.container.kind)] if item.container is not None and is_large else 0
    return (is_large, handling, *_taking_order(item, policy))


def _is_too_large(item: StockItem, unit: str, missing: int) -> bool:
    """Whether a vessel is out of proportion to what is missing; a tote is clumsy however little is in it."""
    if item.container is None or not item.goes_whole:
        return False
    usable = to_unit(item.usable, item.material.stock_unit, unit)
    litres = vessel_room(item.container, "L", 1.0) / MILLION
    held_l = item.left / MILLION * float(conversion_factor(item.material.stock_unit, "L"))
    if item.container.kind == Kind.TOTE or max(litres, held_l) > LARGEST_DRUM_L:
        return missing < max(usable, vessel_room(item.container, unit, 1.0)) * LEAST_SHARE_OF_TOTE
    return missing < usable * LEAST_SHARE


def _taking_order(item: StockItem, policy: KitPolicy) -> tuple[Any, ...]:
    container = item.container
    is_recovered = item.material.recovered_from_id is not None
    received = container.received_at.timestamp() if container is not None and container.received_at else 0.0
    best_before = container.best_before_date if container is not None else None
    return (
        is_recovered != policy.is_recovered_first,
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
