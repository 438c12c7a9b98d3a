"""Everything a restock list is made from, read in a number of queries that does not grow with materials."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil

import numpy as np
import numpy.typing as npt

from inventory.calc.shortage_chances import Receipt
from inventory.calc.standing_work import PlannedUse
from inventory.models import (
    Container,
    Holding,
    Material,
    Party,
    Place,
    Requirement,
    SupplierTerms,
    SupplyTerms,
)
from inventory.queries.demand_history import load_demand_history
from inventory.queries.expected_receipts import ExpectedReceipt, list_expected_receipts
from inventory.queries.lead_times import find_lead_times, prior_spread
from inventory.queries.passing_shares import PassingShares, find_passing_shares
from inventory.queries.prices import with_breaks
from inventory.queries.stock_policies import Aim, Aims
from inventory.queries.supply_areas import (
    MaterialRange,
    find_supply_areas,
    select_materials,
    sum_usable_stock,
)
from inventory.units import MILLION, conversion_factor

Floats = npt.NDArray[np.float64]
Key = tuple[int, int, int]
HISTORY_WEEKS = 104
# Enough for a law over all materials, few enough to be read with every chunk.
POOLED_SERIES = 500
STATES_ON_THE_WAY = (
    Container.ContentsState.CAUGHT,
    Container.ContentsState.STRAINED,
    Container.ContentsState.TESTED,
)


@dataclass(frozen=True)
class Scope:
    """Which materials of which warehouses are looked at, as of when and how far ahead."""

    areas: Mapping[int, Place]
    as_of: date
    days: int
    aims: Aims
    recovered: Mapping[int, tuple[int, float]]
    materials: MaterialRange | None = None


@dataclass
class RestockFacts:
    """What is known of each material of an owner in a warehouse's area, by row. Amounts in stock units.

    scheduled_out, scheduled_back and scheduled_variance are by day; history by week, oldest first, NaN before
    the first use; `pool` is that of materials from all over the company, from which the others learn.
    """

    scope: Scope
    keys: list[Key]
    places: dict[int, Place]
    materials: dict[int, Material]
    owners: dict[int, Party]
    aims: list[Aim]
    on_hand: list[int]
    requirements: dict[int, list[Requirement]]
    expected: dict[int, list[ExpectedReceipt]]
    terms: dict[int, list[SupplyTerms]]
    order_costs: dict[int, int]
    history: Floats
    pool: Floats
    scheduled_out: Floats
    scheduled_back: Floats
    scheduled_variance: Floats
    receipts: list[Receipt] = field(default_factory=list)

    def of(self, row: int) -> tuple[Place, Material, Party]:
        """Whose row it is."""
        place, material, owner = self.keys[row]
        return self.places[place], self.materials[material], self.owners[owner]

    def expected_of(self, row: int) -> int:
        """All that is on its way, in millionths of its stock unit."""
        material = self.of(row)[1]
        return sum(
            receipt.quantity
            if receipt.material.stock_unit == material.stock_unit
            else round(receipt.quantity * factor_between(receipt.material, material))
            for receipt in self.expected.get(row, [])
        )

    @property
    def is_whole(self) -> npt.NDArray[np.bool_]:
        return np.array([self.materials[key[1]].stock_unit == "1" for key in self.keys], dtype=bool)

    @property
    def is_ours(self) -> npt.NDArray[np.bool_]:
        return np.array([self.owners[key[2]].is_company for key in self.keys], dtype=bool)


def load_facts(scope: Scope, pool: Floats | None = None) -> RestockFacts:
    """Read requirements, use, stock, receipts and terms of all materials needed, used or levelled by hand.

    `pool` is that of other facts as of the same day, so that it need not be read again.
    """
    requirements = _requirements(scope)
    history = load_demand_history(
        {key: place.pk for key, place in scope.areas.items()},
        before=scope.as_of,
        weeks=HISTORY_WEEKS,
        materials=scope.materials,
        fresh_forms=scope.recovered,
    )
    company = Party.objects.filter(is_company=True).first()
    keys = set(requirements)
    # What others furnish is asked for as their jobs take it: nobody's past use says that they will again.
    keys |= {key for key in history.rows if company is not None and key[2] == company.pk}
    if company is not None:
        warehouses = {place.pk for place in scope.areas.values()}
        keys |= {
            (place, material, company.pk)
            for place, material in scope.aims.set_by_hand()
            if place in warehouses and (scope.materials is None or material in scope.materials)
        }
    pool = _load_pool(scope) if pool is None else pool
    return _gather(scope, sorted(keys), requirements, history.rows, history.used, pool)


def factor_between(counted: Material, material: Material) -> float:
    """How many stock units of one material are one of the other: drums in litres, plans in gallons."""
    return float(conversion_factor(counted.stock_unit, material.stock_unit))


def _gather(
    scope: Scope,
    keys: list[Key],
    requirements: dict[Key, list[Requirement]],
    history_rows: dict[Key, int],
    used: Floats,
    pool: Floats,
) -> RestockFacts:
    rows = {key: row for row, key in enumerate(keys)}
    materials = Material.objects.in_bulk({key[1] for key in keys})
    stock = sum_usable_stock(dict(scope.areas), scope.materials)
    history = np.full((len(keys), HISTORY_WEEKS), np.nan)
    for key, row in rows.items():
        if key in history_rows:
            history[row] = used[history_rows[key]] / MILLION
    shape = (len(keys), scope.days)
    terms: dict[int, list[SupplyTerms]] = defaultdict(list)
    for found in _find_terms(materials):
        terms[found.material_id].append(found)
    facts = RestockFacts(
        scope=scope,
        keys=keys,
        places={place.pk: place for place in scope.areas.values()},
        materials=materials,
        owners=Party.objects.in_bulk({key[2] for key in keys}),
        aims=[scope.aims.of(key[0], key[1]) for key in keys],
        on_hand=[stock.get(key, 0) for key in keys],
        requirements={rows[key]: found for key, found in requirements.items()},
        expected=defaultdict(list),
        terms=terms,
        order_costs=dict(SupplierTerms.objects.values_list("supplier", "order_cost")),
        history=history,
        pool=pool,
        scheduled_out=np.zeros(shape),
        scheduled_back=np.zeros(shape),
        scheduled_variance=np.zeros(shape),
    )
    for row, planned in facts.requirements.items():
        _lay_out(facts, row, planned)
    _expect_receipts(facts, rows)
    _expect_recoveries(facts, rows)
    return facts


def _load_pool(scope: Scope) -> Floats:
    """Use of materials spread evenly over all there are, in all warehouses: the same for every chunk.

    What one series alone does not tell is learnt from these, so that a material's policy does not depend on
    which others happened to be reckoned with it.
    """
    areas = find_supply_areas()
    keys = Material.objects.filter(recovered_from__isnull=True).order_by("pk").values_list("pk", flat=True)
    known = list(keys)
    every = max(1, len(known) * len({place.pk for place in areas.values()}) // POOLED_SERIES)
    chosen = set(known[::every])
    forms = {key for key, (fresh, _factor) in scope.recovered.items() if fresh in chosen}
    history = load_demand_history(
        {key: place.pk for key, place in areas.items()},
        before=scope.as_of,
        weeks=HISTORY_WEEKS,
        materials=frozenset(chosen | forms),
        fresh_forms=scope.recovered,
    )
    company = Party.objects.filter(is_company=True).first()
    ours = [row for key, row in history.rows.items() if company is not None and key[2] == company.pk]
    return history.used[ours] / MILLION


def _find_terms(materials: Mapping[int, Material]) -> list[SupplyTerms]:
    """Terms with their breaks; where deliveries have taught how long they take, with that in their place."""
    # One object for each supplier, not for each of its terms.
    rows = SupplyTerms.objects.filter(material__in=list(materials)).prefetch_related("supplier")
    terms = list(with_breaks(rows))
    lead_times = find_lead_times(terms)
    for row in terms:
        learnt = lead_times[row.pk]
        if learnt.deliveries:
            row.lead_time_days, row.lead_time_sd_days = learnt.mean_days, learnt.sd_days
    return terms


def _requirements(scope: Scope) -> dict[Key, list[Requirement]]:
    """What is planned until the last day. What is still planned for a day gone by is due today.

    Its day was neither settled nor called off: either the work is still to be done, or it was done and is not
    reported, and then the book still has on hand what it took.
    """
    last = scope.as_of + timedelta(days=scope.days - 1)
    rows = Requirement.objects.filter(
        select_materials(scope.materials), place__in=list(scope.areas), needed_date__lte=last
    )
    grouped: dict[Key, list[Requirement]] = defaultdict(list)
    for row in rows.select_related("material", "returned_material").order_by("needed_date", "pk"):
        material = row.material.recovered_from_id or row.material_id
        grouped[scope.areas[row.place_id].pk, material, row.owner_id].append(row)
    return dict(grouped)


def _lay_out(facts: RestockFacts, row: int, planned: list[Requirement]) -> None:
    """By day: what is taken, what comes back so that it can serve again, and how uncertain both are."""
    for need in planned:
        use = as_planned_use(facts, row, need)
        facts.scheduled_out[row, use.day] += use.mean
        facts.scheduled_variance[row, use.day] += use.variance
        if need.returned_mean:
            facts.scheduled_back[row] += np.diff(use.back, prepend=0.0)
            facts.scheduled_variance[row] += np.diff(use.back_variance, prepend=0.0)


def as_planned_use(facts: RestockFacts, row: int, need: Requirement) -> PlannedUse:
    """A requirement in stock units of its row's material and in days from today on; see `_requirements`."""
    material, aim, as_of = facts.materials[facts.keys[row][1]], facts.aims[row], facts.scope.as_of
    overdue = max(0, (as_of - need.needed_date).days)
    day, factor = (need.needed_date - as_of).days + overdue, factor_between(need.material, material)
    mean, variance = need.mean / MILLION * factor, need.variance * factor**2
    back, none = need.returned_material, np.zeros(facts.scope.days)
    if back is None or need.returned_date is None or material.pk not in {back.pk, back.recovered_from_id}:
        return PlannedUse(day, mean, variance, none, none)
    factor = factor_between(back, material)
    amount = need.returned_mean / MILLION * factor
    due = (need.returned_date - as_of).days + overdue + ceil(aim.return_lag_days)
    coming = Receipt(0, due, aim.return_lag_sd_days, amount).chances(facts.scope.days)
    # Its amount is uncertain, and so is on which day it can be used.
    spread = need.returned_variance * factor**2 * coming + amount**2 * coming * (1 - coming)
    return PlannedUse(day, mean, variance, amount * coming, spread)


def _expect_receipts(facts: RestockFacts, rows: dict[Key, int]) -> None:
    scope = facts.scope
    for receipt in list_expected_receipts(scope.areas, as_of=scope.as_of, materials=scope.materials):
        material = receipt.material.recovered_from_id or receipt.material.pk
        row = rows.get((receipt.place.pk, material, receipt.owner.pk))
        if row is None:
            continue
        factor = factor_between(receipt.material, facts.materials[material])
        facts.expected[row].append(receipt)
        facts.receipts.append(
            Receipt(
                row,
                (receipt.due_date - scope.as_of).days,
                receipt.lateness_sd_days,
                receipt.quantity / MILLION * factor,
            )
        )


def _expect_recoveries(facts: RestockFacts, rows: dict[Key, int]) -> None:
    """Fluid caught and not yet fit is supply once the company has said how long making it fit takes.

    Each vessel becomes fit as a whole or not at all, as often as tests have passed, and by a day that is as
    uncertain as the company says, or as a lead time is of which no spread is stated.
    """
    scope = facts.scope
    held = list(
        Holding.objects.filter(
            select_materials(scope.materials),
            place__in=list(scope.areas),
            quantity__gt=0,
            material__recovered_from__isnull=False,
            container__contents_state__in=STATES_ON_THE_WAY,
        )
        .exclude(container__state=Container.State.HELD)
        .select_related("material__recovered_from")
    )
    passing = find_passing_shares() if held else PassingShares()
    for holding in held:
        fresh = holding.material.recovered_from
        assert fresh is not None
        row = rows.get((scope.areas[holding.place_id].pk, fresh.pk, holding.owner_id))
        if row is None or not facts.aims[row].is_lag_set:
            continue
        aim, factor = facts.aims[row], factor_between(holding.material, fresh)
        facts.receipts.append(
            Receipt(
                row,
                aim.return_lag_days,
                aim.return_lag_sd_days or prior_spread(aim.return_lag_days),
                holding.quantity / MILLION * factor,
                passing.of(holding.material_id),
            )
        )
