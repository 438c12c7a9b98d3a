"""What was used week by week, as forecasts are made from it.

Use is what goes from our stock into work, waste or conversion, less what comes back from there. It is read
from the weeks rolled up so far and, for what was posted since, from the movements themselves: so it is
complete at any moment, and the roll-up only makes it quick.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.db.models import Q, QuerySet

from inventory.models import DemandCursor, DemandWeek, Movement, Place, Seal, Unsealed
from inventory.queries.company import get_company
from inventory.queries.supply_areas import select_materials

TAKING_KINDS = frozenset(
    {
        Place.Kind.JOB,
        Place.Kind.RUN,
        Place.Kind.SPAN,
        Place.Kind.WASTE,
        Place.Kind.PLANT,
        Place.Kind.PROCESS,
    }
)
READ_AGAIN = 5
Week = tuple[int, int, int, date]


@dataclass(frozen=True)
class DemandHistory:
    """Use of many materials by week, oldest first, in millionths of the unit of `used`'s material.

    `rows` says which row of `used` is whose: (place, material, owner). Weeks before the first use are NaN.
    """

    first_week: date
    rows: dict[tuple[int, int, int], int]
    used: npt.NDArray[np.float64]


def week_of(moment: datetime | date, zone: ZoneInfo | None = None) -> date:
    """The Monday of the week in which a moment lies where the company is."""
    day = moment.astimezone(zone).date() if isinstance(moment, datetime) else moment
    return day - timedelta(days=day.weekday())


def list_demand(
    places: Iterable[int], *, since: date, before: date, materials: tuple[int, int] | None = None
) -> dict[Week, int]:
    """Use by (place, material, owner, week) of weeks from `since` on and before `before`.

    Read again where something was rolled up in between, which would be missed or counted twice.
    """
    keys = frozenset(places)
    for _ in range(READ_AGAIN):
        cursor = _cursor()
        found = _rolled_up(keys, since, before, materials)
        for key, amount in sum_demand(_not_rolled_up(cursor, materials)).items():
            if key[0] in keys and since <= key[3] < before:
                found[key] = found.get(key, 0) + amount
        if _cursor() == cursor:
            break
    return found


def load_demand_history(
    owners: Mapping[int, int],
    *,
    before: date,
    weeks: int,
    materials: tuple[int, int] | None = None,
    fresh_forms: Mapping[int, tuple[int, float]] | None = None,
) -> DemandHistory:
    """Use of the last whole weeks before a day, by the warehouse whose stock it was.

    `owners` names, by key of each stock place, the key of its warehouse; `fresh_forms`, by key of a recovered
    material, that of the fresh one whose need it serves and how many of its units one of its own is.
    """
    last = week_of(before)
    first = last - timedelta(weeks=weeks)
    rows: dict[tuple[int, int, int], int] = {}
    cells: dict[tuple[int, int], float] = defaultdict(float)
    forms = fresh_forms or {}
    for (place, material, owner, week), amount in list_demand(
        owners, since=first, before=last, materials=materials
    ).items():
        fresh, factor = forms.get(material, (material, 1.0))
        row = rows.setdefault((owners[place], fresh, owner), len(rows))
        cells[row, (week - first).days // 7] += amount * factor
    used = np.zeros((len(rows), weeks))
    if cells:
        places, columns = np.array(list(cells)).T
        used[places, columns] = list(cells.values())
    return DemandHistory(first, rows, _settled(used))


def sum_demand(movements: QuerySet[Movement]) -> dict[Week, int]:
    """Add movements up to use by (place, material, owner, week)."""
    zone = ZoneInfo(get_company().time_zone)
    found: dict[Week, int] = defaultdict(int)
    stock, taking = Place.STOCK_KINDS, TAKING_KINDS
    for source, source_kind, target, target_kind, material, owner, quantity, moment in movements.values_list(
        "source_place", "source_place__kind", "target_place", "target_place__kind", "material", "owner",
        "quantity", "effective_at",
    ).iterator():  # fmt: skip
        if source_kind in stock and target_kind in taking:
            found[source, material, owner, week_of(moment, zone)] += quantity
        elif source_kind in taking and target_kind in stock:
            found[target, material, owner, week_of(moment, zone)] -= quantity
    return found


def select_demand(movements: QuerySet[Movement]) -> QuerySet[Movement]:
    """Those movements that take goods into work or bring them back from it."""
    stock, taking = list(Place.STOCK_KINDS), list(TAKING_KINDS)
    return movements.filter(
        Q(source_place__kind__in=stock, target_place__kind__in=taking)
        | Q(source_place__kind__in=taking, target_place__kind__in=stock),
        quantity__gt=0,
    )


def _cursor() -> int:
    return DemandCursor.objects.values_list("sequence", flat=True).first() or 0


def _rolled_up(
    places: frozenset[int], since: date, before: date, materials: tuple[int, int] | None
) -> dict[Week, int]:
    rows = DemandWeek.objects.filter(place__in=places, week_date__gte=since, week_date__lt=before)
    rows = rows.filter(select_materials(materials))
    columns = ("place_id", "material_id", "owner_id", "week_date", "used")
    return {row[:4]: row[4] for row in rows.values_list(*columns).iterator(chunk_size=20_000)}


def _not_rolled_up(cursor: int, materials: tuple[int, int] | None) -> QuerySet[Movement]:
    waiting = Unsealed.objects.filter(entry__isnull=False).values("entry")
    since = Seal.objects.filter(sequence__gt=cursor, entry__isnull=False).values("entry")
    return select_demand(
        Movement.objects.filter(Q(entry__in=waiting) | Q(entry__in=since), select_materials(materials))
    )


def _settled(used: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Let what came back after its week lower the weeks before it; NaN before the first use."""
    carried = np.zeros(len(used))
    for week in range(used.shape[1] - 1, -1, -1):
        used[:, week] += carried
        carried = np.minimum(used[:, week], 0.0)
        used[:, week] = np.maximum(used[:, week], 0.0)
    has_begun = np.cumsum(used > 0, axis=1) > 0
    used[~has_begun] = np.nan
    return used
