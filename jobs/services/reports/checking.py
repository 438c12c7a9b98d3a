"""What can be wrong with a report by itself, before anything is looked up; every fault is told at once."""

import math
from collections.abc import Iterator
from typing import Any

from inventory.errors import BadInput, Fault
from inventory.models import Movement
from jobs.models import AccessPoint, ContainerReading, FluidCaught, PieceReport, SpanAttempt
from jobs.services.reports.content import ReportContent

_CHOICES: dict[tuple[str, str], list[str]] = {
    ("attempts", "outcome"): SpanAttempt.Outcome.values,
    ("caught", "kind"): FluidCaught.Kind.values,
    ("readings", "method"): ContainerReading.Method.values,
    ("readings", "moment"): ContainerReading.Moment.values,
    ("pieces", "fate"): PieceReport.Fate.values,
    ("pieces", "cause"): ["", *Movement.Cause.values],
    ("losses", "cause"): Movement.Cause.values,
    ("splits", "access_point_kind"): ["", *AccessPoint.Kind.values],
}
_NOT_NEGATIVE = ("pressure_kpa", "duration_s", "hidden_splices", "fired", "retrieved")
_ONE_WORK = ("pieces", "losses")


class BadReport(BadInput):
    """A report says something that cannot be."""

    code = "bad_report"


def check_content(content: ReportContent) -> None:
    """Refuse what no report can say.

    Raises
    ------
    BadReport
        If it tells of nothing, a word is not of its list, or a number is out of range.
    """
    if not any(getattr(content, part) for part in content.__dataclass_fields__):
        raise BadReport("A report tells of something: steps that were done, or what is left in containers.")
    faults = list(_find_faults(content))
    if faults:
        raise BadReport.of(faults)


def _find_faults(content: ReportContent) -> Iterator[Fault]:
    for (part, attribute), words in _CHOICES.items():
        for number, row in enumerate(getattr(content, part)):
            word = getattr(row, attribute)
            if word not in words:
                known = ", ".join(filter(None, words))
                yield Fault(f"/{part}/{number}/{attribute}", str(word), f"is none of: {known}")
    for part in ("attempts", "cleanings", "blowings", "readings"):
        for number, row in enumerate(getattr(content, part)):
            yield from _find_bad_numbers(f"/{part}/{number}", row)
    for part in _ONE_WORK:
        for number, row in enumerate(getattr(content, part)):
            if row.span is not None and row.run is not None:
                yield Fault(f"/{part}/{number}/run", str(row.run), "stands beside a span; name one of them")


def _find_bad_numbers(pointer: str, row: Any) -> Iterator[Fault]:
    for name in (*_NOT_NEGATIVE, "temperature_c"):
        value = getattr(row, name, None)
        if value is None:
            continue
        if not math.isfinite(value):
            yield Fault(f"{pointer}/{name}", str(value), "must be a number")
        elif value < 0 and name in _NOT_NEGATIVE:
            yield Fault(f"{pointer}/{name}", str(value), "cannot be less than nothing")
