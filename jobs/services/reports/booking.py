"""A report in the book: its rows become flows and counts of one entry, and are taken out of it again."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from inventory.models import Actor, Entry, FluidCatch, Material, Movement, Party, Place
from inventory.queries.company import get_company
from inventory.queries.instruments import trust_instruments
from inventory.services.corrections import reverse
from inventory.services.fluids.catching import note_catches
from inventory.services.measuring import measure
from inventory.services.posting import CountLine, Flow, Posting, post
from inventory.services.posting.rows import Select, read_rows
from jobs.models import ContainerReading, CrewDay, FieldReport, Span
from jobs.services.reports.as_found import see_as_found
from jobs.services.reports.caught import draft_caught
from jobs.services.reports.drafting import Draft, owner_of
from jobs.services.reports.earlier import Earlier
from jobs.services.reports.goods import draft_fibre, draft_pieces, draft_projectiles, draft_waste
from jobs.services.reports.injected import draft_injected, draft_losses
from jobs.services.reports.repeats import see_repeats, select_repeats
from jobs.services.reports.rows import Told
from jobs.services.reports.scene import Known, Scene, Stock, StockSearch

# The step of a report under which nearly all of it is booked; other recovered fluids have one of their own.
BOOK_STEP = "book"


def book_report(told: Told, scene: Scene, *, by: Actor) -> None:
    """Post what a report tells, as one entry where it can be, and note that it was.

    What was already posted under an earlier number of `postings` was reversed before.
    """
    draft = draft_report(told, scene)
    report = told.report
    entry = _post(report, scene.crew_day, BOOK_STEP, by, draft.flows, draft.counts)
    _note_kinds(told, entry, draft.flows)
    for code, flows in draft.caught.items():
        counts = draft.caught_counts.get(code, ())
        entry = _post(report, scene.crew_day, f"caught:{code}", by, flows, counts)
        _note_kinds(told, entry, flows)


def draft_report(told: Told, scene: Scene) -> Draft:
    """The flows and counts of a report, in the order in which they happened: out, back, away, read."""
    draft = Draft(told, scene)
    draft_injected(draft)
    draft_losses(draft, of_catches=False)
    draft_pieces(draft)
    draft_projectiles(draft)
    draft_fibre(draft)
    draft_caught(draft)
    draft_losses(draft, of_catches=True)
    draft_waste(draft)
    for row in told.end_readings:
        line = CountLine(
            end=scene.end_of(row.container),
            material=row.material,
            owner=owner_of(scene.end_of(row.container), company=scene.company),
            quantity=row.amount,
        )
        code = row.material.code
        counts = draft.caught_counts.setdefault(code, []) if code in draft.caught else draft.counts
        counts.append(line)
    return draft


def _post(
    report: FieldReport,
    crew_day: CrewDay,
    step: str,
    by: Actor,
    flows: Sequence[Flow],
    counts: Sequence[CountLine],
) -> Entry | None:
    if not flows and not counts:
        return None
    return post(
        Posting(
            uuid=report.entry_id(f"{step}:{report.postings}"),
            kind=Entry.Kind.REPORT,
            occurred_at=report.occurred_at,
            by=by,
            flows=tuple(flows),
            counts=tuple(counts),
            reason=f"field report of crew {crew_day.crew.code} for {crew_day.date}",
            document=report.document,
            opens_rows=True,
        )
    )


def _note_kinds(told: Told, entry: Entry | None, flows: Sequence[Flow]) -> None:
    """Keep beside the book what was caught and what was swept: out of a span both look the same there."""
    if entry is None or not told.caught:
        return
    boxes = {flow.target.container_id for flow in flows if flow.purpose == Movement.Purpose.RECOVERED}
    kinds = [(row.container, FluidCatch.Kind(row.kind)) for row in told.caught if row.container_id in boxes]
    if kinds:
        note_catches(entry=entry, kinds=kinds)


def unbook_report(told: Told, *, by: Actor, reason: str, covers_missing: bool = False) -> None:
    """Reverse what stands of a report in the book; its next posting gets another number.

    Raises
    ------
    GoodsMovedOn
        If goods it brought have been taken further by something else than a report, unless what is missing is
        covered from the book's differences.
    """
    report = told.report
    standing = Entry.objects.filter(uuid__in=entry_ids(told), reversed_by__isnull=True)
    for entry in standing.order_by("-key"):
        reverse(
            id=report.entry_id(f"reverse:{entry.uuid}"),
            by=by,
            entry=entry,
            reason=reason,
            covers_missing=covers_missing,
        )
    report.postings += 1
    report.save(update_fields=["postings"])


def entry_ids(told: Told) -> list[UUID]:
    """The ids under which the last posting of a report may stand in the book."""
    return list(told.report.standing_ids(row.material.code for row in told.caught).values())


class SceneSearch:
    """What has to be read to book a report, and the scene that becomes of it.

    `earlier` are the day's tries before the report; only where something of it is shared among them do they
    count.
    """

    def __init__(
        self,
        told: Told,
        crew_day: CrewDay,
        *,
        company: Party,
        spans_of_runs: dict[int, list[Span]],
        earlier: Earlier,
        special_places: dict[Place.Kind, Place] | None = None,
    ) -> None:
        self._told = told
        self._scene = Scene(
            crew_day, company, spans_of_runs, earlier.unmeasured, earlier.measured,
            special_places=special_places if special_places is not None else {},
        )  # fmt: skip
        self._spans = [row.span for row in (*earlier.unmeasured, *earlier.measured, *told.attempts)]
        self._spans += [span for part in told.caught_spans for span in part]
        self._spans += [span for part in spans_of_runs.values() for span in part]
        self._stock = StockSearch(
            containers=containers_of(told),
            places={span.place_id for span in self._spans} if told.caught else (),
            vehicle=crew_day.vehicle,
            loose=_loose_materials(told),
            moment=told.report.occurred_at,
        )

    def selects(self) -> list[Select]:
        return [*self._stock.selects(), *select_repeats(self._told)]

    def make(self, answers: Sequence[list[tuple[Any, ...]]]) -> Scene:
        """The scene, of the answers to the selects, with what the book holds where it has a say."""
        see_as_found(self._told, self._spans)
        see_repeats(self._told, answers[2:])
        self._scene.stock = self._stock.make(answers[:2], self._known())
        _name_contents(self._told, self._scene.stock)
        return self._scene

    def _known(self) -> Known:
        told, known = self._told, Known()
        known.add(self._scene.crew_day.vehicle, *(span.place for span in self._spans))
        for attempt in told.attempts:
            known.add(attempt.fluid, attempt.source_container)
        known.add(*(row.reel for row in told.blowings), *(row.projectile for row in told.cleanings))
        known.add(*(row.material for row in told.pieces))
        for part in (told.caught, told.readings, told.waste, told.losses):
            for row in part:
                known.add(row.material, row.container)
        for caught in told.caught:
            known.add(caught.material.recovered_from)
        return known


def load_scene(search: SceneSearch) -> Scene:
    """The scene that a search finds, by itself."""
    return search.make(read_rows(*search.selects()))


def _name_contents(told: Told, stock: Stock) -> None:
    """A reading is of what was in the container at its moment, which a late report may have shown since."""
    caught = {row.container_id: row.material for row in told.caught}
    for row in told.readings:
        inside = caught.get(row.container_id) or stock.material_in(row.container)
        is_fluid = row.material.kind == Material.Kind.FLUID
        if inside is not None and is_fluid and inside.pk != row.material_id:
            reference_c = get_company().reference_temperature_c
            _measure_again(row, inside, told=told, reference_c=reference_c)


def _measure_again(row: ContainerReading, material: Material, *, told: Told, reference_c: float) -> None:
    """Turn a reading into an amount of another material: the container held that one, as is known by now."""
    instruments = [row.instrument] if row.instrument is not None else []
    trusted = trust_instruments(instruments, on_date=told.report.crew_day.date)
    measured = measure(
        material=material,
        method=row.method,
        value=row.value or None,
        unit=row.unit,
        container=row.container,
        temperature_c=row.temperature_c,
        instrument=trusted.get(row.instrument_id or 0),
        reference_temperature_c=reference_c,
    )
    row.material, row.amount = material, max(measured.amount, 0)
    row.standard_uncertainty = measured.standard_uncertainty
    # A row that was kept in one message with others does not know its key.
    kept = ContainerReading.objects.filter(report=told.report, container=row.container, moment=row.moment)
    kept.update(material=material, amount=row.amount, standard_uncertainty=row.standard_uncertainty)


def containers_of(told: Told) -> set[int]:
    """The keys of all containers that a report touches."""
    found = {row.source_container_id for row in told.attempts} | {row.reel_id for row in told.blowings}
    for part in (told.caught, told.readings, told.waste, told.losses):
        found |= {row.container_id for row in part}
    return {key for key in found if key is not None}


def _loose_materials(told: Told) -> set[int]:
    """What a report takes off the truck without saying from which container."""
    found = {row.material_id for row in told.pieces}
    found |= {row.projectile_id for row in told.cleanings if row.fired and row.projectile_id}
    found |= {row.material_id for row in told.losses if row.container_id is None}
    return found | {
        row.fluid_id
        for row in told.attempts
        if row.source_container_id is None and row.injected is not None and row.fluid_id is not None
    }
