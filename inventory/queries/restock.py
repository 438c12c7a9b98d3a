"""What to order, when, how much, from whom, and why: from what is planned against what is there."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np
from scipy import stats

from inventory.calc.stock_projection import chance_of_shortage, cover_needed, projected_levels
from inventory.errors import BadInput
from inventory.models import Material, Party, Place, Requirement, SupplyTerms
from inventory.money import value_of
from inventory.queries.supply_areas import find_supply_areas, sum_usable_stock
from inventory.units import conversion_factor, format_millionths, unit_label

MILLION = 10**6
LONGEST_HORIZON_DAYS = 730


@dataclass(frozen=True)
class Need:
    """One planned use behind a line."""

    needed_date: date
    reference: str
    mean: int
    why: str


@dataclass(frozen=True)
class RestockLine:
    """One thing to order, led by when it runs out. Amounts in millionths of the stock unit or currency.

    `run_out_date` is the first day on which the wanted service is not met; `is_likely` tells whether it is
    then more likely short than not.
    """

    place: Place
    material: Material
    owner: Party
    run_out_date: date
    is_likely: bool
    order_by_date: date
    is_late: bool
    quantity: int
    terms: SupplyTerms | None
    cost: int | None
    chance_short: float
    on_hand: int
    needed: int
    comes_back: int
    needs: tuple[Need, ...]
    needs_at_risk: int
    why: str


@dataclass(frozen=True)
class RestockList:
    """The lines, soonest run-out first, and how many planned materials need nothing."""

    as_of: date
    horizon_days: int
    service: float
    lines: tuple[RestockLine, ...]
    enough: int


@dataclass(frozen=True)
class _Outlook:
    """One material's days in one supply area."""

    on_hand: int
    outflow: np.ndarray
    inflow: np.ndarray
    variances: np.ndarray
    requirements: tuple[Requirement, ...]


def list_restock(
    *,
    as_of: date,
    place: Place | None = None,
    horizon_days: int = 28,
    cover_days: int = 14,
    service: float = 0.95,
) -> RestockList:
    """Return what has to be ordered for the work planned within the horizon.

    A line says on which day the stock of a warehouse (with its bins and vehicles) would no longer do at
    the wanted service, the last day to order so that the supplier's lead time, at the same service, ends
    before it, and as much as covers the needs of `cover_days` from that day on, in the supplier's packs.

    Raises
    ------
    BadInput
        If the horizon or service is out of range.
    """
    if not 1 <= horizon_days <= LONGEST_HORIZON_DAYS or not 1 <= cover_days <= horizon_days:
        raise BadInput(f"Look 1 to {LONGEST_HORIZON_DAYS} days ahead and cover no more than that.")
    if not 0.5 <= service < 1:
        raise BadInput(f"A service of {service:g} cannot be aimed at; give 0.5 or more and less than 1.")
    areas = find_supply_areas(place)
    outlooks = _look_ahead(areas, as_of, horizon_days)
    terms = _terms_of({material.pk for _place, material, _owner in outlooks})
    lines = [
        _make_line(key, outlook, terms.get(key[1].pk, []), as_of, cover_days, service)
        for key, outlook in outlooks.items()
    ]
    found = [line for line in lines if line is not None]
    found.sort(key=lambda line: (line.run_out_date, line.order_by_date, line.material.code, line.place.code))
    return RestockList(as_of, horizon_days, service, tuple(found), enough=len(lines) - len(found))


def _look_ahead(
    areas: dict[int, Place], as_of: date, horizon_days: int
) -> dict[tuple[Place, Material, Party], _Outlook]:
    """Lay requirements and returns out by day, for each area, material and owner with any."""
    last = as_of + timedelta(days=horizon_days - 1)
    rows = Requirement.objects.filter(place__in=areas, needed_date__gte=as_of, needed_date__lte=last)
    grouped: dict[tuple[Place, Material, Party], list[Requirement]] = defaultdict(list)
    for row in rows.select_related("material__recovered_from", "owner", "returned_material").order_by(
        "needed_date", "pk"
    ):
        grouped[areas[row.place_id], row.material.recovered_from or row.material, row.owner].append(row)
    stock = sum_usable_stock(areas)
    return {
        key: _Outlook(
            on_hand=stock.get((key[0].pk, key[1].pk, key[2].pk), 0),
            requirements=tuple(requirements),
            **_by_day(requirements, key[1], as_of, horizon_days),
        )
        for key, requirements in grouped.items()
    }


def _by_day(
    requirements: Sequence[Requirement], material: Material, as_of: date, horizon_days: int
) -> dict[str, np.ndarray]:
    outflow, inflow, spread = np.zeros(horizon_days), np.zeros(horizon_days), np.zeros(horizon_days)
    for row in requirements:
        day = (row.needed_date - as_of).days
        factor = _factor(row.material, material)
        outflow[day] += row.mean * factor
        spread[day] += row.variance * (MILLION * factor) ** 2
        returned = row.returned_material
        if returned is None or row.returned_date is None or not _serves_again(returned, material):
            continue
        # What comes back in the evening is there for the next day's work.
        back = (row.returned_date - as_of).days + 1
        if back < horizon_days:
            factor = _factor(returned, material)
            inflow[back] += row.returned_mean * factor
            spread[back] += row.returned_variance * (MILLION * factor) ** 2
    return {"outflow": outflow, "inflow": inflow, "variances": np.cumsum(spread)}


def _serves_again(returned: Material, material: Material) -> bool:
    return material.pk in {returned.pk, returned.recovered_from_id}


def _factor(counted: Material, material: Material) -> float:
    """How many stock units of one material are one of the other: drums in litres, plans in gallons."""
    return float(conversion_factor(counted.stock_unit, material.stock_unit))


def _terms_of(material_ids: set[int]) -> dict[int, list[SupplyTerms]]:
    found: dict[int, list[SupplyTerms]] = defaultdict(list)
    for terms in SupplyTerms.objects.filter(material__in=material_ids).select_related("supplier"):
        found[terms.material_id].append(terms)
    return found


def _make_line(
    key: tuple[Place, Material, Party],
    outlook: _Outlook,
    terms: list[SupplyTerms],
    as_of: date,
    cover_days: int,
    service: float,
) -> RestockLine | None:
    place, material, owner = key
    levels = projected_levels(on_hand=outlook.on_hand, outflow=outlook.outflow, inflow=outlook.inflow)
    step = MILLION if material.stock_unit == "1" else 0
    lacking = cover_needed(levels=levels, variances=outlook.variances, service=service, step=step)
    days_lacking = np.flatnonzero(np.round(lacking) > 0)
    if not len(days_lacking):
        return None
    first = int(days_lacking[0])
    upto = min(first + cover_days, len(levels))
    chosen = _choose_terms(terms, first, service) if owner.is_company else None
    quantity = _round_to_pack(ceil(lacking[:upto].max()), material, chosen)
    run_out = as_of + timedelta(days=first)
    order_by = run_out - timedelta(days=_days_to_come(chosen, service) if chosen else 0)
    return RestockLine(
        place=place,
        material=material,
        owner=owner,
        run_out_date=run_out,
        is_likely=bool(levels[first] < 0),
        order_by_date=order_by,
        is_late=order_by < as_of,
        quantity=quantity,
        terms=chosen,
        cost=value_of(quantity=quantity, unit_cost=chosen.unit_cost) if chosen else None,
        chance_short=float(
            chance_of_shortage(levels=levels[:upto], variances=outlook.variances[:upto], step=step).max()
        ),
        on_hand=outlook.on_hand,
        needed=int(outlook.outflow[:upto].sum()),
        comes_back=int(outlook.inflow[:upto].sum()),
        needs=tuple(Need(row.needed_date, row.reference, row.mean, row.why) for row in outlook.requirements),
        needs_at_risk=len({row.reference for row in outlook.requirements if row.needed_date >= run_out}),
        why=_why(outlook, material, owner, chosen, as_of, first, upto, service),
    )


def _choose_terms(terms: list[SupplyTerms], days_left: int, service: float) -> SupplyTerms | None:
    """Take the cheapest supplier that still delivers in time, else the quickest."""
    in_time = [row for row in terms if _days_to_come(row, service) <= days_left]
    if in_time:
        return min(in_time, key=lambda row: (row.unit_cost, row.lead_time_days, row.supplier.code))
    return min(terms, key=lambda row: (_days_to_come(row, service), row.unit_cost), default=None)


def _days_to_come(terms: SupplyTerms, service: float) -> int:
    """Whole days within which the goods are here at the wanted service."""
    return ceil(terms.lead_time_days + float(stats.norm.ppf(service)) * terms.lead_time_sd_days)


def _round_to_pack(quantity: int, material: Material, terms: SupplyTerms | None) -> int:
    pack = terms.pack if terms else (MILLION if material.stock_unit == "1" else 1)
    wanted = max(quantity, terms.minimum if terms else 0)
    return -(-wanted // pack) * pack


def _why(
    outlook: _Outlook,
    material: Material,
    owner: Party,
    terms: SupplyTerms | None,
    as_of: date,
    first: int,
    upto: int,
    service: float,
) -> str:
    unit = material.stock_unit

    def show(amount: float) -> str:
        return _show(amount, unit)

    last = as_of + timedelta(days=upto - 1)
    uses = len({row.reference for row in outlook.requirements if row.needed_date <= last})
    back = outlook.inflow[:upto].sum()
    returns = f", {show(back)} of it back in time to serve again" if back else ""
    margin = float(stats.norm.ppf(service)) * float(np.sqrt(outlook.variances[:upto].max()))
    # Half a piece is no margin: whoever keeps one for bad days keeps it whole.
    margin = ceil(margin / MILLION) * MILLION if unit == "1" else margin
    spare = f", and {show(margin)} should be left for days that take more" if round(margin) else ""
    sentence = (
        f"{show(outlook.on_hand)} on hand; {'1 planned use' if uses == 1 else f'{uses} planned uses'} "
        f"until {last:%d %b} {'takes' if uses == 1 else 'take'} "
        f"{show(outlook.outflow[:upto].sum())}{returns}{spare}"
    )
    if not owner.is_company:
        return f"{sentence}. Furnished by {owner.name}: ask them for it."
    if terms is None:
        return f"{sentence}. No supplier's terms are known for it."
    days = _days_to_come(terms, service)
    return f"{sentence}. {terms.supplier.name} needs up to {days} {'day' if days == 1 else 'days'}."


def _show(amount: float, unit: str) -> str:
    """Write an amount for a sentence: to a hundredth at the finest, pieces without their unit."""
    rounded = format_millionths(round(amount / 10_000) * 10_000, unit)
    return rounded.removesuffix(f" {unit_label('1')}") if unit == "1" else rounded
