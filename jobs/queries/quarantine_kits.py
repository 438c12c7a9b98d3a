"""Kits that are short of what a quarantine holds back, as their sheets stand now."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet

from inventory.models import Container, Holding, Place, Quarantine
from jobs.models import CrewDay
from jobs.queries.kit_stock import to_unit
from jobs.queries.pull_sheet import make_pull_sheets
from jobs.queries.sheet_lines import SheetLine

# Plans further ahead have time to be served by what is ordered.
DAYS_AHEAD = 14
Contents = Container.ContentsState
# What else stands in a vessel would serve no kit if it were given free.
WOULD_SERVE = (Contents.FRESH, Contents.FIT)


@dataclass(frozen=True)
class ShortKit:
    """A line of a crew-day that is short, and what of it is held back where that crew is served from.

    Quantities in millionths of the line's unit. `held` may serve one of several kits that name it.
    """

    crew_day: CrewDay
    line: SheetLine
    held: int
    containers: list[str]

    @property
    def short_by_it(self) -> int:
        """What the kit would not be short of if the quarantine were lifted for it."""
        return min(self.line.short, self.held)


def list_short_kits(quarantine: Quarantine, days: QuerySet[CrewDay], *, as_of: date) -> list[ShortKit]:
    """Say which of these days' kits are short because of a quarantine that stands, by day and crew.

    Looked at are days not settled, from `as_of` on for a fortnight. A lifted quarantine makes nothing short.
    """
    held = _list_held(quarantine)
    if not held:
        return []
    near = days.filter(date__gte=as_of, date__lte=as_of + timedelta(days=DAYS_AHEAD))
    groups: dict[tuple[date, int], list[CrewDay]] = defaultdict(list)
    for day in near.exclude(state=CrewDay.State.SETTLED).order_by("date", "crew__code"):
        if any(_serves(row, day) for row in held):
            groups[day.date, day.warehouse_id].append(day)
    found = []
    for group in groups.values():
        for day, sheet in zip(group, make_pull_sheets(group, as_of=as_of), strict=True):
            found += [kit for line in sheet.shortages if (kit := _find_held(day, line, held)) is not None]
    return found


def _list_held(quarantine: Quarantine) -> list[Holding]:
    if not quarantine.is_open:
        return []
    rows = Holding.objects.filter(
        container__in=quarantine.holds.values("container"),
        container__state=Container.State.HELD,
        container__contents_state__in=WOULD_SERVE,
        place__kind__in=Place.STOCK_KINDS,
        quantity__gt=0,
    )
    return list(
        rows.select_related("place__parent__parent", "material__recovered_from", "owner", "container")
        .order_by("container__label", "key")
    )  # fmt: skip


def _serves(row: Holding, day: CrewDay) -> bool:
    """Whether goods lie in a day's warehouse or one of its bins, or on its truck."""
    here: Place | None = row.place
    while here is not None:
        if here.pk == day.vehicle_id:
            return True
        # A truck stands outside a warehouse though it belongs to one.
        if here.pk == day.warehouse_id:
            return row.place.kind != Place.Kind.VEHICLE
        here = here.parent
    return False


def _find_held(day: CrewDay, line: SheetLine, held: Iterable[Holding]) -> ShortKit | None:
    rows = [row for row in held if _is_of(row, line) and _serves(row, day)]
    total = sum(_usable(row, line.unit) for row in rows)
    if total <= 0:
        return None
    return ShortKit(day, line, total, [row.container.label for row in rows if row.container is not None])


def _is_of(row: Holding, line: SheetLine) -> bool:
    """Whether these are goods of the line, or their recovered form."""
    fresh = row.material.recovered_from
    codes = {row.material.code, fresh.code if fresh is not None else row.material.code}
    return line.material_code in codes and line.owner_code == row.owner.code


def _usable(row: Holding, unit: str) -> int:
    assert row.container is not None
    return to_unit(max(row.quantity - row.container.heel_for(row.material), 0), row.material.stock_unit, unit)
