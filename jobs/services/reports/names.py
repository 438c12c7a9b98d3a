"""From the names in a report to our records, nearly all of them read in one message.

Reports of many crews come in at the same hour; so what one names is read as plain rows, like a posting's,
and only what few reports name (instruments, access points, sizes, parties) by queries of its own.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.db.models import QuerySet

from inventory.errors import BadInput, Fault
from inventory.models import Company, Container, Holding, Instrument, Material, Party, Place
from inventory.queries.instruments import TrustedInstrument, trust_instruments
from inventory.services.posting.rows import make_models
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from jobs.models import AccessPoint, CableSize, CrewDay, Job, Run, Span
from jobs.queries.catalogue import load_catalogue
from jobs.queries.jobs import get_policy
from jobs.queries.usual_fluids import find_usual_fluids
from jobs.services.reports.content import WorkName
from jobs.services.reports.searching import Search, Wanted


class UnknownName(BadInput):
    """A report names a span or a run that is not on record."""

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
    # Nobody said which fluid is the usual one: it is what the truck carries most of.
    is_fluid_guessed: bool = False
    special_places: dict[Place.Kind, Place] = field(default_factory=dict)


def find_names(
    search: Search,
    answers: Sequence[list[tuple[Any, ...]]],
    *,
    crew_day: CrewDay,
    company: Company,
    jobs: QuerySet[Any] | None = None,
) -> Names:
    """Look up everything a report names; `jobs` limits whose spans and runs it may name.

    `answers` are those to the selects of the search. What else is on no record is not among the names then.

    Raises
    ------
    UnknownName
        If a span or run is not on record: without one there is no step that was done. Every such name is
        told at once.
    """
    names = Names(company, crew_day)
    allowed = frozenset(jobs.values_list("pk", flat=True)) if jobs is not None else None
    _take_all(names, search, answers, allowed)
    faults: list[Fault] = []
    _find_points(names, search)
    _find_instruments(names, search)
    _find_sizes(names, search)
    _find_parties(names, search)
    for wanted, known, noun in (
        (search.spans, names.spans, "span"),
        (search.runs, names.runs, "run"),
    ):
        _note_missing(wanted, known, noun, faults)
    if faults:
        raise UnknownName.of(faults)
    return names


def _take_all(
    names: Names, search: Search, answers: Sequence[list[tuple[Any, ...]]], allowed: frozenset[int] | None
) -> None:
    jobs, spans, runs, sizes, containers, materials, owners, places = answers
    known_jobs: dict[int, Job] = {}
    for row in jobs:
        job, place = make_models(row, Job, Place)
        job.place = place
        if allowed is None or job.pk in allowed:
            known_jobs[job.pk] = job
    known_sizes = _Sizes(sizes)
    _take_runs(names, runs, known_jobs, known_sizes)
    _take_spans(names, spans, search, known_jobs, known_sizes)
    _take_materials(names, materials, search)
    _take_containers(names, containers, owners)
    for row in places:
        [place] = make_models(row, Place)
        names.special_places[Place.Kind(place.kind)] = place


class _Sizes(dict[int, CableSize]):
    """Cable sizes by their keys, each made when it is asked for: a report meets one or two of a dozen."""

    def __init__(self, rows: Iterable[tuple[Any, ...]]) -> None:
        super().__init__()
        self._rows = {row[0]: row for row in rows}

    def __missing__(self, key: int) -> CableSize:
        size: CableSize
        [size] = make_models(self._rows[key], CableSize)
        self[key] = size
        return size


def _take_runs(names: Names, rows: list[tuple[Any, ...]], jobs: dict[int, Job], sizes: "_Sizes") -> None:
    for row in rows:
        run, place = make_models(row, Run, Place)
        if run.job_id in jobs:
            run.job, run.place, run.cable_size = jobs[run.job_id], place, sizes[run.cable_size_id]
            names.runs[WorkName(run.job.reference, run.name)] = run


def _take_spans(
    names: Names,
    rows: list[tuple[Any, ...]],
    search: Search,
    jobs: dict[int, Job],
    sizes: "_Sizes",
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


def _take_materials(names: Names, rows: list[tuple[Any, ...]], search: Search) -> None:
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


def _find_points(names: Names, search: Search) -> None:
    """Access points of the spans' own jobs."""
    if search.points:
        rows = AccessPoint.objects.filter(
            job__reference__in={each.name[0] for each in search.points},
            name__in={each.name[1] for each in search.points},
        )
        names.points = {(row.job.reference, row.name): row for row in rows.select_related("job")}


def _find_instruments(names: Names, search: Search) -> None:
    tags = {each.name for each in search.instruments}
    if tags:
        rows = {row.tag: row for row in Instrument.objects.filter(tag__in=tags)}
        trusted = trust_instruments(rows.values(), on_date=names.crew_day.date)
        names.instruments = {tag: trusted[row.pk] for tag, row in rows.items()}


def _find_sizes(names: Names, search: Search) -> None:
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


def _find_parties(names: Names, search: Search) -> None:
    if search.parties:
        rows = Party.objects.filter(code__in={each.name for each in search.parties})
        names.parties = {row.code: row for row in rows}


def find_usual_fluid(names: Names) -> Material | None:
    """The fluid that the company injects, where a report does not say which; asked for once."""
    if names.usual_fluid is None:
        vehicle = names.crew_day.vehicle_id
        usual, names.is_fluid_guessed = find_usual_fluids(names.fluids, [vehicle])
        names.usual_fluid = usual[vehicle]
    return names.usual_fluid


def find_only_reel(names: Names) -> Container | None:
    """The one reel with something on it that the truck carries, where it carries one."""
    rows = Holding.objects.filter(
        place=names.crew_day.vehicle_id, container__kind=Container.Kind.REEL, quantity__gt=0
    )
    keys = set(rows.values_list("container", flat=True))
    if len(keys) != 1:
        return None
    return Container.objects.select_related("place", "owner", "material").get(pk=keys.pop())


def find_projectile(names: Names, run: Run) -> Material | None:
    """What was fired into a run where nobody says: of what the truck carries what fits its bore best, else
    what the company fires into that bore.
    """
    catalogue = load_catalogue(get_policy(), names.company.party)
    held = Holding.objects.filter(place=names.crew_day.vehicle_id, quantity__gt=0)
    aboard = set(held.filter(material__kind=Material.Kind.PROJECTILE).values_list("material", flat=True))
    carried = [each for each in catalogue.materials if each.pk in aboard]
    kit = replace(catalogue, materials=carried)
    chosen = kit.projectile(run.cable_size) or catalogue.projectile(run.cable_size)
    return chosen or next(iter(carried), None)


def find_recovered_form(names: Names, fresh: Material) -> Material | None:
    """What a fluid comes back as."""
    forms = (each for each in names.fluids if each.recovered_from_id == fresh.pk)
    return next(forms, None)


def _note_missing(wanted: Iterable[Wanted], known: dict[Any, Any], noun: str, faults: list[Fault]) -> None:
    message = f"there is no {noun} of that name"
    faults += [Fault(each.pointer, " ".join(each.name), message) for each in wanted if each.name not in known]
