"""Names that are on no record: what a report says of them is kept as it was told, and the rest is booked.

A drum whose label nobody entered, a reel that came to the site without a receipt, a scale that is new: the
crew cannot help it, and what else it tells is no less true. Only a span or run has to be known, since without
one there is no step that was done.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from jobs.models import FieldReport
from jobs.services.reports.content import ReportContent
from jobs.services.reports.gaps import Gap, note_in_report
from jobs.services.reports.names import Names

# Without these a part tells of nothing that could be booked, and is kept as a whole.
_NEEDED = {
    ("caught", "container"),
    ("readings", "container"),
    ("pieces", "material"),
    ("waste", "container"),
    ("losses", "material"),
}
# What hangs on a name and means nothing without it.
_HANGS_ON = {
    ("blowings", "reel"): ("mark_start", "mark_end"),
    ("incidents", "material"): ("amount", "amount_low", "amount_high"),
}
_NOT_TOLD = (None, "", ())


@dataclass(frozen=True)
class _Noun:
    """A kind of record, and where a report names one: part and attribute."""

    noun: str
    known: Any
    named_at: tuple[tuple[str, str], ...]


def leave_out_unknown(
    content: ReportContent, *, report: FieldReport, names: Names
) -> tuple[ReportContent, list[Gap]]:
    """Return the report without what names something that is on no record, and what is open through that.

    It is kept word for word in the report's note.
    """
    gaps: list[Gap] = []
    parts: dict[str, list[Any]] = {}
    for noun, part, number, attribute in _find_unknown(content, names):
        rows = parts.setdefault(part, list(getattr(content, part)))
        row = rows[number]
        if row is None:
            continue
        name = getattr(row, attribute)
        reason = f"there is no {noun} of that name on record"
        if (part, attribute) in _NEEDED:
            rows[number] = None
            told = _tell(part, row, besides=attribute)
            remedy = f"{reason}; put it on record and correct the report"
            gaps.append(Gap(told, remedy, False, named=f"{noun.capitalize()} {name}"))
            note_in_report(report, f"{told}, {noun} {name}: {reason}")
            continue
        hanging = _HANGS_ON.get((part, attribute), ())
        lost = {each: getattr(row, each) for each in hanging if getattr(row, each) is not None}
        told = " ".join([f"{noun} {name} was named", *_words(lost)])
        remedy = f"{reason}; put it on record and correct the report, or leave it if it does not matter"
        gaps.append(Gap(told, remedy, not lost, **_about(row, names)))
        note_in_report(report, f"{told} of {part} {number + 1}: {reason}")
        empty: dict[str, Any] = dict.fromkeys(hanging)
        rows[number] = replace(row, **{attribute: ""}, **empty)
    kept: dict[str, Any] = {part: tuple(filter(None, rows)) for part, rows in parts.items()}
    return (replace(content, **kept) if kept else content), gaps


def _find_unknown(content: ReportContent, names: Names) -> Iterator[tuple[str, str, int, str]]:
    for each in _nouns(names):
        for part, attribute in each.named_at:
            for number, row in enumerate(getattr(content, part)):
                name = getattr(row, attribute)
                key = (row.span.job, name) if attribute == "pressure_end" else name
                if name and key not in each.known:
                    yield each.noun, part, number, attribute


def _nouns(names: Names) -> list[_Noun]:
    boxes = (("caught", "container"), ("readings", "container"), ("waste", "container"),
             ("losses", "container"), ("attempts", "source_container"))  # fmt: skip
    materials = (("pieces", "material"), ("losses", "material"), ("incidents", "material"),
                 ("attempts", "fluid"), ("cleanings", "projectile"))  # fmt: skip
    return [
        _Noun("container", names.containers, boxes),
        _Noun("reel", names.containers, (("blowings", "reel"),)),
        _Noun("material", names.materials, materials),
        _Noun("instrument", names.instruments, (("attempts", "meter"), ("readings", "instrument"))),
        _Noun("cable size", names.sizes, (("attempts", "as_found_size"),)),
        _Noun("party", names.parties, (("losses", "liable_party"), ("incidents", "liable_party"))),
        _Noun("access point", names.points, (("attempts", "pressure_end"),)),
    ]


def _about(row: Any, names: Names) -> dict[str, Any]:
    """What a finding about a row names."""
    span, run = getattr(row, "span", None), getattr(row, "run", None)
    if span is not None:
        return {"span": names.spans[span]}
    if run is not None:
        return {"run": names.runs[run]}
    box = names.containers.get(getattr(row, "container", ""))
    return {"container": box} if box is not None else {"named": f"Crew {names.crew_day.crew}"}


def _tell(part: str, row: Any, *, besides: str) -> str:
    """A row in words, as it was told."""
    told = {each: getattr(row, each) for each in row.__dataclass_fields__ if each != besides}
    return " ".join([part, *_words(told)])


def _words(told: dict[str, Any]) -> Iterator[str]:
    for name, value in told.items():
        if value not in _NOT_TOLD:
            shown = ", ".join(str(each) for each in value) if isinstance(value, tuple) else str(value)
            yield f"{name.replace('_', ' ')} {shown}"
