"""What is known of one fluid on one crew-day: what its reports tell, and what the book adds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from inventory.models import Container, Material, Movement
from inventory.queries.company import get_company
from jobs.models import (
    ContainerReading,
    CrewDay,
    FluidCaught,
    Job,
    ReportedLoss,
    Run,
    RunCleaning,
    Span,
    SpanAttempt,
    WasteHandover,
)
from jobs.models.balance import DOCUMENT_PREFIX
from jobs.services.reports.drafting import as_material
from jobs.services.reports.rows import Told
from jobs.services.reports.scene import StockSearch, load_stock

# What is booked and no flow of fluid: what counts found, and what the book lacked.
NO_FLOWS = (
    Movement.Purpose.COUNT_SETTLED,
    Movement.Purpose.BOOK_SHORT,
    Movement.Purpose.FOUND_HERE,
    Movement.Purpose.REVALUED,
    Movement.Purpose.PRICE_VARIANCE,
)


@dataclass(frozen=True)
class Pour:
    """Fluid that the book has going in or out of a container that day beside what reports tell."""

    source: Container | None
    target: Container | None
    amount: int
    number: int
    # Filled by whoever sold it, not poured by us.
    is_received: bool


@dataclass
class Vessel:
    """A container of the day: what was in it before by the book, and what was read in it.

    Amounts are millionths of the fresh fluid's stock unit. `before_uncertainty` is that of the reading which
    the book stands on, None where nobody ever read it.
    """

    container: Container
    before: int = 0
    before_uncertainty: float | None = None
    start: ContainerReading | None = None
    end: ContainerReading | None = None
    end_at: datetime | None = None


@dataclass
class FluidStory:
    """One fluid's day, fresh and recovered together."""

    fluid: Material
    family: set[int]
    attempts: list[SpanAttempt] = field(default_factory=list)
    catches: list[tuple[FluidCaught, list[Span]]] = field(default_factory=list)
    waste: list[WasteHandover] = field(default_factory=list)
    losses: list[ReportedLoss] = field(default_factory=list)
    vessels: dict[int, Vessel] = field(default_factory=dict)
    pours: list[Pour] = field(default_factory=list)
    # Runs that were swept that day, with their spans, and whether anything is left standing in them.
    runs: dict[int, Run] = field(default_factory=dict)
    spans_of_runs: dict[int, list[Span]] = field(default_factory=dict)
    is_clean: dict[int, bool] = field(default_factory=dict)

    def as_fluid(self, quantity: int, material: Material) -> int:
        """The same volume in the fresh fluid's unit."""
        return as_material(quantity, material, self.fluid)

    @property
    def spans(self) -> list[Span]:
        """The spans that were tried that day, in order."""
        return list({row.span_id: row.span for row in self.attempts}.values())


def tell_stories(day: CrewDay, told: Sequence[Told]) -> list[FluidStory]:
    """Sort what the reports of a day tell by fluid, and add what the book knows."""
    fluids = Material.objects.filter(kind=Material.Kind.FLUID).in_bulk()
    fresh = {key: _fresh_of(key, fluids) for key in fluids}
    stories: dict[int, FluidStory] = {}

    def story_of(material: Material) -> FluidStory:
        key = fresh[material.pk]
        family = {other for other, root in fresh.items() if root == key}
        return stories.setdefault(key, FluidStory(fluids[key], family))

    _add_named(told, story_of, fluids)
    if stories:
        _add_unnamed(told, next(iter(stories.values())))
    for story in stories.values():
        _add_runs(story, told)
    _add_book(list(stories.values()), day)
    _name_jobs(stories.values())
    return list(stories.values())


def _name_jobs(stories: Iterable[FluidStory]) -> None:
    """The jobs of all spans, which are named by them; spans that came with reports do not bring them."""
    spans = [row.span for story in stories for row in story.attempts]
    spans += [span for story in stories for _catch, named in story.catches for span in named]
    jobs = Job.objects.in_bulk({span.job_id for span in spans})
    for span in spans:
        span.job = jobs[span.job_id]


def _fresh_of(key: int, fluids: dict[int, Material]) -> int:
    seen = {key}
    while (above := fluids[key].recovered_from_id) is not None and above not in seen:
        seen.add(above)
        key = above
    return key


def _add_named(told: Sequence[Told], story_of, fluids: dict[int, Material]) -> None:  # type: ignore[no-untyped-def]
    for each in told:
        for attempt in each.attempts:
            if attempt.fluid is not None:
                story = story_of(attempt.fluid)
                story.attempts.append(attempt)
                if attempt.source_container is not None:
                    _vessel(story, attempt.source_container)
        for catch, spans in zip(each.caught, each.caught_spans, strict=True):
            story = story_of(catch.material)
            story.catches.append((catch, spans))
            _vessel(story, catch.container)
        for reading in each.readings:
            if reading.material_id in fluids:
                _note_reading(_vessel(story_of(reading.material), reading.container), reading, each)
        for waste in each.waste:
            if waste.material_id in fluids:
                story = story_of(waste.material)
                story.waste.append(waste)
                _vessel(story, waste.container)
        for loss in each.losses:
            if loss.material_id in fluids:
                story = story_of(loss.material)
                story.losses.append(loss)
                if loss.container is not None:
                    _vessel(story, loss.container)


def _vessel(story: FluidStory, container: Container) -> Vessel:
    return story.vessels.setdefault(container.pk, Vessel(container))


def _note_reading(vessel: Vessel, reading: ContainerReading, told: Told) -> None:
    """The first reading of a start and the last of an end count; reports come in order of time."""
    if reading.moment == ContainerReading.Moment.START:
        vessel.start = vessel.start or reading
    else:
        vessel.end, vessel.end_at = reading, told.report.occurred_at


def _add_unnamed(told: Sequence[Told], story: FluidStory) -> None:
    """Tries of which nobody said what went in: the day's fluid, most likely."""
    unnamed = [row for each in told for row in each.attempts if row.fluid is None]
    story.attempts = [*story.attempts, *unnamed]


def _add_runs(story: FluidStory, told: Sequence[Told]) -> None:
    cleanings: dict[int, list[RunCleaning]] = {}
    for each in told:
        for row in each.cleanings:
            cleanings.setdefault(row.run_id, []).append(row)
    swept = [catch for catch, _spans in story.catches if catch.kind == FluidCaught.Kind.SWEPT]
    keys = {catch.run_id for catch in swept if catch.run_id is not None}
    story.runs = {run.pk: run for run in Run.objects.filter(pk__in=keys).select_related("job")}
    for key in story.runs:
        rows = cleanings.get(key, [])
        story.is_clean[key] = any(row.is_clean for row in rows) or not rows
    spans = Span.objects.filter(run__in=story.runs, is_withdrawn=False)
    for span in spans.select_related("cable_size", "as_found_size", "job", "place").order_by(
        "run", "sequence"
    ):
        story.spans_of_runs.setdefault(span.run_id, []).append(span)


def _add_book(stories: Sequence[FluidStory], day: CrewDay) -> None:
    zone = ZoneInfo(get_company().time_zone)
    began = datetime.combine(day.date, time(), tzinfo=zone)
    ended = began + timedelta(days=1)
    keys = {key for story in stories for key in story.vessels}
    stock = load_stock(StockSearch(keys, places=(), vehicle=day.vehicle, loose=(), moment=began))
    materials = Material.objects.in_bulk({key for story in stories for key in story.family})
    last_read = _find_last_read(keys, began)
    for story in stories:
        for key, vessel in story.vessels.items():
            vessel.before = sum(
                story.as_fluid(stock.in_container(vessel.container, materials[material]), materials[material])
                for material in story.family
            )
            amount, uncertainty = last_read.get(key, (0, None))
            # What the book has emptied since is not as unsure as what was in it.
            is_emptied = bool(amount) and not vessel.before
            vessel.before_uncertainty = None if is_emptied else uncertainty
    _add_pours(stories, materials, began, ended)


def _find_last_read(keys: Iterable[int], before: datetime) -> dict[int, tuple[int, float]]:
    """The last reading of each container before a moment, with its uncertainty."""
    rows = ContainerReading.objects.filter(
        container__in=keys,
        moment=ContainerReading.Moment.END,
        report__is_undone=False,
        report__occurred_at__lt=before,
    ).order_by("report__occurred_at", "pk")
    found = rows.values_list("container", "amount", "standard_uncertainty")
    return {container: (amount, uncertainty) for container, amount, uncertainty in found}


def _add_pours(
    stories: Sequence[FluidStory], materials: dict[int, Material], began: datetime, ended: datetime
) -> None:
    """What the book has going in and out of the day's containers beside the reports; counts mend `before`."""
    home = {key: story for story in stories for key in story.vessels}
    rows = (
        Movement.objects.filter(Q(source_container__in=home) | Q(target_container__in=home))
        .filter(effective_at__gt=began, effective_at__lte=ended, material__in=materials)
        .filter(entry__reversed_by__isnull=True, entry__reverses__isnull=True)
        .exclude(entry__document__startswith="report:")
        .exclude(entry__document__startswith=DOCUMENT_PREFIX)
        .exclude(purpose__in=NO_FLOWS)
        .order_by("pk")
    )
    for row in rows:
        source, target = (home.get(key or 0) for key in (row.source_container_id, row.target_container_id))
        story = source or target
        if story is None or row.source_container_id == row.target_container_id:
            continue
        amount = story.as_fluid(row.quantity, materials[row.material_id])
        ends = [
            _vessel_if_open(story, key, row.effective_at)
            for key in (row.source_container_id, row.target_container_id)
        ]
        if row.purpose == Movement.Purpose.COUNTED:
            for vessel, sign in zip(ends, (-1, 1), strict=True):
                if vessel is not None:
                    vessel.before += sign * amount
        elif any(ends):
            boxes = [vessel.container if vessel is not None else None for vessel in ends]
            is_received = row.purpose == Movement.Purpose.RECEIVED
            story.pours.append(Pour(boxes[0], boxes[1], amount, len(story.pours) + 1, is_received))


def _vessel_if_open(story: FluidStory, key: int | None, at: datetime) -> Vessel | None:
    """The day's vessel, unless it was read before: then what came later is not in the reading."""
    vessel = story.vessels.get(key or 0)
    is_closed = vessel is not None and vessel.end_at is not None and at > vessel.end_at
    return None if is_closed else vessel
