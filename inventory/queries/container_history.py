"""What one container has been through: what went in and out, where it stood, what counts found in it."""

from dataclasses import dataclass

from django.db.models import Q, QuerySet

from inventory.models import Container, ContainerChange, CountReading, Entry, Holding, Movement
from inventory.queries.access import (
    Viewer,
    visible_changes,
    visible_holdings,
    visible_movements,
    visible_readings,
)

PAGE = 50


@dataclass(frozen=True)
class HistoryStep:
    """One entry as a container saw it: those of its lines that touch the container and the viewer sees."""

    entry: Entry
    movements: tuple[Movement, ...]
    changes: tuple[ContainerChange, ...]
    readings: tuple[CountReading, ...]


@dataclass(frozen=True)
class ContainerHistory:
    """Newest first; `next_before` is the key of the entry before which older ones go on, None at the end."""

    steps: list[HistoryStep]
    next_before: int | None


def list_contents_of(viewer: Viewer, container: Container) -> list[Holding]:
    """What it holds, of what the viewer sees; a lot may lie in several places."""
    rows = visible_holdings(viewer).filter(container=container)
    return list(rows.select_related("place__parent", "material", "owner").order_by("place__name", "key"))


def list_history(
    viewer: Viewer, container: Container, *, before: int | None = None, size: int = PAGE
) -> ContainerHistory:
    """Entries that touched a container, the newest first, a page at a time. Five questions, however many."""
    touching = Q(source_container=container) | Q(target_container=container) | Q(lot=container)
    movements = visible_movements(viewer).filter(touching)
    changes = visible_changes(viewer).filter(container=container)
    readings = visible_readings(viewer).filter(container=container)
    entries = Entry.objects.filter(
        Q(pk__in=movements.values("entry"))
        | Q(pk__in=changes.values("entry"))
        | Q(pk__in=readings.values("entry"))
    )
    if before is not None:
        entries = entries.filter(pk__lt=before)
    found = list(entries.select_related("actor", "reverses", "reversed_by").order_by("-pk")[: size + 1])
    shown = found[:size]
    ends = ("material", "source_place", "target_place", "source_container", "target_container")
    by_entry = (
        _gather(movements.select_related(*ends).order_by("line"), shown),
        _gather(changes.select_related("source_place", "target_place"), shown),
        _gather(readings.select_related("material", "place"), shown),
    )
    steps = [HistoryStep(entry, *(tuple(rows.get(entry.pk, ())) for rows in by_entry)) for entry in shown]
    return ContainerHistory(steps, shown[-1].pk if len(found) > size else None)


def _gather(rows: QuerySet, entries: list[Entry]) -> dict[int, list]:
    found: dict[int, list] = {}
    for row in rows.filter(entry__in=entries):
        found.setdefault(row.entry_id, []).append(row)
    return found
