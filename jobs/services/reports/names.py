"""From the names in a report to our records: a query per noun, however many names there are."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from inventory.errors import BadInput, Fault
from inventory.models import Company, Container, Holding, Instrument, Material, Party
from inventory.queries.instruments import TrustedInstrument, trust_instruments
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from jobs.models import AccessPoint, CableSize, CrewDay, Run, Span
from jobs.queries.jobs import get_policy
from jobs.services.reports.content import ReportContent, WorkName


class UnknownName(BadInput):
    """A report names something that is not on record."""

    code = "unknown_name"


@dataclass
class Names:
    """The records that a report names, by their names."""

    company: Company
    crew_day: CrewDay
    spans: dict[WorkName, Span] = field(default_factory=dict)
    runs: dict[WorkName, Run] = field(default_factory=dict)
    spans_of_runs: dict[int, list[Span]] = field(default_factory=dict)
    points: dict[tuple[str, str], AccessPoint] = field(default_factory=dict)
    containers: dict[str, Container] = field(default_factory=dict)
    # By container, what the book has most of in it.
    contents: dict[int, Material] = field(default_factory=dict)
    materials: dict[str, Material] = field(default_factory=dict)
    instruments: dict[str, TrustedInstrument] = field(default_factory=dict)
    sizes: dict[str, CableSize] = field(default_factory=dict)
    parties: dict[str, Party] = field(default_factory=dict)
    usual_fluid: Material | None = None
    recovered_forms: dict[int, Material | None] = field(default_factory=dict)


@dataclass(frozen=True)
class _Wanted:
    """A name at a place in the report."""

    pointer: str
    name: Any


def find_names(
    content: ReportContent, *, crew_day: CrewDay, company: Company, jobs: QuerySet[Any] | None = None
) -> Names:
    """Look up everything a report names; `jobs` limits whose spans and runs it may name.

    Raises
    ------
    UnknownName
        If something is not on record; every such name is told at once.
    """
    names = Names(company, crew_day)
    faults: list[Fault] = []
    _find_spans(names, content, jobs, faults)
    _find_runs(names, content, jobs, faults)
    _find_points(names, content, faults)
    _find_containers(names, content, faults)
    _find_materials(names, content, faults)
    _find_instruments(names, content, faults)
    _find_sizes(names, content, faults)
    _find_parties(names, content, faults)
    if faults:
        raise UnknownName.of(faults)
    return names


def _find_spans(
    names: Names, content: ReportContent, jobs: QuerySet[Any] | None, faults: list[Fault]
) -> None:
    wanted = _wanted(content, "span")
    wanted += [
        _Wanted(f"/caught/{number}/spans/{place}", span)
        for number, catch in enumerate(content.caught)
        for place, span in enumerate(catch.spans)
    ]
    rows = _find_work(Span.objects.all(), wanted, jobs)
    rows = rows.select_related("job__place", "place", "run", "cable_size", "as_found_size")
    names.spans = {WorkName(row.job.reference, row.name): row for row in rows} if wanted else {}
    _note_missing(wanted, names.spans, "span", faults)


def _find_runs(names: Names, content: ReportContent, jobs: QuerySet[Any] | None, faults: list[Fault]) -> None:
    wanted = _wanted(content, "run")
    if not wanted:
        return
    rows = _find_work(Run.objects.all(), wanted, jobs).select_related("job__place", "place", "job__fibre")
    names.runs = {WorkName(row.job.reference, row.name): row for row in rows}
    _note_missing(wanted, names.runs, "run", faults)
    if content.caught:
        names.spans_of_runs = load_spans_of_runs(row.pk for row in names.runs.values())


def load_spans_of_runs(run_keys: Iterable[int]) -> dict[int, list[Span]]:
    """The live spans of runs with their places and sizes, in their order; none asked for, none looked up."""
    found: dict[int, list[Span]] = {}
    keys = set(run_keys)
    if keys:
        spans = Span.objects.filter(run__in=keys, is_withdrawn=False)
        for span in spans.select_related("place", "cable_size", "as_found_size").order_by("sequence"):
            found.setdefault(span.run_id, []).append(span)
    return found


def _find_work(rows: QuerySet[Any], wanted: list[_Wanted], jobs: QuerySet[Any] | None) -> QuerySet[Any]:
    by_job: dict[str, set[str]] = {}
    for each in wanted:
        by_job.setdefault(each.name.job, set()).add(each.name.name)
    named = [Q(job__reference=job, name__in=sorted(found)) for job, found in by_job.items()]
    rows = rows.filter(reduce(or_, named, Q(pk__in=[])))
    return rows if jobs is None else rows.filter(job__in=jobs)


def _find_points(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    """Access points of the spans' own jobs; one that a split names may be new."""
    wanted = [
        _Wanted(f"/attempts/{number}/pressure_end", (attempt.span.job, attempt.pressure_end))
        for number, attempt in enumerate(content.attempts)
        if attempt.pressure_end
    ]
    known = [*wanted, *(_Wanted("", (split.span.job, split.access_point)) for split in content.splits)]
    if not known:
        return
    rows = AccessPoint.objects.filter(
        job__reference__in={each.name[0] for each in known}, name__in={each.name[1] for each in known}
    ).select_related("job")
    names.points = {(row.job.reference, row.name): row for row in rows}
    _note_missing(wanted, names.points, "access point of that job", faults)


def _find_containers(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    wanted = [
        each
        for attribute in ("container", "source_container", "reel")
        for each in _wanted(content, attribute)
    ]
    if not wanted:
        return
    rows = Container.objects.filter(label__in={each.name for each in wanted})
    inside = Holding.objects.filter(container=OuterRef("pk"), quantity__gt=0).order_by("-quantity")
    rows = rows.select_related("place", "material__recovered_from", "owner").annotate(
        content=Subquery(inside.values("material")[:1])
    )
    names.containers = {row.label: row for row in rows}
    others = {row.content for row in names.containers.values()} - {None}  # type: ignore[attr-defined]
    known = {row.material_id: row.material for row in names.containers.values() if row.material is not None}
    if others - set(known):
        known |= Material.objects.select_related("recovered_from").in_bulk(others)
    names.contents = {
        row.pk: known[row.content]  # type: ignore[attr-defined]
        for row in names.containers.values()
        if row.content is not None  # type: ignore[attr-defined]
    }
    _note_missing(wanted, names.containers, "container", faults)


def _find_materials(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    wanted = [
        each for attribute in ("material", "fluid", "projectile") for each in _wanted(content, attribute)
    ]
    if wanted:
        rows = Material.objects.filter(code__in={each.name for each in wanted})
        names.materials = {row.code: row for row in rows.select_related("recovered_from")}
    _note_missing(wanted, names.materials, "material", faults)


def _find_instruments(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    wanted = [each for attribute in ("meter", "instrument") for each in _wanted(content, attribute)]
    if not wanted:
        return
    rows = {row.tag: row for row in Instrument.objects.filter(tag__in={each.name for each in wanted})}
    trusted = trust_instruments(rows.values(), on_date=names.crew_day.date)
    names.instruments = {tag: trusted[row.pk] for tag, row in rows.items()}
    _note_missing(wanted, names.instruments, "instrument", faults)


def _find_sizes(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    wanted = _wanted(content, "as_found_size")
    if not wanted:
        return
    sizes = {row.designation: row for row in CableSize.objects.all()}
    for each in wanted:
        try:
            found = sizes.get(read_cable_size(each.name))
        except CellRefused:
            found = None
        if found is not None:
            names.sizes[each.name] = found
    _note_missing(wanted, names.sizes, "cable size", faults)


def _find_parties(names: Names, content: ReportContent, faults: list[Fault]) -> None:
    wanted = _wanted(content, "liable_party")
    if wanted:
        rows = Party.objects.filter(code__in={each.name for each in wanted})
        names.parties = {row.code: row for row in rows}
    _note_missing(wanted, names.parties, "party", faults)


def find_usual_fluid(names: Names) -> Material | None:
    """The fluid that the company injects, where a report does not say which; asked for once."""
    if names.usual_fluid is None:
        policy = get_policy()
        names.usual_fluid = policy.fluid or _find_only_fluid()
    return names.usual_fluid


def find_recovered_form(names: Names, fresh: Material) -> Material | None:
    """What a fluid comes back as; asked for once."""
    if fresh.pk not in names.recovered_forms:
        form = fresh.recovered_forms.select_related("recovered_from").order_by("pk").first()
        names.recovered_forms[fresh.pk] = form
    return names.recovered_forms[fresh.pk]


def _find_only_fluid() -> Material | None:
    fresh = Material.objects.filter(kind=Material.Kind.FLUID, recovered_from__isnull=True, is_withdrawn=False)
    found = list(fresh[:2])
    return found[0] if len(found) == 1 else None


def _wanted(content: ReportContent, attribute: str) -> list[_Wanted]:
    """Every name under an attribute of the report's parts, with its place."""
    found = []
    for part in PARTS:
        for number, row in enumerate(getattr(content, part)):
            name = getattr(row, attribute, None)
            if name:
                found.append(_Wanted(f"/{part}/{number}/{attribute}", name))
    return found


def _note_missing(wanted: Iterable[_Wanted], known: dict[Any, Any], noun: str, faults: list[Fault]) -> None:
    for each in wanted:
        if each.name not in known:
            shown = " ".join(each.name) if isinstance(each.name, tuple) else str(each.name)
            faults.append(Fault(each.pointer, shown, f"there is no {noun} of that name"))


PARTS = (
    "attempts",
    "cleanings",
    "blowings",
    "caught",
    "readings",
    "pieces",
    "waste",
    "losses",
    "splits",
    "incidents",
)
