"""Which reel serves which run: in one piece, of the right owner, few reels opened, long ends kept whole."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from inventory.models import Container
from inventory.units import format_millionths
from jobs.calc.reels.allotment import allot_reels as find_allotment
from jobs.calc.reels.kinds import Cut, Reel
from jobs.calc.reels.kinds import ReelAllotment as ReelAnswer
from jobs.queries.day_needs import Need, to_length_millionths
from jobs.queries.kit_stock import KitStock, Pick, StockItem

# A day of 200 runs on 60 reels is done by then, proven or with its gap; a usual one at once.
MOST_SECONDS = 5.0
# A shorter end serves hardly any run any more (an estimate, no source).
USEFUL_REMNANT_M = 60.0
# What opening weighs: a reel on the truck comes along anyway, an open one is used up before a sealed one.
ON_TRUCK_COST, OPEN_COST, SEALED_COST = 1, 3, 20


@dataclass(frozen=True)
class ReelAllotment:
    """A run's fibre and the reel it comes from; no picks where none is long enough."""

    need: Need
    picks: list[Pick]
    is_on_truck: bool
    why: str


def allot_reels(needs: list[Need], stock: KitStock, largest_fill_ratio: float) -> list[ReelAllotment]:
    """Serve every run in one piece: as many as can be, then few reels opened, then the shortest ends left.

    A reel that is on the truck or open already costs next to nothing, opening another much more.
    """
    on_truck = {id(item) for item in stock.truck}
    found: list[ReelAllotment] = []
    for group in _group(needs):
        reels = list(_reels(group[0], stock))
        if not reels:
            found += [_unserved(need, reels) for need in group]
            continue
        costs = {id(item): _cost(item, id(item) in on_truck) for item in reels}
        answer = _solve(group, reels, costs)
        found += [_unserved(group[int(number)], reels) for number in answer.unserved]
        for opened in answer.opened:
            cuts = sorted(
                (group[int(number)] for number in opened.cuts), key=lambda need: need.first_position
            )
            reel = reels[int(opened.reel)]
            is_here = id(reel) in on_truck
            found += [_cut(need, reel, is_here, largest_fill_ratio, answer) for need in cuts]
    return found


def _group(needs: list[Need]) -> list[list[Need]]:
    """Runs that are served from the same reels: of one cable and one owner."""
    groups: dict[tuple[int, int], list[Need]] = {}
    for need in needs:
        key = (need.material.pk if need.material else 0, need.owner.pk if need.owner else 0)
        groups.setdefault(key, []).append(need)
    return list(groups.values())


def _solve(needs: list[Need], reels: list[StockItem], costs: dict[int, int]) -> ReelAnswer:
    until = time.monotonic() + MOST_SECONDS
    return find_allotment(
        reels=[
            Reel(id=str(number), length=Fraction(item.left), cost=Fraction(costs[id(item)]))
            for number, item in enumerate(reels)
            if item.left > 0
        ],
        cuts=[
            Cut(id=str(number), length=Fraction(need.quantity))
            for number, need in enumerate(needs)
            if need.quantity > 0
        ],
        minimum_remnant=Fraction(to_length_millionths(USEFUL_REMNANT_M, needs[0].unit)),
        seconds_left=lambda: until - time.monotonic(),
    )


def _cost(reel: StockItem, is_on_truck: bool) -> int:
    if is_on_truck:
        return ON_TRUCK_COST
    return OPEN_COST if reel.is_opened else SEALED_COST


def _unserved(need: Need, reels: list[StockItem]) -> ReelAllotment:
    return ReelAllotment(need, [], is_on_truck=False, why=_explain_lack(need, reels))


def _cut(
    need: Need, reel: StockItem, is_on_truck: bool, largest_fill_ratio: float, answer: ReelAnswer
) -> ReelAllotment:
    before = reel.left
    pick = reel.take(need.quantity, _note(reel, before - need.quantity, is_on_truck))
    why = _explain_choice(need, reel, before, largest_fill_ratio) + _say_proof(answer)
    return ReelAllotment(need, [pick], is_on_truck=is_on_truck, why=why)


def _say_proof(answer: ReelAnswer) -> str:
    """Nothing where the best is proven; else how far from it this may be."""
    if answer.is_proven_optimal:
        return ""
    if not answer.cost or not answer.lower_bound:
        return " The best allotment found in the time allowed."
    gap = float((answer.cost - answer.lower_bound) / answer.cost)
    return f" The best allotment found in the time allowed, at most {gap:.1%} from the best there is."


def _reels(need: Need, stock: KitStock) -> Iterator[StockItem]:
    for item in stock.pieces([*stock.truck, *stock.warehouse], need):
        if item.container is not None and item.container.kind == Container.Kind.REEL:
            yield item


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
    longest = max(item.offered for item in reels)
    if longest >= need.quantity:
        return f"The reels{owner} that are long enough serve other runs of the day."
    return f"The longest reel{owner} has only {format_millionths(longest, need.unit)}."
