"""Recovered over injected of whole runs, with who worked them, in which size, with which fluid."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from jobs.models import EstimatingPolicy, SpanAttempt
from jobs.queries.learning_readings import collect_lessons


@dataclass(frozen=True)
class RecoveryReading:
    """One total: what went into some spans and what came back of them, in cubic metres.

    `size`, `crew` and `fluid` are keys, None where the spans differ in it. `spans_worth` says of how many
    spans of one volume the mean would scatter as little.
    """

    name: str
    at: datetime
    spans: int
    spans_worth: float
    injected_m3: float
    recovered_m3: float
    size: int | None
    crew: int | None
    fluid: int | None

    @property
    def ratio(self) -> float:
        return self.recovered_m3 / self.injected_m3


def list_recovery_readings(policy: EstimatingPolicy) -> list[RecoveryReading]:
    """Return all readings of full extractions in the order of time; a fixed number of queries."""
    given = collect_lessons(policy).recovered
    crews, fluids = _list_workers({key for keys in given.span_keys for key in keys})
    sizes: list[list[int]] = [[] for _total in given.totals]
    volumes: list[list[float]] = [[] for _total in given.totals]
    for number, size, volume in zip(given.span_readings, given.span_sizes, given.span_volumes, strict=True):
        sizes[number].append(size)
        volumes[number].append(volume)
    found = [
        RecoveryReading(
            name=_name(keys),
            at=given.moments[number],
            spans=len(keys),
            spans_worth=sum(volumes[number]) ** 2 / sum(volume**2 for volume in volumes[number]),
            injected_m3=sum(volumes[number]),
            recovered_m3=given.totals[number],
            size=_only(sizes[number]),
            crew=_only([crews[key] for key in keys]),
            fluid=_only([fluids[key] for key in keys]),
        )
        for number, keys in enumerate(given.span_keys)
    ]
    return sorted(found, key=lambda row: (row.at, row.name))


def _list_workers(spans: Collection[int]) -> tuple[dict[int, int], dict[int, int | None]]:
    """The crew that extracted each span, and the fluid."""
    rows = SpanAttempt.objects.filter(span__in=spans, report__is_undone=False)
    crews: dict[int, int] = {}
    fluids: dict[int, int | None] = {}
    for span, crew, fluid in rows.values_list("span", "report__crew_day__crew", "fluid"):
        crews[span], fluids[span] = crew, fluid
    return crews, fluids


def _only(keys: Collection[int | None]) -> int | None:
    """The key that all have, if they have one."""
    found = set(keys)
    return found.pop() if len(found) == 1 else None


def _name(spans: Collection[int]) -> str:
    """A name that is the same whenever these spans are read together."""
    return sha256(",".join(str(key) for key in sorted(spans)).encode()).hexdigest()[:32]
