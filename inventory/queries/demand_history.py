"""What was used week by week, as forecasts are made from it.

Use is what goes from our stock into work, waste or conversion, less what comes back from there. It is read
from the weeks rolled up so far and, for what was posted since, from the movements themselves: so it is
complete at any moment, and the roll-up only makes it quick.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.db.models import Q, QuerySet

from inventory.models import DemandCursor, DemandWeek, Movement, Place, Seal, Unsealed
from inventory.queries.company import get_company
from inventory.queries.supply_areas import Chosen, select_materials

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
UseOfWeek = tuple[int, int, int, date, int]


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
    places: Iterable[int], *, since: date, before: date, materials: Chosen = None
) -> list[UseOfWeek]:
    """Use by place, material, owner and week, of weeks from `since` on and before `before`.

    A week may come twice: as it was rolled up, and with what was posted since. Read again where something
    was rolled up in between, which would be missed or counted twice.
    """
    keys = frozenset(places)
    for _ in range(READ_AGAIN):
        cursor = _cursor()
        found = _rolled_up(keys, since, before, materials)
        found += [
            (*key, amount)
            for key, amount in sum_demand(_not_rolled_up(cursor, materials)).items()
            if key[0] in keys and since <= key[3] < before
        ]
        if _cursor() == cursor:
            break
    return found


def load_demand_history(
    owners: Mapping[int, int],
    *,
    before: date,
    weeks: int,
    materials: Chosen = None,
    fresh_forms: Mapping[int, tuple[int, float]] | None = None,
) -> DemandHistory:
    """Use of the last whole weeks before a day, by the warehouse whose stock it was.

    `owners` names, by key of each stock place, the key of its warehouse; `fresh_forms`, by key of a recovered
    material, that of the fresh one whose need it serves and how many of its units one of its own is.
    """
    last = week_of(before)
    first = last - timedelta(weeks=weeks)
    found = list_demand(owners, since=first, before=last, materials=materials)
    if not found:
        return DemandHistory(first, {}, np.zeros((0, weeks)))
    place, material, party, week, amount = zip(*found, strict=True)
    forms = fresh_forms or {}
    at, warehouse = _looked_up(place, owners)
    of, fresh = _looked_up(material, {key: form[0] for key, form in forms.items()})
    _of, factor = _looked_up(material, {key: form[1] for key, form in forms.items()}, usual=1.0)
    by, owner = _looked_up(party, {})
    series = (at * len(fresh) + of) * len(owner) + by
    known, row = np.unique(series, return_inverse=True)
    keys = np.stack(
        [
            warehouse[known // (len(fresh) * len(owner))],
            fresh[known // len(owner) % len(fresh)],
            owner[known % len(owner)],
        ],
        axis=1,
    )
    rows: dict[tuple[int, int, int], int] = {}
    # Bins of one warehouse and both forms of a fluid are one series.
    merged = np.array([rows.setdefault((key[0], key[1], key[2]), len(rows)) for key in keys.tolist()])
    columns = {first + timedelta(weeks=number): number for number in range(weeks)}
    column = np.array([columns[monday] for monday in week])
    cell = merged[row] * weeks + column
    used = np.bincount(cell, weights=np.array(amount) * factor[of], minlength=len(rows) * weeks)
    return DemandHistory(first, rows, settle_use(used.reshape(len(rows), weeks).astype(np.float64)))


def _looked_up(
    values: Sequence[int], known: Mapping[int, Any], usual: float | None = None
) -> tuple[npt.NDArray[np.int_], npt.NDArray[Any]]:
    """For each value which of the distinct ones it is; and what these stand for, themselves without entry."""
    distinct, which = np.unique(np.array(values), return_inverse=True)
    return which, np.array(
        [known.get(value, value if usual is None else usual) for value in distinct.tolist()]
    )


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


def _rolled_up(places: frozenset[int], since: date, before: date, materials: Chosen) -> list[UseOfWeek]:
    rows = DemandWeek.objects.filter(place__in=places, week_date__gte=since, week_date__lt=before)
    rows = rows.filter(select_materials(materials))
    return list(rows.values_list("place_id", "material_id", "owner_id", "week_date", "used"))


def _not_rolled_up(cursor: int, materials: Chosen) -> QuerySet[Movement]:
    waiting = Unsealed.objects.filter(entry__isnull=False).values("entry")
    since = Seal.objects.filter(sequence__gt=cursor, entry__isnull=False).values("entry")
    return select_demand(
        # One set of entries and not two conditions: an index finds their movements, however many there are.
        Movement.objects.filter(select_materials(materials), entry__in=waiting.union(since))
    )


def settle_use(used: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Let what came back after its week lower the weeks before it; NaN before the first use."""
    carried = np.zeros(len(used))
    for week in range(used.shape[1] - 1, -1, -1):
        used[:, week] += carried
        carried = np.minimum(used[:, week], 0.0)
        used[:, week] = np.maximum(used[:, week], 0.0)
    has_begun = np.cumsum(used > 0, axis=1) > 0
    used[~has_begun] = np.nan
    return used
