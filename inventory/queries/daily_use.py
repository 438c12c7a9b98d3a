"""What was used day by day of a stretch of weeks, and what of it was known by the end of each week."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from inventory.models import Movement, Place
from inventory.queries.company import get_company
from inventory.queries.demand_history import TAKING_KINDS, select_demand, settle_use, week_of
from inventory.queries.restock_facts import Floats
from inventory.queries.spread_factors import DAYS_A_WEEK
from inventory.queries.supply_areas import select_materials
from inventory.units import MILLION


@dataclass(frozen=True)
class _Part:
    """Taken of a row on a day, below nothing where brought back, and in which week that was recorded."""

    row: int
    day: int
    known_week: int
    amount: float


@dataclass(frozen=True)
class DailyUse:
    """Use of some rows in whole weeks, shape (n, days) in stock units; what came back lowers days before it.

    What was recorded only after the last week, as a history that was brought in later is, counts as known
    when it happened; `recorded_later` is its share of all that was taken, None where nothing was.
    """

    days: Floats
    weeks: Floats
    is_old: npt.NDArray[np.bool_]
    recorded_later: float | None
    _late: tuple[_Part, ...]

    def known_after(self, week: int) -> Floats:
        """Use by week as far as it was recorded by the end of a week, NaN before the first; (n, week + 1)."""
        known = self.weeks[:, : week + 1].copy()
        for part in self._late:
            if part.day // DAYS_A_WEEK <= week < part.known_week:
                known[part.row, part.day // DAYS_A_WEEK] -= part.amount
        used = settle_use(known)
        return np.where(self.is_old[:, np.newaxis], np.nan_to_num(used), used)


def load_daily_use(
    keys: npt.NDArray[np.int_],
    *,
    first: date,
    weeks: int,
    areas: Mapping[int, Place],
    recovered: Mapping[int, tuple[int, float]],
    is_old: npt.NDArray[np.bool_],
) -> DailyUse:
    """Read the movements of these rows (warehouse, material, owner) in so many weeks from a Monday on.

    `is_old` names the rows that were used before that, whose weeks without use are nothing instead of
    unknown.
    """
    raw, taken, later = np.zeros((len(keys), weeks * DAYS_A_WEEK)), 0.0, 0.0
    late = []
    for part in _read_parts(keys, first, weeks, areas, recovered):
        raw[part.row, part.day] += part.amount
        taken += max(part.amount, 0.0)
        if part.known_week >= weeks:
            later += max(part.amount, 0.0)
        elif part.known_week > part.day // DAYS_A_WEEK:
            late.append(part)
    by_week = raw.reshape(len(keys), weeks, DAYS_A_WEEK).sum(axis=2)
    days = np.nan_to_num(settle_use(raw))
    return DailyUse(days, by_week, is_old, later / taken if taken else None, tuple(late))


def _read_parts(
    keys: npt.NDArray[np.int_],
    first: date,
    weeks: int,
    areas: Mapping[int, Place],
    recovered: Mapping[int, tuple[int, float]],
) -> list[_Part]:
    zone = ZoneInfo(get_company().time_zone)
    rows = {(int(key[0]), int(key[1]), int(key[2])): row for row, key in enumerate(keys)}
    wanted = {key[1] for key in rows}
    wanted |= {form for form, (fresh, _factor) in recovered.items() if fresh in wanted}
    begins = datetime.combine(first, time.min, zone)
    ends = datetime.combine(first + timedelta(weeks=weeks), time.min, zone)
    movements = select_demand(
        Movement.objects.filter(
            select_materials(frozenset(wanted)), effective_at__gte=begins, effective_at__lt=ends
        )
    )
    found = []
    for source, source_kind, target, target_kind, material, owner, quantity, moment, recorded in (
        movements.values_list(
            "source_place", "source_place__kind", "target_place", "target_place__kind", "material", "owner",
            "quantity", "effective_at", "entry__recorded_at",
        ).iterator()
    ):  # fmt: skip
        is_taken = source_kind in Place.STOCK_KINDS and target_kind in TAKING_KINDS
        area = areas.get(source if is_taken else target)
        fresh, factor = recovered.get(material, (material, 1.0))
        row = None if area is None else rows.get((area.pk, fresh, owner))
        if row is None:
            continue
        day = (moment.astimezone(zone).date() - first).days
        known = (week_of(recorded, zone) - first).days // DAYS_A_WEEK
        amount = quantity / MILLION * factor
        found.append(_Part(row, day, known, amount if is_taken else -amount))
    return found
