"""Spans become runs: by the run they name, or by the access points they share in sequence."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from inventory.errors import Fault
from jobs.services.spans.listed import ListedSpan

RUN_NAME_LENGTH = 64


def arrange_runs(
    spans: list[ListedSpan], *, runs_before: Mapping[str, str]
) -> tuple[dict[str, list[ListedSpan]], list[Fault]]:
    """Put the spans of a list into runs in order, and find what contradicts a run of one bore.

    `runs_before` tells the run to which a span belonged before, by the span's name: a run that is found
    again keeps its name however many spans were put in front of it.
    """
    by_run: dict[str, list[ListedSpan]] = {}
    for span in spans:
        if span.run:
            by_run.setdefault(span.run, []).append(span)
    faults = [fault for name, listed in by_run.items() for fault in _put_in_order(name, listed)]
    for chain in _chains(span for span in spans if not span.run):
        name = _name_run(chain, by_run, runs_before)
        by_run[name] = chain
        for span in chain:
            span.run = name
    for listed in by_run.values():
        faults.extend(_find_done_faults(listed))
    return by_run, faults


def _put_in_order(run: str, spans: list[ListedSpan]) -> Iterator[Fault]:
    """Sort a named run by sequence, or leave it as the file has it, and check that it holds together."""
    if not all(span.is_sound for span in spans):
        # What cannot be read may be what would put the run in order.
        return
    numbered = [span for span in spans if span.sequence is not None]
    if numbered and len(numbered) < len(spans):
        odd = next(span for span in spans if span.sequence is None)
        yield Fault(
            "sequence",
            "",
            f"is empty while other spans of run {run} are numbered; number all or none",
            odd.line,
        )
        return
    spans.sort(key=lambda span: span.sequence or 0)
    for before, span in pairwise(spans):
        if span.sequence is not None and span.sequence == before.sequence:
            message = f"run {run} has this number on line {before.line} already; give another"
            yield Fault("sequence", str(span.sequence), message, span.line)
        elif span.cable_size != before.cable_size:
            message = (
                f"run {run} has one bore, and span {before.name} on line {before.line} is "
                f"{before.cable_size}; make them agree, or name another run"
            )
            yield Fault("cable size", span.cable_size, message, span.line)
        elif span.near != before.far:
            message = (
                f"run {run} is broken: the span before, {before.name}, ends at {before.far}; "
                "put its spans in order, or name another run"
            )
            yield Fault("near access point", span.near, message, span.line)


def _chains(spans: Iterator[ListedSpan]) -> Iterator[list[ListedSpan]]:
    chain: list[ListedSpan] = []
    for span in spans:
        if chain and (span.near != chain[-1].far or span.cable_size != chain[-1].cable_size):
            yield chain
            chain = []
        chain.append(span)
    if chain:
        yield chain


def _name_run(
    chain: list[ListedSpan], taken: Mapping[str, list[ListedSpan]], runs_before: Mapping[str, str]
) -> str:
    for span in chain:
        name = runs_before.get(span.name)
        if name and name not in taken:
            return name
    base = f"{chain[0].near} to {chain[-1].far}"[: RUN_NAME_LENGTH - 6]
    name, number = base, 2
    while name in taken:
        name, number = f"{base} ({number})", number + 1
    return name


def _find_done_faults(run: list[ListedSpan]) -> Iterator[Fault]:
    """A run is cleaned and blown as one, so a step on it is done for all its spans or for none."""
    if not all(span.is_sound for span in run):
        return
    for step in ("cleaned", "blown"):
        done = [span for span in run if step in span.done]
        if done and len(done) < len(run):
            odd = next(span for span in run if step not in span.done)
            message = (
                f"span {done[0].name} of the same run {odd.run} is {step}, this one is not; make them agree"
            )
            yield Fault("done", ", ".join(sorted(odd.done)), message, odd.line)
