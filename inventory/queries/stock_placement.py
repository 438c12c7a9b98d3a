"""Where along warehouse and vehicles the safety stock of a material lies best, and what that saves.

A warehouse promises its vehicles how long they may have to wait: not at all, and it holds what its supplier's
lead time takes; as long as that, and the vehicles do. The cheapest promise is that of the guaranteed-service
model. What is taken from the yard itself is a customer like a vehicle.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt
from scipy import special

from inventory.calc.back_testing import LEAST_FORESEEN_FROM, demand_spreads
from inventory.calc.forward_stock import ForwardStock, SupplyNode, forward_stock
from inventory.calc.stock_levels import demands_over_lead_time, plan_levels
from inventory.models import Material, Party, Place, SupplyTerms
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.queries.demand_history import load_demand_history
from inventory.queries.lead_times import UNKNOWN_LEAD_TIME
from inventory.queries.order_terms import DAYS_A_WEEK, DAYS_A_YEAR, unit_cost_of
from inventory.queries.restock_plans import HIGHEST_SERVICE, LOWEST_SERVICE, aimed_shares
from inventory.queries.restock_why import show
from inventory.queries.stock_policies import Aims, load_aims
from inventory.queries.supply_areas import find_recovered_forms
from inventory.units import MILLION

HISTORY_WEEKS = 52
YARD, COUNTER = "yard", "counter"
# What lies on a vehicle is carried about, shaken and lost: holding it costs twice as much, unless a policy of
# the vehicle says its own rate (an estimate, no source).
VEHICLE_HOLDING = 2.0
# A saving below this share of what the usual way costs is no reason to move goods.
LEAST_SAVING = 0.02


@dataclass(frozen=True)
class HeldThere:
    """Safety stock of one place in millionths of the stock unit, for so many days that it must last."""

    place: Place
    safety_stock: int
    days: int


@dataclass(frozen=True)
class Placement:
    """Which places of one warehouse hold the safety stock of a material, the warehouse first.

    `promised_days` is how long its vehicles may have to wait for the warehouse: nothing where the warehouse
    holds safety stock, as it usually does. Costs are of a year's holding, in millionths of the currency;
    `saving` is against the other way of doing it, named in `why`. `supplies` names the warehouses that this
    one had better hold it for, which then are the other places.
    """

    warehouse: Place
    material: Material
    held: tuple[HeldThere, ...]
    promised_days: int
    cost: int
    saving: int
    why: str
    supplies: tuple[Place, ...] = ()

    @property
    def is_usual(self) -> bool:
        return self.promised_days == 0 and not self.supplies


@dataclass(frozen=True)
class _Use:
    """Mean and spread of a day's use."""

    rate: float
    spread: float


@dataclass(frozen=True)
class _Tree:
    """One material in one warehouse: what varies where, and what holding it there costs a day."""

    warehouse: Place
    material: Material
    vehicles: Mapping[str, Place]
    spreads: Mapping[str, float]
    review: Mapping[str, int]
    holding: Mapping[str, float]
    lead_days: int
    rate: float
    factor: float = 0.0

    @property
    def pooled(self) -> float:
        """Spread of all of it together."""
        return sqrt(sum(spread**2 for spread in self.spreads.values()))

    def best(self) -> ForwardStock:
        """The service times of least cost."""
        edges = [(YARD, name) for name in self.spreads]
        return forward_stock(
            nodes={YARD: self._node(YARD), **{name: self._node(name) for name in self.spreads}}, edges=edges
        )

    def cost_at(self, promised_days: int) -> float:
        """Of a day, where the warehouse promises this much."""
        net = {name: promised_days + self.review[name] for name in self.spreads}
        own = sum(self.holding[name] * spread * sqrt(net[name]) for name, spread in self.spreads.items())
        return self.factor * (own + self.holding[YARD] * self.pooled * sqrt(self.lead_days - promised_days))

    def _node(self, name: str) -> SupplyNode:
        if name == YARD:
            return SupplyNode(Fraction(self.lead_days), self.holding[YARD], demand_bound_constant=self.factor)
        return SupplyNode(
            Fraction(self.review[name]),
            self.holding[name],
            external_outbound_cst=Fraction(0),
            demand_bound_constant=self.factor,
            demand_sd=self.spreads[name],
        )


def list_placements(*, as_of: date, place: Place | None = None, service: float = 0.95) -> list[Placement]:
    """Return where each material that is used off vehicles is best held, by warehouse and material.

    The number of queries does not grow with places or materials.
    """
    vehicles = Place.objects.filter(
        kind=Place.Kind.VEHICLE, is_withdrawn=False, parent__kind=Place.Kind.WAREHOUSE
    ).select_related("parent")
    homes = {row.pk: row for row in vehicles if place is None or row.parent_id == place.pk}
    company = Party.objects.filter(is_company=True).first()
    if not homes or company is None:
        return []
    uses = _find_uses(homes, company.pk, as_of)
    materials = Material.objects.in_bulk({material for _place, material in uses})
    offers = cheapest_offers(materials)
    aims, currency = load_aims(service=service), get_company().currency
    trees = []
    for warehouse in {row.parent_id: row.parent for row in homes.values()}.values():
        assert warehouse is not None
        own = {key: row for key, row in homes.items() if row.parent_id == warehouse.pk}
        for material in materials.values():
            tree = _make_tree(warehouse, own, material, offers.get(material.pk), uses, aims)
            if tree is not None:
                trees.append(tree)
    found = [_place(tree, currency) for tree in _with_factors(trees, offers, aims)]
    return sorted(found, key=lambda row: (row.warehouse.code, row.material.code))


def _find_uses(homes: Mapping[int, Place], company: int, as_of: date) -> dict[tuple[int, int], _Use]:
    """A day's use by place and material, of those that some vehicle uses; bins are their yard's."""
    nodes = {key: key for key in homes}
    forms = find_recovered_forms()
    on_board = load_demand_history(nodes, before=as_of, weeks=HISTORY_WEEKS, fresh_forms=forms)
    used = frozenset(material for _place, material, owner in on_board.rows if owner == company)
    yards = {row.parent_id for row in homes.values()}
    for key, parent, kind in Place.objects.filter(
        kind__in=[Place.Kind.WAREHOUSE, Place.Kind.BIN]
    ).values_list("pk", "parent", "kind"):
        here = parent if kind == Place.Kind.BIN else key
        if here is not None and here in yards:
            nodes[key] = here
    used |= {form for form, (fresh, _factor) in forms.items() if fresh in used}
    history = load_demand_history(nodes, before=as_of, weeks=HISTORY_WEEKS, materials=used, fresh_forms=forms)
    known = [
        (key[0], key[1], row)
        for key, row in history.rows.items()
        if key[2] == company and (~np.isnan(history.used[row])).sum() >= LEAST_FORESEEN_FROM
    ]
    rows: npt.NDArray[np.float64] = history.used[[row for _place, _material, row in known]] / MILLION
    weekly = demand_spreads(rows) if known else np.zeros(0)
    return {
        (here, material): _Use(float(np.nanmean(used)) / DAYS_A_WEEK, float(spread) / sqrt(DAYS_A_WEEK))
        for (here, material, _row), used, spread in zip(known, rows, weekly, strict=True)
        if spread > 0
    }


def cheapest_offers(materials: Mapping[int, Material]) -> dict[int, SupplyTerms]:
    """By material the offer of the lowest price, the soonest among equals."""
    rows = SupplyTerms.objects.filter(material__in=list(materials)).order_by("-unit_cost", "-lead_time_days")
    return {row.material_id: row for row in rows}


def _make_tree(
    warehouse: Place,
    vehicles: Mapping[int, Place],
    material: Material,
    offer: SupplyTerms | None,
    uses: Mapping[tuple[int, int], _Use],
    aims: Aims,
) -> _Tree | None:
    """None where no vehicle of this warehouse uses the material."""
    names = {f"vehicle:{key}": row for key, row in vehicles.items() if (key, material.pk) in uses}
    if not names:
        return None
    found = {name: uses[row.pk, material.pk] for name, row in names.items()}
    review = {name: aims.of(row.pk, material.pk).review_days for name, row in names.items()}
    # What has no price yet is weighed all the same: only which place is dearer counts then.
    price = max(offer.unit_cost if offer else material.standard_unit_cost or 0, 1) / MILLION

    def holding(rate: float) -> float:
        return rate / DAYS_A_YEAR * price

    at_yard = aims.of(warehouse.pk, material.pk)
    held = {
        name: holding(holding_rate_on_board(aims, warehouse, row, material.pk)) for name, row in names.items()
    }
    held[YARD] = holding(at_yard.holding_cost_rate)
    if (warehouse.pk, material.pk) in uses:
        found[COUNTER], review[COUNTER] = uses[warehouse.pk, material.pk], 0
        held[COUNTER] = held[YARD]
    lead = ceil(offer.lead_time_days if offer else UNKNOWN_LEAD_TIME.mean_days) + at_yard.review_days
    spreads = {name: use.spread for name, use in found.items()}
    rate = sum(use.rate for use in found.values())
    return _Tree(warehouse, material, names, spreads, review, held, lead, rate)


def _with_factors(trees: Sequence[_Tree], offers: Mapping[int, SupplyTerms], aims: Aims) -> list[_Tree]:
    """The trees with as many spreads as the yard's target asks for over its lead time, whatever its kind."""
    if not trees:
        return []
    aimed = [aims.of(tree.warehouse.pk, tree.material.pk) for tree in trees]
    prices = [unit_cost_of(tree.material, offers.get(tree.material.pk)) for tree in trees]
    share, is_fill_rate = aimed_shares(aimed, prices)
    is_whole = np.array([tree.material.stock_unit == "1" for tree in trees])
    rate, none = np.array([tree.rate for tree in trees]), np.zeros(len(trees))
    size = rate * np.array([aim.review_days for aim in aimed])
    plan = plan_levels(
        demands=demands_over_lead_time(
            rate=rate,
            sd=np.array([tree.pooled for tree in trees]),
            rate_error=none,
            lead_time=np.array([float(tree.lead_days) for tree in trees]),
            lead_time_sd=none,
            review_period=none,
            is_whole=is_whole,
        ),
        order_quantity=np.where(is_whole, np.maximum(np.ceil(size), 1.0), np.maximum(size, 1e-6)),
        share=share,
        is_fill_rate=is_fill_rate,
    )
    service = np.where(is_fill_rate, plan.cycle_service, share)
    factors = np.maximum(special.ndtri(np.clip(service, LOWEST_SERVICE, HIGHEST_SERVICE)), 0.0)
    return [replace(tree, factor=float(factor)) for tree, factor in zip(trees, factors, strict=True)]


def holding_rate_on_board(aims: Aims, warehouse: Place, vehicle: Place, material: int) -> float:
    """What a year of holding on a vehicle costs as a share of the price: as its policy says, else twice."""
    said = aims.holding_rate_said_of(vehicle.pk, material)
    return said or VEHICLE_HOLDING * aims.of(warehouse.pk, material).holding_cost_rate


def _place(tree: _Tree, currency: str) -> Placement:
    plan = tree.best()
    promised = int(plan.committed_service_times[YARD])
    usual, best = tree.cost_at(0), tree.cost_at(promised)
    if usual - best < LEAST_SAVING * usual:
        promised, best = 0, usual
    other = usual if promised else tree.cost_at(tree.lead_days)
    material = tree.material
    held = _held(tree, promised)
    saving = round(max(0.0, other - best) * DAYS_A_YEAR * MILLION)
    return Placement(
        tree.warehouse,
        material,
        held,
        promised,
        round(best * DAYS_A_YEAR * MILLION),
        saving,
        _explain(tree, held, promised, format_money(saving, currency)),
    )


def _held(tree: _Tree, promised: int) -> tuple[HeldThere, ...]:
    material = tree.material
    at_yard = tree.factor * tree.pooled * sqrt(tree.lead_days - promised)
    if COUNTER in tree.spreads:
        at_yard += tree.factor * tree.spreads[COUNTER] * sqrt(promised)
    found = [HeldThere(tree.warehouse, whole_pieces(at_yard, material), tree.lead_days - promised)]
    for name, vehicle in sorted(tree.vehicles.items(), key=lambda row: row[1].code):
        days = promised + tree.review[name]
        amount = tree.factor * tree.spreads[name] * sqrt(days)
        found.append(HeldThere(vehicle, whole_pieces(amount, material), days))
    return tuple(found)


def whole_pieces(amount: float, material: Material) -> int:
    """Pieces are kept whole."""
    return ceil(round(amount, 9)) * MILLION if material.stock_unit == "1" else round(amount * MILLION)


def _explain(tree: _Tree, held: tuple[HeldThere, ...], promised: int, saving: str) -> str:
    unit = tree.material.stock_unit
    on_board = ", ".join(f"{show(row.safety_stock, unit)} on {row.place.name}" for row in held[1:])
    at_yard = f"{show(held[0].safety_stock, unit)} in {tree.warehouse.name}"
    if not promised:
        return (
            f"Keep {at_yard} for the supplier's {tree.lead_days} days and only {on_board} until the next "
            f"look: holding all of it on board would cost {saving} a year more."
        )
    return (
        f"Keep {on_board}, which lasts until goods ordered have come through, and {at_yard}: with the usual "
        f"stock in the yard besides it would cost {saving} a year more."
    )
