"""Which reel serves which run: in one piece, of the right owner, few reels opened, long ends kept whole."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from inventory.models import Container, Holding
from inventory.units import format_millionths
from jobs.calc.reels.allotment import allot_reels as find_allotment
from jobs.calc.reels.kinds import Cut, Reel
from jobs.calc.reels.kinds import ReelAllotment as ReelAnswer
from jobs.models import KitPolicy
from jobs.queries.day_needs import Need, to_length_millionths
from jobs.queries.kit_stock import KitStock, Pick, StockItem

# A day of 200 runs on 60 reels is done by then, proven or with its gap; a usual one at once.
MOST_SECONDS = 5.0


@dataclass(frozen=True)
class ReelAllotment:
    """A run's fibre and the reel it comes from; no picks where none is long enough.

    `is_elsewhere`: the reel lies in another place, and has to be brought before it can be loaded.
    """

    need: Need
    picks: list[Pick]
    is_on_truck: bool
    why: str
    is_elsewhere: bool = False


def allot_reels(
    needs: list[Need], stock: KitStock, policy: KitPolicy, largest_fill_ratio: float
) -> list[ReelAllotment]:
    """Serve every run in one piece: as many as can be, then few reels opened, then the shortest ends left.

    What a reel costs is the company's to say: one on the truck or open already next to nothing, opening
    another more, bringing one from another place most.
    """
    places = _Places({id(item) for item in stock.truck}, {id(item) for item in stock.elsewhere})
    found: list[ReelAllotment] = []
    for group in _group(needs):
        reels = list(_reels(group[0], stock))
        if not reels:
            found += [_unserved(need, reels) for need in group]
            continue
        answer = _solve(group, reels, [places.cost(item, policy) for item in reels], policy)
        found += [_unserved(group[int(number)], reels) for number in answer.unserved]
        for opened in answer.opened:
            cuts = sorted(
                (group[int(number)] for number in opened.cuts), key=lambda need: need.first_position
            )
            reel = reels[int(opened.reel)]
            found += [_cut(need, reel, places, largest_fill_ratio, answer) for need in cuts]
    return found


@dataclass(frozen=True)
class _Places:
    """Which reels are on the truck and which in other places, by identity."""

    on_truck: set[int]
    elsewhere: set[int]

    def cost(self, reel: StockItem, policy: KitPolicy) -> int:
        if id(reel) in self.on_truck:
            return policy.truck_reel_cost
        if id(reel) in self.elsewhere:
            return policy.distant_reel_cost + reel.distance
        return policy.open_reel_cost if reel.is_opened else policy.sealed_reel_cost

    def say(self, reel: StockItem) -> str:
        if id(reel) in self.on_truck:
            return "on the truck, "
        return f"in {reel.place}, to be brought, " if id(reel) in self.elsewhere else ""


def find_longest_reel(need: Need) -> Holding | None:
    """The reel with the most of a run's fibre that there is anywhere, promised or not; None without any."""
    rows = Holding.objects.filter(
        container__kind=Container.Kind.REEL,
        material=need.material,
        owner=need.owner,
        quantity__gt=0,
    )
    return rows.select_related("container", "place").order_by("-quantity", "container__label").first()


def _group(needs: list[Need]) -> list[list[Need]]:
    """Runs that are served from the same reels: of one cable and one owner."""
    groups: dict[tuple[int, int], list[Need]] = {}
    for need in needs:
        key = (need.material.pk if need.material else 0, need.owner.pk if need.owner else 0)
        groups.setdefault(key, []).append(need)
    return list(groups.values())


def _solve(needs: list[Need], reels: list[StockItem], costs: list[int], policy: KitPolicy) -> ReelAnswer:
    until = time.monotonic() + MOST_SECONDS
    return find_allotment(
        reels=[
            Reel(id=str(number), length=Fraction(item.left), cost=Fraction(costs[number]))
            for number, item in enumerate(reels)
            if item.left > 0
        ],
        cuts=[
            Cut(id=str(number), length=Fraction(need.quantity))
            for number, need in enumerate(needs)
            if need.quantity > 0
        ],
        minimum_remnant=Fraction(to_length_millionths(policy.useful_remnant_m, needs[0].unit)),
        seconds_left=lambda: until - time.monotonic(),
    )


def _unserved(need: Need, reels: list[StockItem]) -> ReelAllotment:
    return ReelAllotment(need, [], is_on_truck=False, why=_explain_lack(need, reels))


def _cut(
    need: Need, reel: StockItem, places: _Places, largest_fill_ratio: float, answer: ReelAnswer
) -> ReelAllotment:
    before = reel.left
    note = f"{places.say(reel)}{_say_left(reel, before - need.quantity)}"
    pick = replace(reel.take(need.quantity, note), before=before)
    why = _explain_choice(need, reel, before, largest_fill_ratio) + _say_proof(answer)
    return ReelAllotment(
        need,
        [pick],
        is_on_truck=id(reel) in places.on_truck,
        why=why,
        is_elsewhere=id(reel) in places.elsewhere,
    )


def _say_proof(answer: ReelAnswer) -> str:
    """Nothing where the best is proven; else how far from it this may be."""
    if answer.is_proven_optimal:
        return ""
    if not answer.cost or not answer.lower_bound:
        return " The best allotment found in the time allowed."
    gap = float((answer.cost - answer.lower_bound) / answer.cost)
    return f" The best allotment found in the time allowed, at most {gap:.1%} from the best there is."


def _reels(need: Need, stock: KitStock) -> Iterator[StockItem]:
    for item in stock.pieces([*stock.truck, *stock.warehouse, *stock.elsewhere], need):
        if item.container is not None and item.container.kind == Container.Kind.REEL:
            yield item


def _say_left(reel: StockItem, left: int) -> str:
    return f"{format_millionths(left, reel.material.stock_unit)} left on it afterwards"


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
        return f"There is no reel{owner} here or elsewhere."
    longest = max(item.offered for item in reels)
    if longest >= need.quantity:
        return f"The reels{owner} that are long enough serve other runs of the day."
    return f"The longest reel{owner} has only {format_millionths(longest, need.unit)}."
