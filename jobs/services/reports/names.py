"""From the names in a report to our records, nearly all of them read in one message.

Reports of many crews come in at the same hour; so what one names is read as plain rows, like a posting's,
and only what few reports name (instruments, access points, sizes, parties) by queries of its own.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet

from inventory.errors import BadInput, Fault
from inventory.models import Company, Container, Instrument, Material, Party, Place
from inventory.queries.instruments import TrustedInstrument, trust_instruments
from inventory.services.posting.rows import Select, columns_of, make_models, one_of, read_rows
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from jobs.models import AccessPoint, CableSize, CrewDay, Job, Run, Span
from jobs.queries.jobs import get_policy
from jobs.services.reports.content import ReportContent, WorkName

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
    fluids: list[Material] = field(default_factory=list)
    instruments: dict[str, TrustedInstrument] = field(default_factory=dict)
    sizes: dict[str, CableSize] = field(default_factory=dict)
    parties: dict[str, Party] = field(default_factory=dict)
    usual_fluid: Material | None = None


@dataclass(frozen=True)
class _Wanted:
    """A name at a place in the report."""

    pointer: str
    name: Any


class _Search:
    """What a report names, by noun."""

    def __init__(self, content: ReportContent) -> None:
        self.spans = _wanted(content, "span")
        self.spans += [
            _Wanted(f"/caught/{number}/spans/{place}", span)
            for number, catch in enumerate(content.caught)
            for place, span in enumerate(catch.spans)
        ]
        self.runs = _wanted(content, "run")
        self.containers = _wanted(content, "container", "source_container", "reel")
        self.materials = _wanted(content, "material", "fluid", "projectile")
        self.instruments = _wanted(content, "meter", "instrument")
        self.sizes = _wanted(content, "as_found_size")
        self.parties = _wanted(content, "liable_party")
        self.points = [
            _Wanted(f"/attempts/{number}/pressure_end", (attempt.span.job, attempt.pressure_end))
            for number, attempt in enumerate(content.attempts)
            if attempt.pressure_end
        ]
        self.has_caught = bool(content.caught)


def find_names(
    content: ReportContent, *, crew_day: CrewDay, company: Company, jobs: QuerySet[Any] | None = None
) -> Names:
    """Look up everything a report names; `jobs` limits whose spans and runs it may name.

    Raises
    ------
    UnknownName
        If something is not on record; every such name is told at once.
    """
    names, search = Names(company, crew_day), _Search(content)
    _read_all(names, search, frozenset(jobs.values_list("pk", flat=True)) if jobs is not None else None)
    faults: list[Fault] = []
    _find_points(names, search)
    _find_instruments(names, search)
    _find_sizes(names, search)
    _find_parties(names, search)
    for wanted, known, noun in (
        (search.spans, names.spans, "span"),
        (search.runs, names.runs, "run"),
        (search.points, names.points, "access point of that job"),
        (search.containers, names.containers, "container"),
        (search.materials, names.materials, "material"),
        (search.instruments, names.instruments, "instrument"),
        (search.sizes, names.sizes, "cable size"),
        (search.parties, names.parties, "party"),
    ):
        _note_missing(wanted, known, noun, faults)
    if faults:
        raise UnknownName.of(faults)
    return names


def _read_all(names: Names, search: _Search, allowed: frozenset[int] | None) -> None:
    jobs, spans, runs, sizes, containers, materials, owners = read_rows(
        _select_jobs(search),
        _select_spans(search),
        _select_runs(search),
        Select(f"SELECT {columns_of(CableSize, 'size')} FROM jobs_cablesize size", ()),
        _select_containers(search),
        _select_materials(search),
        _select_owners(search),
    )
    known_jobs: dict[int, Job] = {}
    for row in jobs:
        job, place = make_models(row, Job, Place)
        job.place = place
        if allowed is None or job.pk in allowed:
            known_jobs[job.pk] = job
    known_sizes: dict[int, CableSize] = {
        size.pk: size for row in sizes for size in make_models(row, CableSize)
    }
    _take_runs(names, runs, known_jobs, known_sizes)
    _take_spans(names, spans, search, known_jobs, known_sizes)
    _take_materials(names, materials, search)
    _take_containers(names, containers, owners)


def _select_jobs(search: _Search) -> Select:
    references = sorted({each.name.job for each in (*search.spans, *search.runs)})
    return Select(
        f"SELECT {columns_of(Job, 'job')}, {columns_of(Place, 'place')} FROM jobs_job job"
        f" JOIN inventory_place place ON place.id = job.place_id WHERE job.reference IN {one_of(references)}",
        references,
    )


def _select_spans(search: _Search) -> Select:
    """Spans by their names, and those of the runs that something was swept out of."""
    condition, values = _in_jobs("span", search.spans)
    if search.has_caught and search.runs:
        of_runs, more = _in_jobs("run", search.runs)
        condition += f" OR span.run_id IN (SELECT run.id FROM jobs_run run WHERE {of_runs})"
        values += more
    return Select(
        f"SELECT {columns_of(Span, 'span')}, {columns_of(Place, 'place')} FROM jobs_span span"
        f" JOIN inventory_place place ON place.id = span.place_id WHERE {condition} ORDER BY span.sequence",
        values,
    )


def _select_runs(search: _Search) -> Select:
    condition, values = _in_jobs("run", search.runs)
    return Select(
        f"SELECT {columns_of(Run, 'run')}, {columns_of(Place, 'place')} FROM jobs_run run"
        f" JOIN inventory_place place ON place.id = run.place_id WHERE {condition}",
        values,
    )


def _in_jobs(alias: str, wanted: list[_Wanted]) -> tuple[str, list[Any]]:
    by_job: dict[str, list[str]] = {}
    for each in wanted:
        by_job.setdefault(each.name.job, []).append(each.name.name)
    parts, values = ["FALSE"], []
    for job, found in by_job.items():
        listed = sorted(set(found))
        parts.append(
            f"({alias}.job_id = (SELECT id FROM jobs_job WHERE reference = %s)"
            f" AND {alias}.name IN {one_of(listed)})"
        )
        values += [job, *listed]
    return " OR ".join(parts), values


def _select_containers(search: _Search) -> Select:
    labels = sorted({each.name for each in search.containers})
    return Select(
        f"SELECT {columns_of(Container, 'box')}, {columns_of(Place, 'place')},"
        " (SELECT inside.material_id FROM inventory_holding inside WHERE inside.container_id = box.id"
        " AND inside.quantity > 0 ORDER BY inside.quantity DESC LIMIT 1)"
        " FROM inventory_container box LEFT JOIN inventory_place place ON place.id = box.place_id"
        f" WHERE box.label IN {one_of(labels)}",
        labels,
    )


def _select_materials(search: _Search) -> Select:
    """What is named, what the containers are for or hold, and all fluids, of which there are few."""
    codes = sorted({each.name for each in search.materials})
    labels = sorted({each.name for each in search.containers})
    boxes = f"SELECT id FROM inventory_container WHERE label IN {one_of(labels)}"
    return Select(
        f"SELECT {columns_of(Material, 'material')} FROM inventory_material material"
        f" WHERE material.kind = 'fluid' OR material.code IN {one_of(codes)} OR material.id IN"
        f" (SELECT material_id FROM inventory_container WHERE label IN {one_of(labels)}) OR material.id IN"
        f" (SELECT material_id FROM inventory_holding WHERE quantity > 0 AND container_id IN ({boxes}))"
        " ORDER BY material.id",
        [*codes, *labels, *labels],
    )


def _select_owners(search: _Search) -> Select:
    labels = sorted({each.name for each in search.containers})
    return Select(
        f"SELECT {columns_of(Party, 'party')} FROM inventory_party party WHERE party.id IN"
        f" (SELECT owner_id FROM inventory_container WHERE label IN {one_of(labels)})",
        labels,
    )


def _take_runs(
    names: Names, rows: list[tuple[Any, ...]], jobs: dict[int, Job], sizes: dict[int, CableSize]
) -> None:
    for row in rows:
        run, place = make_models(row, Run, Place)
        if run.job_id in jobs:
            run.job, run.place, run.cable_size = jobs[run.job_id], place, sizes[run.cable_size_id]
            names.runs[WorkName(run.job.reference, run.name)] = run


def _take_spans(
    names: Names,
    rows: list[tuple[Any, ...]],
    search: _Search,
    jobs: dict[int, Job],
    sizes: dict[int, CableSize],
) -> None:
    wanted = {each.name for each in search.spans}
    swept = {run.pk for run in names.runs.values()} if search.has_caught else set()
    for row in rows:
        span, place = make_models(row, Span, Place)
        if span.job_id not in jobs:
            continue
        span.job, span.place, span.cable_size = jobs[span.job_id], place, sizes[span.cable_size_id]
        if span.as_found_size_id is not None:
            span.as_found_size = sizes[span.as_found_size_id]
        name = WorkName(span.job.reference, span.name)
        if name in wanted:
            names.spans[name] = span
        if span.run_id in swept and not span.is_withdrawn:
            names.spans_of_runs.setdefault(span.run_id, []).append(span)


def _take_materials(names: Names, rows: list[tuple[Any, ...]], search: _Search) -> None:
    found: dict[int, Material] = {}
    for row in rows:
        [material] = make_models(row, Material)
        found[material.pk] = material
    for material in found.values():
        if material.recovered_from_id is not None:
            material.recovered_from = found[material.recovered_from_id]
    codes = {each.name for each in search.materials}
    names.materials = {each.code: each for each in found.values() if each.code in codes}
    names.fluids = [each for each in found.values() if each.kind == Material.Kind.FLUID]
    names.contents = found


def _take_containers(names: Names, rows: list[tuple[Any, ...]], owners: list[tuple[Any, ...]]) -> None:
    """Containers with what they are for, hold and belong to; `contents` comes in by material."""
    materials = names.contents
    parties: dict[int, Party] = {party.pk: party for row in owners for party in make_models(row, Party)}
    names.contents = {}
    for row in rows:
        box, place = make_models(row[:-1], Container, Place)
        box.place, box.owner = place, parties[box.owner_id]
        box.material = materials[box.material_id] if box.material_id is not None else None
        names.containers[box.label] = box
        if row[-1] is not None:
            names.contents[box.pk] = materials[row[-1]]


def load_spans_of_runs(run_keys: Iterable[int]) -> dict[int, list[Span]]:
    """The live spans of runs with their places and sizes, in their order; none asked for, none looked up."""
    found: dict[int, list[Span]] = {}
    keys = set(run_keys)
    if keys:
        spans = Span.objects.filter(run__in=keys, is_withdrawn=False)
        for span in spans.select_related("place", "cable_size", "as_found_size").order_by("sequence"):
            found.setdefault(span.run_id, []).append(span)
    return found


def _find_points(names: Names, search: _Search) -> None:
    """Access points of the spans' own jobs."""
    if search.points:
        rows = AccessPoint.objects.filter(
            job__reference__in={each.name[0] for each in search.points},
            name__in={each.name[1] for each in search.points},
        )
        names.points = {(row.job.reference, row.name): row for row in rows.select_related("job")}


def _find_instruments(names: Names, search: _Search) -> None:
    tags = {each.name for each in search.instruments}
    if tags:
        rows = {row.tag: row for row in Instrument.objects.filter(tag__in=tags)}
        trusted = trust_instruments(rows.values(), on_date=names.crew_day.date)
        names.instruments = {tag: trusted[row.pk] for tag, row in rows.items()}


def _find_sizes(names: Names, search: _Search) -> None:
    if not search.sizes:
        return
    sizes = {row.designation: row for row in CableSize.objects.all()}
    for each in search.sizes:
        try:
            found = sizes.get(read_cable_size(each.name))
        except CellRefused:
            found = None
        if found is not None:
            names.sizes[each.name] = found


def _find_parties(names: Names, search: _Search) -> None:
    if search.parties:
        rows = Party.objects.filter(code__in={each.name for each in search.parties})
        names.parties = {row.code: row for row in rows}


def find_usual_fluid(names: Names) -> Material | None:
    """The fluid that the company injects, where a report does not say which; asked for once."""
    if names.usual_fluid is None:
        policy = get_policy()
        fresh = [each for each in names.fluids if each.recovered_from_id is None and not each.is_withdrawn]
        chosen = [each for each in fresh if each.pk == policy.fluid_id]
        only = chosen or fresh
        names.usual_fluid = only[0] if len(only) == 1 else None
    return names.usual_fluid


def find_recovered_form(names: Names, fresh: Material) -> Material | None:
    """What a fluid comes back as."""
    forms = (each for each in names.fluids if each.recovered_from_id == fresh.pk)
    return next(forms, None)


def _wanted(content: ReportContent, *attributes: str) -> list[_Wanted]:
    """Every name under some attributes of the report's parts, with its place."""
    found = []
    for part in PARTS:
        for number, row in enumerate(getattr(content, part)):
            for attribute in attributes:
                name = getattr(row, attribute, None)
                if name:
                    found.append(_Wanted(f"/{part}/{number}/{attribute}", name))
    return found


def _note_missing(wanted: Iterable[_Wanted], known: dict[Any, Any], noun: str, faults: list[Fault]) -> None:
    for each in wanted:
        if each.name not in known:
            shown = " ".join(each.name) if isinstance(each.name, tuple) else str(each.name)
            faults.append(Fault(each.pointer, shown, f"there is no {noun} of that name"))
