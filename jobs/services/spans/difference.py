"""A span list against what the job has, computed before anything is stored."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from inventory.errors import Fault
from inventory.queries.references import find_taken
from inventory.units import format_amount
from jobs.services.spans.known import (
    SPAN_NOUN,
    KnownJob,
    KnownSpan,
    find_loaded_spans,
)
from jobs.services.spans.listed import ListedSpan

UM_PER_M = 1_000_000
# More pieces than that are a new route, not a split.
MOST_PIECES = 20


@dataclass(frozen=True)
class SpanChange:
    """A span that stays and what becomes different, in words; `is_work_changed` where the sheath does."""

    span: KnownSpan
    listed: ListedSpan
    sentences: tuple[str, ...]
    is_work_changed: bool


@dataclass
class Difference:
    """What storing a list would do. `split` tells for an added span which one it was cut from."""

    added: list[ListedSpan] = field(default_factory=list)
    changed: list[SpanChange] = field(default_factory=list)
    withdrawn: list[KnownSpan] = field(default_factory=list)
    split: dict[str, KnownSpan] = field(default_factory=dict)
    unchanged_count: int = 0

    @property
    def is_nothing(self) -> bool:
        return not (self.added or self.changed or self.withdrawn)


def compute_difference(
    *, runs: dict[str, list[ListedSpan]], known: KnownJob
) -> tuple[Difference, list[Fault]]:
    """Compare a list, put into runs, with what the job has; the faults are changes that may not be made.

    Where rows have faults, only those are compared of which nothing hangs on another row.
    """
    is_sound = all(listed.is_sound for spans in runs.values() for listed in spans)
    if not is_sound:
        runs = {
            run: [span for span in spans if span.is_sound and not span.is_run_derived]
            for run, spans in runs.items()
        }
    difference = Difference()
    listed_names = set()
    for spans in runs.values():
        for sequence, listed in enumerate(spans, start=1):
            listed.sequence = sequence
            listed_names.add(listed.name)
            _compare(difference, listed, known)
    if is_sound:
        difference.withdrawn = [
            span for name, span in known.spans.items() if name not in listed_names and not span.is_withdrawn
        ]
    difference.split = dict(_find_splits(difference))
    return difference, [*_find_refused(difference, known), *_find_reference_faults(runs, known)]


def _compare(difference: Difference, listed: ListedSpan, known: KnownJob) -> None:
    span = known.spans.get(listed.name)
    if span is None or span.is_withdrawn:
        difference.added.append(listed)
        return
    work = tuple(_work_changes(span, listed))
    other = tuple(_other_changes(span, listed, known))
    if work or other:
        difference.changed.append(SpanChange(span, listed, work + other, bool(work)))
    else:
        difference.unchanged_count += 1


def _work_changes(span: KnownSpan, listed: ListedSpan) -> Iterator[str]:
    """What makes it another piece of sheath than the one that was worked on."""
    if span.cable_size != listed.cable_size:
        yield f"cable size {listed.cable_size}, was {span.cable_size}"
    if span.length_um != listed.length_um:
        yield f"length {show_length(listed.length_um, listed.entered_unit)}, was {show_span_length(span)}"
    if (span.near, span.far) != listed.ends:
        yield f"from {listed.near} to {listed.far}, was from {span.near} to {span.far}"
    if span.run.name != listed.run:
        yield f"in run {listed.run}, was in {span.run.name}"


def _other_changes(span: KnownSpan, listed: ListedSpan, known: KnownJob) -> Iterator[str]:
    if span.sequence != listed.sequence and span.run.name == listed.run:
        yield f"number {listed.sequence} in its run, was {span.sequence}"
    if listed.bends is not None and span.bends != listed.bends:
        yield f"{listed.bends} bends, was {'unknown' if span.bends is None else span.bends}"
    if span.slack_um != listed.slack_um:
        slack = show_length(listed.slack_um, listed.entered_unit)
        yield f"slack {slack}, was {show_length(span.slack_um, span.entered_unit)}"
    called = known.references.get((span.pk, listed.reference_system))
    if listed.reference and called != listed.reference:
        yield f"known to {listed.reference_system} as {listed.reference}"
    done_before = {"extracted": span.is_extracted, "cleaned": span.run.is_cleaned, "blown": span.run.is_blown}
    for step in sorted(listed.done):
        if not done_before[step]:
            yield f"{step} before start"
    for name, kind in ((listed.near, listed.near_kind), (listed.far, listed.far_kind)):
        kind_before = known.points.get(name, (0, kind))[1]
        if kind and kind != kind_before:
            yield f"{name} is a {kind}, was {kind_before or 'of unknown kind'}"


def _find_splits(difference: Difference) -> Iterator[tuple[str, KnownSpan]]:
    """Added spans that lead along the way of a span that went or was shortened."""
    added_by_near: dict[str, list[ListedSpan]] = {}
    for listed in difference.added:
        added_by_near.setdefault(listed.near, []).append(listed)
    cut = [(span, span.near) for span in difference.withdrawn]
    # A pit in the middle of a span often leaves its name to the near piece.
    cut += [
        (change.span, change.listed.far)
        for change in difference.changed
        if change.listed.near == change.span.near and change.listed.far != change.span.far
    ]
    for span, start in cut:
        pieces = _follow(added_by_near, start, span.far)
        if len(pieces) > 1 or (pieces and start != span.near):
            for piece in pieces:
                yield piece.name, span


def _follow(added_by_near: dict[str, list[ListedSpan]], start: str, end: str) -> list[ListedSpan]:
    pieces: list[ListedSpan] = []
    at = start
    while at != end:
        onward = added_by_near.get(at, [])
        # At a fork nobody can tell which way the old span went.
        if len(onward) != 1 or len(pieces) == MOST_PIECES:
            return []
        pieces.append(onward[0])
        at = onward[0].far
    return pieces


def _find_refused(difference: Difference, known: KnownJob) -> Iterator[Fault]:
    touched = [change.span for change in difference.changed] + difference.withdrawn
    loaded = find_loaded_spans(span.pk for span in touched)
    for change in difference.changed:
        span, listed = change.span, change.listed
        shown = "; ".join(change.sentences)
        if change.is_work_changed and span.pk in known.worked_on:
            message = f"has been worked on and stays as it is; the list says {shown}; list it as it was"
            yield Fault("span", span.name, message, listed.line)
        elif change.is_work_changed and (span.run.is_cleaned or span.run.is_blown):
            message = (
                f"belongs to run {span.run.name}, which is finished work; the list says {shown}; "
                "list it as it was"
            )
            yield Fault("span", span.name, message, listed.line)
        elif change.is_work_changed and span.pk in loaded:
            message = (
                f"is on a truck's plan that is loaded or out; the list says {shown}; "
                "list it as it was, or wait until the truck is back"
            )
            yield Fault("span", span.name, message, listed.line)
    for span in difference.withdrawn:
        if span.pk in known.worked_on or span.run.is_cleaned or span.run.is_blown:
            message = "has been worked on and cannot be withdrawn; it is not in the list, so add its row"
            yield Fault("span", span.name, message)
        elif span.pk in loaded:
            message = "is on a truck's plan that is loaded or out; it is not in the list, so add its row"
            yield Fault("span", span.name, message)


def _find_reference_faults(runs: dict[str, list[ListedSpan]], known: KnownJob) -> Iterator[Fault]:
    named = [listed for spans in runs.values() for listed in spans if listed.reference]
    new = [listed for listed in named if not _is_known_as(listed, known)]
    taken = find_taken(SPAN_NOUN, [(listed.reference_system, listed.reference) for listed in new])
    for listed in new:
        if (listed.reference_system, listed.reference) in taken:
            message = f"is what {listed.reference_system} calls another span already; give this one its own"
            yield Fault("reference", listed.reference, message, listed.line)


def _is_known_as(listed: ListedSpan, known: KnownJob) -> bool:
    span = known.spans.get(listed.name)
    return span is not None and known.references.get((span.pk, listed.reference_system)) == listed.reference


def show_length(length_um: int, unit: str) -> str:
    """A length as people write it, in the unit in which it was given."""
    factor = {"[ft_i]": 304_800, "[in_i]": 25_400, "m": UM_PER_M, "mm": 1_000}[unit]
    return format_amount(length_um / factor, unit)


def show_span_length(span: KnownSpan) -> str:
    return show_length(span.length_um, span.entered_unit)
