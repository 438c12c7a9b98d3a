"""What a field report says, in plain form: names and amounts as they were told, nothing looked up yet.

Only which steps were done and what is left in each container is asked for. Everything else may be missing
and is then unknown. A step that was done and of which nothing else is known is an attempt, a cleaning or a
blowing that names no more than its span or run.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from inventory.units import Amount


class WorkName(NamedTuple):
    """A span or a run: the job's reference and its name there."""

    job: str
    name: str

    def __str__(self) -> str:
        return f"{self.name} of {self.job}"


@dataclass(frozen=True)
class AttemptContent:
    """One try at a span. Lengths, volumes and masses as entered; pressure, temperature and time converted."""

    span: WorkName
    outcome: str = "all_out"
    pressure_end: str = ""
    pressure_fitting_tag: str = ""
    core_out: Amount | None = None
    core_mass: Amount | None = None
    meter: str = ""
    meter_start: Amount | None = None
    meter_end: Amount | None = None
    fluid: str = ""
    source_container: str = ""
    # Told outright; a meter with both its readings goes before it.
    injected: Amount | None = None
    pressure_kpa: float | None = None
    temperature_c: float | None = None
    duration_s: float | None = None
    was_leak_looked_for: bool | None = None
    as_found_size: str = ""
    as_found_length: Amount | None = None
    hidden_splices: int | None = None
    note: str = ""


@dataclass(frozen=True)
class CleaningContent:
    """Projectiles through a run that day."""

    run: WorkName
    is_clean: bool = True
    projectile: str = ""
    fired: int | None = None
    retrieved: int | None = None
    pressure_kpa: float | None = None
    stuck_at: Amount | None = None
    were_both_ends_vented: bool | None = None
    note: str = ""


@dataclass(frozen=True)
class BlowingContent:
    """Fibre into a run, by the marks on the jacket."""

    run: WorkName
    is_done: bool = True
    reel: str = ""
    mark_start: Amount | None = None
    mark_end: Amount | None = None
    pressure_kpa: float | None = None
    ran_short_at: Amount | None = None
    note: str = ""


@dataclass(frozen=True)
class CatchContent:
    """What came back into a container from spans, or swept out of a run.

    Without spans it came from all spans worked that day; without an amount the container's reading tells.
    """

    container: str
    kind: str = "caught"
    spans: tuple[WorkName, ...] = ()
    run: WorkName | None = None
    amount: Amount | None = None


@dataclass(frozen=True)
class ReadingContent:
    """What is in a container: a weight, a depth, quarters, or full or empty, at the end or the start."""

    container: str
    method: str
    value: Decimal | None = None
    unit: str = ""
    temperature_c: float | None = None
    instrument: str = ""
    moment: str = "end"


@dataclass(frozen=True)
class PieceContent:
    """Pieces or lengths installed, used, worn or lost."""

    material: str
    amount: Amount
    fate: str
    span: WorkName | None = None
    run: WorkName | None = None
    tag: str = ""
    cause: str = ""


@dataclass(frozen=True)
class WasteContent:
    """Handed over as waste; without an amount all that was in the container. The number may be empty."""

    manifest_number: str
    container: str
    amount: Amount | None = None
    receiver: str = ""


@dataclass(frozen=True)
class LossContent:
    """Something lost, with its cause; the amount may be unknown."""

    material: str
    cause: str
    amount: Amount | None = None
    container: str = ""
    span: WorkName | None = None
    run: WorkName | None = None
    is_contained: bool | None = None
    liable_party: str = ""
    note: str = ""


@dataclass(frozen=True)
class SplitContent:
    """A span cut in two at an access point found or dug in its middle, so far from its near end."""

    span: WorkName
    at: Amount
    access_point: str
    access_point_kind: str = ""
    # Names of the two pieces, the near one first; made from the span's where none are given.
    first: str = ""
    second: str = ""


@dataclass(frozen=True)
class IncidentContent:
    """Something that went wrong; the rules of the trade say whom to tell."""

    kind: str
    occurred_at: datetime | None = None
    access_point: str = ""
    span: WorkName | None = None
    run: WorkName | None = None
    material: str = ""
    amount: Amount | None = None
    amount_low: Amount | None = None
    amount_high: Amount | None = None
    is_contained: bool | None = None
    cause: str = ""
    liable_party: str = ""
    note: str = ""


@dataclass(frozen=True)
class ReportContent:
    """One report, whole."""

    attempts: tuple[AttemptContent, ...] = ()
    cleanings: tuple[CleaningContent, ...] = ()
    blowings: tuple[BlowingContent, ...] = ()
    caught: tuple[CatchContent, ...] = ()
    readings: tuple[ReadingContent, ...] = ()
    pieces: tuple[PieceContent, ...] = ()
    waste: tuple[WasteContent, ...] = ()
    losses: tuple[LossContent, ...] = ()
    splits: tuple[SplitContent, ...] = ()
    incidents: tuple[IncidentContent, ...] = ()
    note: str = ""
