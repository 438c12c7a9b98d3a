"""Where one warehouse had better hold the safety stock of several, and what that saves.

Usually each warehouse orders for itself and holds what its supplier's lead time takes. One of them may order
for others too: it holds that stock for all, so that their chances even out, and they only hold what lasts
until a shipment has come. Which way costs least is that of the guaranteed-service model, over a tree of
supplier, hub and warehouses. What a warehouse's vehicles take is part of its own use.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, sqrt

import numpy as np
from scipy import special

from inventory.calc.forward_stock import SupplyNode, forward_stock
from inventory.models import Material, Place, ShipmentArrival
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.queries.expected_receipts import UNKNOWN_TRANSIT_DAYS
from inventory.queries.order_terms import DAYS_A_WEEK, DAYS_A_YEAR, unit_cost_of
from inventory.queries.restock_facts import RestockFacts
from inventory.queries.restock_plans import RestockPlans
from inventory.queries.restock_why import show
from inventory.queries.stock_placement import LEAST_SAVING, HeldThere, Placement, whole_pieces

HUB, OWN_USE = "hub", "own use"
# Of many materials those are looked at of which the safety stock costs most to hold.
MOST_MATERIALS = 200
SECONDS_A_DAY = 86_400


@dataclass(frozen=True)
class _Site:
    """One warehouse's use of a material; holding cost of a unit for a day in millionths of the currency."""

    place: Place
    spread: float
    lead_days: int
    review_days: int
    factor: float
    holding: float

    @property
    def cost_alone(self) -> float:
        """Of a day, where it holds what its own supplier's lead time takes."""
        return self.holding * self.factor * self.spread * sqrt(self.lead_days)


@dataclass(frozen=True)
class _Shared:
    """A hub with those that it supplies, what each holds and for how long, and what that costs a day."""

    hub: _Site
    branches: tuple[_Site, ...]
    stocks: tuple[float, ...]
    days: tuple[int, ...]
    cost: float
    saving: float


def list_shared_stock(facts: RestockFacts, plans: RestockPlans) -> list[Placement]:
    """Return the materials of which one warehouse had better hold safety stock for others, by hub.

    Only between warehouses whose areas the facts hold. One query.
    """
    sites = _find_sites(facts, plans)
    if not sites:
        return []
    transit, currency = _find_transit_days(facts), get_company().currency
    found = []
    for material, rows in sites.items():
        shared = _best(rows, transit)
        if shared is not None:
            found.append(_as_placement(facts.materials[material], shared, currency))
    return sorted(found, key=lambda row: (row.warehouse.code, row.material.code))


def _find_sites(facts: RestockFacts, plans: RestockPlans) -> dict[int, list[_Site]]:
    """Warehouses by material of ours that at least two of them use, those dearest to hold."""
    sites: dict[int, list[_Site]] = defaultdict(list)
    for row in np.flatnonzero((plans.sd_per_week > 0) & facts.is_ours).tolist():
        place, material, _owner = facts.of(row)
        aim = facts.aims[row]
        price = max(unit_cost_of(material, plans.preferred[row]), 1)
        site = _Site(
            place,
            float(plans.sd_per_week[row]) / sqrt(DAYS_A_WEEK),
            ceil(plans.lead_days[row]) + aim.review_days,
            aim.review_days,
            max(0.0, float(special.ndtri(plans.service[row]))),
            aim.holding_cost_rate / DAYS_A_YEAR * price,
        )
        sites[material.pk].append(site)
    several = [(material, rows) for material, rows in sites.items() if len(rows) > 1]
    several.sort(key=lambda pair: -sum(site.cost_alone for site in pair[1]))
    return dict(several[:MOST_MATERIALS])


def _find_transit_days(facts: RestockFacts) -> dict[tuple[int, int], float]:
    """Mean days from sending to the last unloading between the areas of two warehouses."""
    areas = facts.scope.areas
    taken: dict[tuple[int, int], list[float]] = defaultdict(list)
    for source, target, sent, came in ShipmentArrival.objects.filter(
        is_last=True, shipment__source__in=list(areas), shipment__target__in=list(areas)
    ).values_list("shipment__source", "shipment__target", "shipment__sent_at", "occurred_at"):
        days = max(0.0, (came - sent).total_seconds() / SECONDS_A_DAY)
        taken[areas[source].pk, areas[target].pk].append(days)
    return {pair: sum(days) / len(days) for pair, days in taken.items()}


def _best(sites: Sequence[_Site], transit: Mapping[tuple[int, int], float]) -> _Shared | None:
    """The hub and branches that save most; None where each had better hold its own."""
    found = [shared for hub in sites if (shared := _grow(hub, sites, transit)) is not None]
    return max(found, key=lambda shared: shared.saving, default=None)


def _grow(hub: _Site, sites: Sequence[_Site], transit: Mapping[tuple[int, int], float]) -> _Shared | None:
    """Begin with all as branches and let go whoever costs more as one, until nobody does."""
    branches = [site for site in sites if site is not hub]
    best = _share(hub, branches, transit)
    while len(branches) > 1:
        fewer = [_share(hub, [site for site in branches if site is not left], transit) for left in branches]
        better = max(fewer, key=lambda shared: shared.saving)
        if better.saving <= best.saving:
            break
        best, branches = better, list(better.branches)
    alone = sum(site.cost_alone for site in (hub, *best.branches))
    return best if best.saving > LEAST_SAVING * alone else None


def _share(hub: _Site, branches: Sequence[_Site], transit: Mapping[tuple[int, int], float]) -> _Shared:
    """The service times of least cost of supplier, hub and these branches."""
    nodes = {
        HUB: SupplyNode(Fraction(hub.lead_days), hub.holding, demand_bound_constant=hub.factor),
        OWN_USE: _as_node(hub, 0),
    }
    for number, site in enumerate(branches):
        on_the_way = ceil(transit.get((hub.place.pk, site.place.pk), UNKNOWN_TRANSIT_DAYS))
        nodes[str(number)] = _as_node(site, on_the_way + site.review_days)
    plan = forward_stock(nodes=nodes, edges=[(HUB, name) for name in nodes if name != HUB])
    promised = int(plan.committed_service_times[HUB])
    stocks = [plan.safety_stocks[HUB] + plan.safety_stocks[OWN_USE]]
    days = [hub.lead_days - promised]
    for number in range(len(branches)):
        stocks.append(plan.safety_stocks[str(number)])
        days.append(promised + int(nodes[str(number)].processing_time))
    alone = sum(site.cost_alone for site in (hub, *branches))
    return _Shared(hub, tuple(branches), tuple(stocks), tuple(days), plan.cost, alone - plan.cost)


def _as_node(site: _Site, days: int) -> SupplyNode:
    """What takes goods from the hub and makes nobody wait."""
    return SupplyNode(
        Fraction(days),
        site.holding,
        external_outbound_cst=Fraction(0),
        demand_bound_constant=site.factor,
        demand_sd=site.spread,
    )


def _as_placement(material: Material, shared: _Shared, currency: str) -> Placement:
    places = [shared.hub.place, *(site.place for site in shared.branches)]
    held = tuple(
        HeldThere(place, whole_pieces(stock, material), days)
        for place, stock, days in zip(places, shared.stocks, shared.days, strict=True)
    )
    saving = round(shared.saving * DAYS_A_YEAR)
    unit = material.stock_unit
    others = " and ".join(
        f"{there.place.name} only {show(there.safety_stock, unit)} for the {there.days} days until a "
        f"shipment has come"
        for there in held[1:]
    )
    why = (
        f"Keep {show(held[0].safety_stock, unit)} in {places[0].name} for all, and in {others}: each holding "
        f"its own for its supplier's lead time would cost {format_money(saving, currency)} a year more, "
        f"before what it costs to bring the goods over."
    )
    return Placement(
        shared.hub.place,
        material,
        held,
        0,
        round(shared.cost * DAYS_A_YEAR),
        saving,
        why,
        supplies=tuple(places[1:]),
    )
