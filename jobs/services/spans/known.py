"""What a job already has when its span list comes again."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.models import ExternalReference, Holding
from inventory.queries.references import noun_of
from inventory.services.bulk_rows import chunked
from jobs.models import AccessPoint, CableSize, CrewDay, CrewDayStep, Job, Run, Span

SPAN_NOUN = noun_of(Span)


@dataclass(slots=True)
class KnownRun:
    """A stored run, as far as a list is compared with it."""

    pk: int
    name: str
    cable_size: str
    place_id: int
    is_withdrawn: bool
    is_derived: bool
    is_cleaned: bool
    is_blown: bool


@dataclass(slots=True)
class KnownSpan:
    """A stored span, as far as a list is compared with it."""

    pk: int
    name: str
    run: KnownRun
    sequence: int
    cable_size: str
    length_um: int
    entered_unit: str
    near: str
    far: str
    bends: int | None
    slack_um: int
    place_id: int
    is_withdrawn: bool
    is_extracted: bool


@dataclass
class KnownJob:
    """A job's spans, runs and access points by name, and what of them must not be changed.

    `worked_on` are the spans whose step was done or to whose place goods were charged. `references` are by
    span and system. `points` give key and kind.
    """

    spans: dict[str, KnownSpan] = field(default_factory=dict)
    runs: dict[str, KnownRun] = field(default_factory=dict)
    points: dict[str, tuple[int, str]] = field(default_factory=dict)
    sizes: dict[str, int] = field(default_factory=dict)
    references: dict[tuple[int, str], str] = field(default_factory=dict)
    worked_on: frozenset[int] = frozenset()

    def run_names(self) -> dict[str, str]:
        """For each live span the name of its run."""
        return {span.name: span.run.name for span in self.spans.values() if not span.is_withdrawn}


def load_known_job(job: Job | None) -> KnownJob:
    """Read everything a list is compared with, in a number of queries that does not grow with the job."""
    sizes = dict(CableSize.objects.values_list("designation", "pk"))
    if job is None:
        return KnownJob(sizes=sizes)
    names_by_size = {key: designation for designation, key in sizes.items()}
    runs = _load_runs(job, names_by_size)
    points = {
        key: (name, kind)
        for key, name, kind in AccessPoint.objects.filter(job=job).values_list("pk", "name", "kind")
    }
    return KnownJob(
        spans=_load_spans(job, runs, {key: name for key, (name, _kind) in points.items()}, names_by_size),
        runs={run.name: run for run in runs.values()},
        points={name: (key, kind) for key, (name, kind) in points.items()},
        sizes=sizes,
        references=_load_references(job),
        worked_on=find_worked_on(Span.objects.filter(job=job)),
    )


def find_worked_on(spans: QuerySet[Span]) -> frozenset[int]:
    """The keys of those spans of a queryset that somebody has worked on or charged goods to."""
    steps = CrewDayStep.objects.filter(span=OuterRef("pk"), done_at__isnull=False)
    holdings = Holding.objects.filter(place=OuterRef("place"))
    is_done = Q(extracted_at__isnull=False) | Q(was_extracted_before_start=True)
    found = spans.filter(is_done | Exists(steps) | Exists(holdings))
    return frozenset(found.order_by().values_list("pk", flat=True))


def find_loaded_spans(keys: Iterable[int]) -> frozenset[int]:
    """Those spans for which a truck is loaded or out, by themselves or through their run."""
    loaded = (CrewDay.State.LOADED, CrewDay.State.OUT)
    steps = CrewDayStep.objects.filter(crew_day__state__in=loaded, done_at__isnull=True)
    found: set[int] = set()
    for chunk in chunked(keys):
        found.update(Span.objects.filter(pk__in=chunk, steps__in=steps).values_list("pk", flat=True))
        found.update(Span.objects.filter(pk__in=chunk, run__steps__in=steps).values_list("pk", flat=True))
    return frozenset(found)


def _load_runs(job: Job, names_by_size: dict[int, str]) -> dict[int, KnownRun]:
    rows = Run.objects.filter(job=job).values_list(
        "pk",
        "name",
        "cable_size",
        "place",
        "is_withdrawn",
        "is_derived",
        "cleaned_at",
        "was_cleaned_before_start",
        "blown_at",
        "was_blown_before_start",
    )
    return {
        key: KnownRun(
            key,
            name,
            names_by_size[size],
            place,
            withdrawn,
            derived,
            bool(cleaned or cleaned_before),
            bool(blown or blown_before),
        )
        for key, name, size, place, withdrawn, derived, cleaned, cleaned_before, blown, blown_before in rows
    }


def _load_spans(
    job: Job, runs: dict[int, KnownRun], point_names: dict[int, str], names_by_size: dict[int, str]
) -> dict[str, KnownSpan]:
    rows = (
        Span.objects.filter(job=job)
        .order_by()
        .values_list(
            "pk",
            "name",
            "run",
            "sequence",
            "cable_size",
            "length_um",
            "entered_unit",
            "near",
            "far",
            "bends",
            "slack_um",
            "place",
            "is_withdrawn",
            "extracted_at",
            "was_extracted_before_start",
        )
    )
    return {
        row[1]: KnownSpan(
            pk=row[0],
            name=row[1],
            run=runs[row[2]],
            sequence=row[3],
            cable_size=names_by_size[row[4]],
            length_um=row[5],
            entered_unit=row[6],
            near=point_names[row[7]],
            far=point_names[row[8]],
            bends=row[9],
            slack_um=row[10],
            place_id=row[11],
            is_withdrawn=row[12],
            is_extracted=bool(row[13] or row[14]),
        )
        for row in rows.iterator()
    }


def _load_references(job: Job) -> dict[tuple[int, str], str]:
    found: dict[tuple[int, str], str] = {}
    keys = Span.objects.filter(job=job).order_by().values_list("pk", flat=True)
    for chunk in chunked(keys.iterator()):
        rows = ExternalReference.objects.filter(noun=SPAN_NOUN, record_id__in=[str(key) for key in chunk])
        for record_id, system, identifier in rows.values_list("record_id", "system", "identifier"):
            found[int(record_id), system] = identifier
    return found
