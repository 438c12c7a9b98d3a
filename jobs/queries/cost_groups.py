"""A job's cost by month of booking and by crew, with the materials behind each sum."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.db.models import QuerySet, Sum

from inventory.models import Entry, Material, Party
from jobs.models import CrewDay, FieldReport
from jobs.models.balance import DOCUMENT_PREFIX
from jobs.queries.job_places import in_parts, list_ends
from jobs.queries.statement import Amounts, StatedMaterial, state_lines

Name = TypeVar("Name")

# SQLite takes some 32,000 values in one statement.
IDS_AT_ONCE = 10_000
# Amounts by the keys of material and owner.
Sums = dict[tuple[int, int], Amounts]
# Material, owner, purpose, sign, quantity, value.
Row = tuple[int, int, str, int, int, int]


@dataclass(frozen=True)
class CostGroup(Generic[Name]):
    """What a month, or a crew, brought to a job; goods of others by quantity only."""

    name: Name
    materials: list[StatedMaterial]

    @property
    def cost(self) -> int:
        return sum(line.amounts.cost for line in self.materials)


def group_cost(places: Sequence[int]) -> tuple[list[CostGroup[date]], list[CostGroup[str]]]:
    """By month of booking, and by the crew whose report, or whose day's balance, brought it.

    What came otherwise stands under no name. The entries are looked up by their keys: in a join, a database
    that overrates how many movements the places have reads the whole book of entries.
    """
    by_entry = _sum_by_entry(places)
    entries = [
        row
        for part in in_parts(sorted(by_entry))
        for row in Entry.objects.filter(pk__in=part).values_list("pk", "booked_date", "document")
    ]
    crews = find_crews_of({document for _key, _booked, document in entries})
    months: dict[date, Sums] = defaultdict(lambda: defaultdict(Amounts))
    by_crew: dict[str, Sums] = defaultdict(lambda: defaultdict(Amounts))
    for key, booked, document in entries:
        groups = months[booked.replace(day=1)], by_crew[crews.get(document, "")]
        for material, owner, purpose, sign, quantity, value in by_entry[key]:
            for sums in groups:
                sums[material, owner].add_movement(purpose, sign, quantity, value)
    keys = {key for sums in months.values() for key in sums}
    materials = Material.objects.in_bulk([material for material, _owner in keys])
    owners = Party.objects.in_bulk([owner for _material, owner in keys])
    return (
        [CostGroup(month, state_lines(months[month].items(), materials, owners)) for month in sorted(months)],
        [CostGroup(crew, state_lines(by_crew[crew].items(), materials, owners)) for crew in sorted(by_crew)],
    )


def _sum_by_entry(places: Sequence[int]) -> dict[int, list[Row]]:
    by_entry: dict[int, list[Row]] = defaultdict(list)
    for sign, movements in list_ends(places):
        rows = movements.values_list("entry", "material", "owner", "purpose")
        for entry, material, owner, purpose, quantity, value in rows.annotate(Sum("quantity"), Sum("value")):
            by_entry[entry].append((material, owner, purpose, sign, int(quantity), int(value)))
    return by_entry


def find_crews_of(documents: set[str]) -> dict[str, str]:
    """The crew behind each document that is a crew's report or a day's balance; others are left out."""
    reports = FieldReport.objects.values_list("uuid", "crew_day__crew__code")
    days = CrewDay.objects.values_list("pk", "crew__code")
    crews = _find_crews(reports, "report:", UUID, documents)
    return crews | _find_crews(days, DOCUMENT_PREFIX, _read_key, documents)


def _find_crews(
    rows: QuerySet[Any, tuple[Any, str]], prefix: str, read: Callable[[str], Any], documents: Iterable[str]
) -> dict[str, str]:
    """Crew by document. A document is free text: one that only looks like ours names no crew."""
    ids: dict[Any, str] = {}
    for document in documents:
        if document.startswith(prefix):
            try:
                ids[read(document.removeprefix(prefix))] = document
            except ValueError:
                continue
    found: dict[str, str] = {}
    keys, column = list(ids), "uuid" if read is UUID else "pk"
    for first in range(0, len(keys), IDS_AT_ONCE):
        for key, crew in rows.filter(**{f"{column}__in": keys[first : first + IDS_AT_ONCE]}):
            found[ids[key]] = crew
    return found


def _read_key(text: str) -> int:
    """The key of one of our rows; what no database could hold is none."""
    key = int(text)
    if not 0 < key < 2**63:
        raise ValueError(f"{key} is no key")
    return key
