"""Which reel serves which run: in one piece, of the right owner, few reels opened, long ends kept whole."""

from collections.abc import Iterator
from dataclasses import dataclass

from inventory.models import Container
from inventory.units import format_millionths
from jobs.queries.day_needs import Need
from jobs.queries.kit_stock import KitStock, Pick, StockItem


@dataclass(frozen=True)
class ReelAllotment:
    """A run's fibre and the reel it comes from; no picks where none is long enough."""

    need: Need
    picks: list[Pick]
    is_on_truck: bool
    why: str


def allot_reels(needs: list[Need], stock: KitStock, largest_fill_ratio: float) -> list[ReelAllotment]:
    """Serve the longest run first, since it has the fewest reels to choose from."""
    on_truck = {id(item) for item in stock.truck}
    chosen: set[int] = set()
    found = []
    for need in sorted(needs, key=lambda need: -need.quantity):
        reels = list(_reels(need, stock))
        fitting = [item for item in reels if item.left >= need.quantity]
        if not fitting:
            found.append(ReelAllotment(need, [], is_on_truck=False, why=_explain_lack(need, reels)))
            continue
        reel = min(fitting, key=lambda item: _preference(item, id(item) in on_truck, id(item) in chosen))
        chosen.add(id(reel))
        before = reel.left
        pick = reel.take(need.quantity, _note(reel, before - need.quantity, id(reel) in on_truck))
        why = _explain_choice(need, reel, before, largest_fill_ratio)
        found.append(ReelAllotment(need, [pick], is_on_truck=id(reel) in on_truck, why=why))
    return found


def _reels(need: Need, stock: KitStock) -> Iterator[StockItem]:
    for item in stock.pieces([*stock.truck, *stock.warehouse], need):
        if item.container is not None and item.container.kind == Container.Kind.REEL:
            yield item


def _preference(item: StockItem, is_on_truck: bool, is_chosen: bool) -> tuple[object, ...]:
    """Best first: already used today, on the truck, opened, and leaving the shortest end."""
    label = item.container.label if item.container is not None else ""
    return (not is_chosen, not is_on_truck, not item.is_opened, item.left, label)


def _note(reel: StockItem, left: int, is_on_truck: bool) -> str:
    where = "on the truck, " if is_on_truck else ""
    return f"{where}{format_millionths(left, reel.material.stock_unit)} left on it afterwards"


def _explain_choice(need: Need, reel: StockItem, before: int, largest_fill_ratio: float) -> str:
    label = reel.container.label if reel.container is not None else ""
    said = f"Reel {label} has {format_millionths(before, need.unit)}."
    outside = reel.material.outside_diameter_mm
    if outside and need.cable_size is not None:
        ratio = (outside / need.cable_size.bore_mm) ** 2
        if ratio > largest_fill_ratio:
            said += f" Caution: the cable fills {ratio:.0%} of the bore, more than {largest_fill_ratio:.0%}."
    return said


def _explain_lack(need: Need, reels: list[StockItem]) -> str:
    owner = f" of {need.owner}" if need.owner is not None and not need.owner.is_company else ""
    if need.material is None:
        return "The job names no fibre cable, and its owner has none or several here."
    if not reels:
        return f"There is no reel{owner} here."
    longest = max(item.left for item in reels)
    return f"The longest reel{owner} has only {format_millionths(longest, need.unit)}."
