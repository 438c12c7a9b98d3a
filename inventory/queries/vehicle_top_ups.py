"""What goes from a warehouse onto its vehicles, so that each has what it usually takes until the next look.

Minimum and maximum are set by hand in a policy of vehicle and material, or follow from what was used off the
vehicle: the minimum reaches what is aimed at (chance of not running short, share filled or least cost) until
the next look, and for as long as the warehouse may make it wait where stock is better kept on board; the
maximum is a look's mean use more. What is scheduled is not topped up: kits bring it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import ceil

import numpy as np

from inventory.calc.back_testing import LEAST_FORESEEN_FROM, back_tested_rates, demand_spreads
from inventory.calc.stock_levels import demands_over_lead_time, plan_levels
from inventory.models import Material, Party, Place
from inventory.queries.demand_history import DemandHistory, load_demand_history
from inventory.queries.order_terms import DAYS_A_WEEK, unit_cost_of
from inventory.queries.restock_plans import aimed_shares
from inventory.queries.stock_placement import cheapest_offers, holding_rate_on_board, list_placements
from inventory.queries.stock_policies import Aim, Aims, load_aims
from inventory.queries.supply_areas import find_recovered_forms, sum_usable_stock
from inventory.units import MILLION

HISTORY_WEEKS = 52


@dataclass(frozen=True)
class TopUp:
    """So much of a material from a warehouse onto a vehicle, in millionths of the stock unit.

    `quantity` is what would fill the vehicle up; `at_hand` is what the warehouse has of it.
    """

    warehouse: Place
    vehicle: Place
    material: Material
    on_vehicle: int
    minimum: int
    maximum: int
    quantity: int
    at_hand: int


def list_top_ups(*, as_of: date, place: Place | None = None, service: float = 0.95) -> list[TopUp]:
    """Return what to put on the vehicles of a warehouse or of all, by vehicle and material.

    As many queries for any number of vehicles.
    """
    vehicles = Place.objects.filter(
        kind=Place.Kind.VEHICLE, is_withdrawn=False, parent__kind=Place.Kind.WAREHOUSE
    ).select_related("parent")
    homes = {row.pk: row for row in vehicles if place is None or row.parent_id == place.pk}
    company = Party.objects.filter(is_company=True).first()
    if not homes or company is None:
        return []
    aims = load_aims(service=service)
    forms = find_recovered_forms()
    history = load_demand_history(
        {key: key for key in homes}, before=as_of, weeks=HISTORY_WEEKS, fresh_forms=forms
    )
    placements = list_placements(as_of=as_of, place=place, service=service)
    waits = {
        (there.place.pk, row.material.pk): row.promised_days for row in placements for there in row.held[1:]
    }
    levels = _usual_levels(history, company.pk, aims, waits, homes)
    for vehicle, material in aims.set_by_hand():
        aim = aims.of(vehicle, material)
        # Recovered fluid counts as the fresh one that it serves as, so it has no levels of its own.
        if vehicle not in homes or material in forms:
            continue
        if aim.minimum_level is not None and aim.maximum_level is not None:
            levels[vehicle, material] = aim.minimum_level, aim.maximum_level
    materials = Material.objects.in_bulk({material for _vehicle, material in levels})
    held = sum_usable_stock(_nodes(homes))
    found = []
    for (vehicle, material), (least, most) in levels.items():
        there = held.get((vehicle, material, company.pk), 0)
        if there > least or not most:
            continue
        home = homes[vehicle].parent
        assert home is not None
        at_hand = held.get((home.pk, material, company.pk), 0)
        found.append(
            TopUp(home, homes[vehicle], materials[material], there, least, most, most - there, at_hand)
        )
    return sorted(found, key=lambda row: (row.warehouse.code, row.vehicle.code, row.material.code))


def _usual_levels(
    history: DemandHistory,
    company: int,
    policies: Aims,
    waits: Mapping[tuple[int, int], int],
    homes: Mapping[int, Place],
) -> dict[tuple[int, int], tuple[int, int]]:
    """Minimum and maximum of what is used off each vehicle, from its own weeks."""
    keys = [
        (key, row)
        for key, row in history.rows.items()
        if key[2] == company and (~np.isnan(history.used[row])).sum() >= LEAST_FORESEEN_FROM
    ]
    if not keys:
        return {}
    used = history.used[[row for _key, row in keys]] / MILLION
    materials = Material.objects.in_bulk({key[1] for key, _row in keys})
    offers = cheapest_offers(materials)
    aims = [_aim_on_board(policies, homes[key[0]], key[1]) for key, _row in keys]
    prices = [unit_cost_of(materials[key[1]], offers.get(key[1])) for key, _row in keys]
    share, is_fill_rate = aimed_shares(aims, prices)
    review = np.array([aim.review_days / DAYS_A_WEEK for aim in aims])
    rates, spreads = back_tested_rates(used).rates, demand_spreads(used)
    is_whole = np.array([materials[key[1]].stock_unit == "1" for key, _row in keys])
    none = np.zeros(len(keys))
    wait = np.array([waits.get((key[0], key[1]), 0) / DAYS_A_WEEK for key, _row in keys])
    size = rates * review
    demands = demands_over_lead_time(
        rate=rates,
        sd=spreads,
        rate_error=none,
        lead_time=wait,
        lead_time_sd=none,
        review_period=review,
        is_whole=is_whole,
    )
    plan = plan_levels(
        demands=demands,
        order_quantity=np.where(is_whole, np.maximum(np.ceil(size), 1.0), np.maximum(size, 1e-6)),
        share=share,
        is_fill_rate=is_fill_rate,
    )
    found = {}
    for number, (key, _row) in enumerate(keys):
        # A share of what is wanted may be reached with nothing left; a truck holds no less than that.
        least = max(0.0, float(plan.reorder_point[number]))
        most = least + float(size[number])
        most = ceil(most) if is_whole[number] else most
        found[key[0], key[1]] = round(least * MILLION), round(most * MILLION)
    return found


def _aim_on_board(policies: Aims, vehicle: Place, material: int) -> Aim:
    """What is aimed at on a vehicle, where holding costs more than in the yard unless its policy says so."""
    assert vehicle.parent is not None
    rate = holding_rate_on_board(policies, vehicle.parent, vehicle, material)
    return replace(policies.of(vehicle.pk, material), holding_cost_rate=rate)


def _nodes(homes: Mapping[int, Place]) -> dict[int, Place]:
    """Whose stock a place's is: each vehicle's its own, a bin's that of its warehouse."""
    nodes = dict(homes)
    for vehicle in homes.values():
        assert vehicle.parent is not None
        nodes[vehicle.parent.pk] = vehicle.parent
    bins = Place.objects.filter(kind=Place.Kind.BIN, parent__in=list(nodes)).select_related("parent")
    return nodes | {row.pk: row.parent for row in bins if row.parent is not None}
