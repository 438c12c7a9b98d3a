"""Everything that a report names, by noun, and how it is looked up: in one message, whatever it names."""

from dataclasses import dataclass
from typing import Any

from inventory.models import Container, Material, Party, Place
from inventory.services.posting.rows import Select, columns_of, one_of
from inventory.services.posting.special_places import SPECIAL_PLACES
from jobs.models import CableSize, Job, Run, Span
from jobs.services.reports.content import ReportContent

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
# The company's own places that a booking may need.
BOOKED_TO = (Place.Kind.VARIANCE, Place.Kind.PROCESS, Place.Kind.WASTE)


@dataclass(frozen=True)
class Wanted:
    """A name at a place in the report."""

    pointer: str
    name: Any


class Search:
    """What a report names, by noun."""

    def __init__(self, content: ReportContent) -> None:
        self.spans = _wanted(content, "span")
        self.spans += [
            Wanted(f"/caught/{number}/spans/{place}", span)
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
            Wanted(f"/attempts/{number}/pressure_end", (attempt.span.job, attempt.pressure_end))
            for number, attempt in enumerate(content.attempts)
            if attempt.pressure_end
        ]
        self.has_caught = bool(content.caught)

    def selects(self) -> list[Select]:
        """What is read of them; `find_names` takes the answers."""
        return [
            _select_jobs(self),
            _select_spans(self),
            _select_runs(self),
            Select(f"SELECT {columns_of(CableSize, 'size')} FROM jobs_cablesize size", ()),
            _select_containers(self),
            _select_materials(self),
            _select_owners(self),
            _select_special_places(),
        ]


def _select_jobs(search: Search) -> Select:
    references = sorted({each.name.job for each in (*search.spans, *search.runs)})
    return Select(
        f"SELECT {columns_of(Job, 'job')}, {columns_of(Place, 'place')} FROM jobs_job job"
        f" JOIN inventory_place place ON place.id = job.place_id WHERE job.reference IN {one_of(references)}",
        references,
    )


def _select_spans(search: Search) -> Select:
    """Spans by their names, and those of the runs that something was swept out of."""
    condition, values = _in_jobs("named", search.spans)
    keys = f"SELECT named.id FROM jobs_span named WHERE {condition}"
    if search.has_caught and search.runs:
        # A union, since either condition alone finds its rows by an index and both together none.
        of_runs, more = _in_jobs("run", search.runs)
        keys += (
            f" UNION SELECT swept.id FROM jobs_span swept JOIN jobs_run run ON run.id = swept.run_id"
            f" WHERE {of_runs}"
        )
        values += more
    return Select(
        f"SELECT {columns_of(Span, 'span')}, {columns_of(Place, 'place')} FROM jobs_span span"
        f" JOIN inventory_place place ON place.id = span.place_id WHERE span.id IN ({keys})"
        " ORDER BY span.sequence",
        values,
    )


def _select_runs(search: Search) -> Select:
    condition, values = _in_jobs("run", search.runs)
    return Select(
        f"SELECT {columns_of(Run, 'run')}, {columns_of(Place, 'place')} FROM jobs_run run"
        f" JOIN inventory_place place ON place.id = run.place_id WHERE {condition}",
        values,
    )


def _in_jobs(alias: str, wanted: list[Wanted]) -> tuple[str, list[Any]]:
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


def _select_containers(search: Search) -> Select:
    labels = sorted({each.name for each in search.containers})
    return Select(
        f"SELECT {columns_of(Container, 'box')}, {columns_of(Place, 'place')},"
        " (SELECT inside.material_id FROM inventory_holding inside WHERE inside.container_id = box.id"
        " AND inside.quantity > 0 ORDER BY inside.quantity DESC LIMIT 1)"
        " FROM inventory_container box LEFT JOIN inventory_place place ON place.id = box.place_id"
        f" WHERE box.label IN {one_of(labels)}",
        labels,
    )


def _select_materials(search: Search) -> Select:
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


def _select_owners(search: Search) -> Select:
    labels = sorted({each.name for each in search.containers})
    return Select(
        f"SELECT {columns_of(Party, 'party')} FROM inventory_party party WHERE party.id IN"
        f" (SELECT owner_id FROM inventory_container WHERE label IN {one_of(labels)})",
        labels,
    )


def _select_special_places() -> Select:
    codes = [SPECIAL_PLACES[kind][0] for kind in BOOKED_TO]
    return Select(
        f"SELECT {columns_of(Place, 'place')} FROM inventory_place place WHERE place.code IN {one_of(codes)}",
        codes,
    )


def _wanted(content: ReportContent, *attributes: str) -> list[Wanted]:
    """Every name under some attributes of the report's parts, with its place."""
    found = []
    for part in PARTS:
        for number, row in enumerate(getattr(content, part)):
            for attribute in attributes:
                name = getattr(row, attribute, None)
                if name:
                    found.append(Wanted(f"/{part}/{number}/{attribute}", name))
    return found
