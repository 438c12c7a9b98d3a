"""All kits that a warehouse gives out on a day: side by side, and as one list by bin."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from inventory.models import Place
from jobs.models import CrewDay, PickListPrint
from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import PullSheet, make_pull_sheets
from jobs.queries.sheet_lines import SheetLine


@dataclass
class BinLine:
    """One thing to fetch from one place, and for which crews. Quantities in millionths of `unit`."""

    place: str
    place_code: str
    container: str
    title: str
    material_code: str
    owner_code: str
    unit: str
    crews: dict[str, int] = field(default_factory=dict)
    note: str = ""
    caution: str = ""
    short_code: str = ""

    @property
    def quantity(self) -> int:
        return sum(self.crews.values())

    @property
    def key(self) -> str:
        return "|".join((self.place_code, self.container, self.material_code, self.owner_code, self.unit))


@dataclass(frozen=True)
class BinChange:
    """A line that is not as it was printed: `before` and `now` by crew, empty where it is not there."""

    line: BinLine
    before: dict[str, int]
    now: dict[str, int]

    @property
    def kind(self) -> str:
        if not self.before:
            return "new"
        return "changed" if self.now else "gone"

    @property
    def by_crew(self) -> list[tuple[str, int, int]]:
        """Whose amount is another one, what it was and what it is now; 0 where there is none."""
        crews = sorted({*self.before, *self.now})
        found = [(crew, self.before.get(crew, 0), self.now.get(crew, 0)) for crew in crews]
        return [(crew, was, now) for crew, was, now in found if was != now]


@dataclass(frozen=True)
class KitsOfDay:
    """What a warehouse gives out on one day.

    `changes` compares with the last list that was printed, whose number and moment are told; nothing where
    none was.
    """

    warehouse: str
    warehouse_code: str
    date: date
    sheets: list[PullSheet]
    lines: list[BinLine]
    printed_number: int = 0
    printed_at: datetime | None = None
    changes: list[BinChange] = field(default_factory=list)


def get_kits_of_day(*, warehouse: Place, date: date) -> KitsOfDay:
    """The kits of a warehouse's crews that are not settled, in the order of the crews' codes."""
    days = CrewDay.objects.filter(warehouse=warehouse, date=date).exclude(state=CrewDay.State.SETTLED)
    found = list(days.select_related("crew", "vehicle", "warehouse").order_by("crew__code"))
    sheets = make_pull_sheets(found)
    lines = gather_by_bin(sheets)
    last = PickListPrint.objects.filter(warehouse=warehouse, date=date).order_by("-number").first()
    return KitsOfDay(
        warehouse=warehouse.name,
        warehouse_code=warehouse.code,
        date=date,
        sheets=sheets,
        lines=lines,
        printed_number=last.number if last is not None else 0,
        printed_at=last.printed_at if last is not None else None,
        changes=list_changes(last.lines, lines) if last is not None else [],
    )


def gather_by_bin(sheets: Iterable[PullSheet]) -> list[BinLine]:
    """One list for whoever walks the shelves: by place, then container, then material."""
    found: dict[str, BinLine] = {}
    for sheet in sheets:
        for line in sheet.lines:
            for pick in line.picks if line.to_take else ():
                row = _as_bin_line(pick, line)
                row = found.setdefault(row.key, row)
                taken = row.crews.get(sheet.crew_code, 0)
                # A reel that serves several runs is fetched once, and gives as much as all of them take.
                row.crews[sheet.crew_code] = taken + pick.quantity
    return sorted(found.values(), key=lambda row: (row.place_code, row.container, row.title))


def describe_lines(lines: Iterable[BinLine]) -> list[dict[str, Any]]:
    """The lines as they are kept with a print, to be compared later."""
    return [
        {
            "key": line.key,
            "place": line.place,
            "title": line.title,
            "note": line.note,
            "crews": line.crews,
        }
        for line in lines
    ]


def list_changes(printed: list[dict[str, Any]], lines: Iterable[BinLine]) -> list[BinChange]:
    """What has come, changed and gone since a list was printed, by place."""
    before = {row["key"]: row for row in printed}
    now = {line.key: line for line in lines}
    found = [
        BinChange(line, before.get(key, {}).get("crews", {}), line.crews)
        for key, line in now.items()
        if before.get(key, {}).get("crews") != line.crews
    ]
    found += [BinChange(_from_print(row), row["crews"], {}) for key, row in before.items() if key not in now]
    return sorted(found, key=lambda change: change.line.key)


def _as_bin_line(pick: Pick, line: SheetLine) -> BinLine:
    return BinLine(
        place=pick.place,
        place_code=pick.place_code,
        container=pick.container,
        title=line.title,
        material_code=pick.material_code,
        owner_code=pick.owner_code,
        unit=pick.unit,
        note=pick.note,
        caution=pick.caution,
        short_code=pick.short_code,
    )


def _from_print(row: dict[str, Any]) -> BinLine:
    place_code, container, material, owner, unit = row["key"].split("|")
    return BinLine(row["place"], place_code, container, row["title"], material, owner, unit, note=row["note"])
