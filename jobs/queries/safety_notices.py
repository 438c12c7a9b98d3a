"""What waits for somebody of safety, in one list: what happened first, then what stands, then what is due."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from django.db.models import Case, When

from inventory.models import Quarantine, WasteDrum
from inventory.queries.fluid_cautions import NO_LIMIT
from inventory.queries.recovered_fluid import list_waste_due
from jobs.models import Incident, RecoveryDrift
from jobs.queries.recovery_rates import list_drifts
from jobs.queries.safety import open_stops

Kind = Literal["incident", "stop", "quarantine", "waste", "drift"]
Happened = Incident.Kind
# People first, then what may still be running somewhere.
PRESSING = (
    Happened.INJURY, Happened.BURST, Happened.FLUID_IN_THE_GROUND, Happened.SPILL, Happened.UNACCOUNTED
)  # fmt: skip


@dataclass(frozen=True)
class Notice:
    """One thing to look at; `id` names it in the list of its kind. Waste has a date by which it must go."""

    kind: Kind
    id: str
    sentence: str
    happened_at: datetime | None = None
    due_date: date | None = None


def list_safety_notices(*, on_date: date) -> list[Notice]:
    """Open incidents, stops, quarantines, waste that must go by a day, drifts nobody has looked at.

    A fixed number of queries.
    """
    return [*_incidents(), *_stops(), *_quarantines(), *_waste(on_date), *_drifts()]


def _incidents() -> Iterator[Notice]:
    rows = Incident.objects.filter(closed_at__isnull=True).select_related(
        "material", "span", "crew_day__crew"
    )
    rank = Case(
        *(When(kind=kind, then=number) for number, kind in enumerate(PRESSING)), default=len(PRESSING)
    )
    for row in rows.order_by(rank, "occurred_at", "pk"):
        where = f" at span {row.span.name}" if row.span is not None else ""
        said = f"{row.get_kind_display().capitalize()}{where}. {row.note}".strip()
        yield Notice("incident", str(row.uuid), said, row.occurred_at)


def _stops() -> Iterator[Notice]:
    for row in open_stops().order_by("found_at", "pk"):
        yield Notice("stop", str(row.uuid), row.sentence, row.found_at)


def _quarantines() -> Iterator[Notice]:
    for row in Quarantine.objects.filter(lifted_at__isnull=True).select_related("container"):
        sentence = f"{row.container} is held back: {row.reason}"
        yield Notice("quarantine", str(row.uuid), sentence, row.opened_at)


def _waste(on_date: date) -> Iterator[Notice]:
    for row in list_waste_due(WasteDrum.objects.all(), on_date=on_date):
        label = row.drum.container.label
        if row.days_left is None:
            yield Notice("waste", label, f"{label} gathers waste. {NO_LIMIT}")
        elif row.days_left <= 0:
            sentence = f"{label} gathers waste and must go by {row.due_date}."
            yield Notice("waste", label, sentence, due_date=row.due_date)


def _drifts() -> Iterator[Notice]:
    for row in list_drifts().filter(looked_at__isnull=True):
        yield Notice("drift", str(row.pk), _say_drift(row), row.happened_at)


def _say_drift(row: RecoveryDrift) -> str:
    who = f"crew {row.crew.code}" if row.crew is not None else f"size {row.cable_size}"
    return f"Recovery of {who} has drifted: {row.get_direction_display()}."
