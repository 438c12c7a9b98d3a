"""The service: a span list becomes a job's spans, or nothing changes."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from uuid import UUID, uuid4

from django.db import transaction

from inventory.errors import BadInput
from inventory.models import Actor
from inventory.services.references import set_reference
from inventory.services.sealing import record_event
from jobs.errors import WorkRefused
from jobs.models import CrewDay, Job, Span
from jobs.queries.jobs import find_job
from jobs.services.job_life import JobOpening, open_job, refuse_when_over
from jobs.services.needs import find_days_ahead, write_needs
from jobs.services.spans.difference import Difference, compute_difference
from jobs.services.spans.known import KnownJob, KnownSpan, find_worked_on, load_known_job
from jobs.services.spans.listed import read_span_list
from jobs.services.spans.runs import arrange_runs
from jobs.services.spans.storing import SpanStore


class SpansChangedMeanwhile(WorkRefused):
    """Somebody else changed the job's spans between reading and storing."""

    code = "spans_changed_meanwhile"


class UnknownJob(BadInput):
    """The list is for a job that is not there and was not to be made."""

    code = "unknown_job"


@dataclass(frozen=True)
class SpanImport:
    """What was done, or what would be done."""

    job_reference: str
    difference: Difference
    run_count: int
    span_count: int
    length_m: float
    is_stored: bool
    is_job_new: bool
    ignored_headers: tuple[str, ...]
    # Planned days whose steps or kits the difference touches: date and crew.
    changed_days: tuple[tuple[date, str], ...]


def _tell_nobody(doing: str, done: int, total: int) -> None:
    return None


def import_spans(
    *,
    path: str | Path,
    job_reference: str,
    by: Actor,
    occurred_at: datetime,
    opening: JobOpening | None = None,
    job_known_as: tuple[str, str] | None = None,
    is_dry_run: bool = False,
    id: UUID | None = None,
    report: Callable[[str, int, int], None] = _tell_nobody,
) -> SpanImport:
    """Read a span list, compare it with what the job has, and store the difference at one stroke.

    `opening` says how to make the job where there is none yet, `job_known_as` which system calls it what.
    Everything that can be found out is found out before the write transaction begins; inside it only what
    others may have changed is looked at again. `id` becomes that of the event which tells of it.
    """
    job = find_job(job_reference)
    if job is None and opening is None:
        raise UnknownJob(f"There is no job {job_reference!r} yet; say --create-job to make it.")
    if job is not None:
        refuse_when_over(job)
    known = load_known_job(job)
    spans, faults, ignored = read_span_list(path, known_sizes=frozenset(known.sizes), report=report)
    runs, found = arrange_runs(spans, runs_before=known.run_names())
    faults.extend(found)
    difference, found = compute_difference(runs=runs, known=known)
    faults.extend(found)
    faults.raise_if_any(Path(path).name)
    changed_days = _find_days(difference, known)
    is_stored = not is_dry_run and not difference.is_nothing
    if is_stored:
        with transaction.atomic():
            stored_job = _lock(job) if job else open_job(reference=job_reference, opening=opening)
            _refuse_worked_on_meanwhile(stored_job, difference, known.worked_on)
            # Found before storing, which takes withdrawn spans off their days.
            days = _find_days(difference, known)
            SpanStore(stored_job, runs, known, report).store(difference)
            write_needs(days)
            _name_job(stored_job, job_known_as)
            _tell(stored_job, difference, by=by, occurred_at=occurred_at, id=id or uuid4())
    elif job is not None and not is_dry_run:
        _name_job(job, job_known_as)
    return SpanImport(
        job_reference=job_reference,
        difference=difference,
        run_count=len(runs),
        span_count=len(spans),
        length_m=sum(span.length_um for span in spans) / 1_000_000,
        is_stored=is_stored,
        is_job_new=job is None,
        ignored_headers=ignored,
        changed_days=tuple(sorted((day.date, day.crew.code) for day in changed_days)),
    )


def _name_job(job: Job, known_as: tuple[str, str] | None) -> None:
    if known_as is not None:
        system, identifier = known_as
        set_reference(system=system, identifier=identifier, record=job)


def _lock(job: Job) -> Job:
    """Take the job for this transaction; its spans must still be those the difference was made from."""
    locked = Job.objects.select_for_update().select_related("place").get(pk=job.pk)
    if locked.span_revision != job.span_revision:
        raise SpansChangedMeanwhile(
            f"The spans of job {job} were changed by somebody else while the list was read. "
            "Nothing was stored; run the import again to see the difference anew."
        )
    locked.span_revision += 1
    locked.save(update_fields=["span_revision"])
    return locked


def _refuse_worked_on_meanwhile(job: Job, difference: Difference, known: frozenset[int]) -> None:
    touched = [change.span.pk for change in difference.changed if change.is_work_changed]
    touched += [span.pk for span in difference.withdrawn]
    if not touched:
        return
    since = find_worked_on(Span.objects.filter(job=job)) - known
    names = [span.name for span in _existing(difference) if span.pk in since]
    if names:
        raise SpansChangedMeanwhile(
            f"Work was reported on {', '.join(names[:5])} while the list was read. Nothing was stored."
        )


def _existing(difference: Difference) -> list[KnownSpan]:
    return [change.span for change in difference.changed] + difference.withdrawn


def _find_days(difference: Difference, known: KnownJob) -> list[CrewDay]:
    """The days whose kit the difference changes; a new span changes those of the run it joins."""
    existing = _existing(difference)
    names = {listed.run for listed in difference.added}
    names |= {change.listed.run for change in difference.changed}
    runs = {known.runs[name].pk for name in names if name in known.runs} | {span.run.pk for span in existing}
    return find_days_ahead(span_keys=[span.pk for span in existing], run_keys=sorted(runs))


def _tell(job: Job, difference: Difference, *, by: Actor, occurred_at: datetime, id: UUID) -> None:
    record_event(
        id=id,
        kind="spans_revised",
        occurred_at=occurred_at,
        body={
            "job": job.reference,
            "by": by.code,
            "added": len(difference.added),
            "changed": len(difference.changed),
            "withdrawn": len(difference.withdrawn),
            "split": len(difference.split),
        },
    )
