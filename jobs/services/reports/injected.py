"""Fluid that went into spans: as metered or told, and what the readings of the drums say beyond that.

A drum that was read holds what was read, so what left it is known whatever was metered: book before, less
what is left. What was told outright is taken from it first. What then remains goes to the tries that nobody
measured, by bore volume; where all were measured, they take it, or give it back, between them; where a report
tells of none, to the spans of the day. So a reading
and a draw never count twice, and the difference lands on the spans and not on a drum.
"""

from collections.abc import Collection
from dataclasses import dataclass, field

from django.db.models import Sum

from inventory.models import Container, Holding, Material, Movement, Party, Place
from inventory.services.posting import End
from jobs.models import ReportedLoss, Span, SpanAttempt
from jobs.services.reports.drafting import (
    Draft,
    Purpose,
    as_material,
    attempt_weight,
    share_by_spans,
    share_out,
    worked_spans,
)
from jobs.services.reports.names import load_spans_of_runs


@dataclass
class _Source:
    """A drum that fluid was drawn from. `gone` is what its reading says left it, None without one."""

    container: Container
    material: Material
    gone: int | None
    draws: dict[int, int] = field(default_factory=dict)

    @property
    def rest(self) -> int:
        """What the reading says beyond what was told."""
        return 0 if self.gone is None else self.gone - sum(self.draws.values())


class _Injection:
    """The tries of a day against its drums. Draws are by the position of the try in `attempts`."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.attempts = [*draft.scene.earlier, *draft.told.attempts]
        # Behind them those whose amounts are booked: they take only what nobody else can have taken.
        self.open_count = len(self.attempts)
        self.attempts += draft.scene.measured
        self.weights = [attempt_weight(attempt) for attempt in self.attempts]
        if not any(self.weights):
            self.weights = [1] * len(self.attempts)
        self.sources: dict[int, _Source] = {}
        # Told without a drum: what of it no drum that was read accounts for.
        self.open: dict[int, int] = {}

    def find_draws(self) -> None:
        self._read_drums()
        self._take_told()
        self._fill_open()
        for source in self.sources.values():
            self._share_rest(source)

    def _read_drums(self) -> None:
        draft = self.draft
        catches = {row.container_id for row in draft.told.caught}
        # Of a drum that was handed over whole, nobody can say what had been drawn before.
        catches |= {row.container_id for row in draft.told.waste if row.amount is None}
        for reading in draft.told.end_readings:
            box = reading.container
            if box.pk in catches or reading.material.kind != Material.Kind.FLUID:
                continue
            gone = find_before(draft, box, reading.material) - reading.amount
            gone -= leaving_otherwise(draft, box)
            self.sources[box.pk] = _Source(box, reading.material, gone)

    def _take_told(self) -> None:
        for number, attempt in enumerate(self.attempts[: self.open_count]):
            if attempt.injected is None:
                continue
            assert attempt.fluid is not None
            box = attempt.source_container
            if box is None:
                self.open[number] = attempt.injected
                continue
            material = self.draft.scene.stock.material_in(box) or attempt.fluid
            source = self.sources.setdefault(box.pk, _Source(box, material, None))
            source.draws[number] = as_material(attempt.injected, attempt.fluid, source.material)

    def _fill_open(self) -> None:
        """Take what was told without a drum from the drums whose readings leave something over."""
        for number in self.open:
            fluid = self.attempts[number].fluid
            assert fluid is not None
            for source in self.sources.values():
                if source.rest <= 0 or not is_same_fluid(source.material, fluid):
                    continue
                wanted = as_material(self.open[number], fluid, source.material)
                part = min(wanted, source.rest)
                source.draws[number] = source.draws.get(number, 0) + part
                self.open[number] -= as_material(part, source.material, fluid)

    def _share_rest(self, source: _Source) -> None:
        """Give what a reading says beyond what was told to those it may have gone to."""
        rest = source.rest
        if source.gone is None or not rest or source.gone <= 0:
            return
        takers = self._unmeasured(source) if rest > 0 else []
        if not takers:
            takers = list(source.draws)
        if not takers and rest > 0:
            takers = list(self.open) or list(range(self.open_count, len(self.attempts)))
        weights = [self.weights[number] for number in takers]
        if rest < 0:
            # A part of each draw comes off, in proportion to it, so that none falls below nothing.
            weights = [source.draws[number] for number in takers]
        for number, part in zip(takers, share_out(rest, weights), strict=True):
            source.draws[number] = source.draws.get(number, 0) + part

    def _unmeasured(self, source: _Source) -> list[int]:
        return [
            number
            for number, attempt in enumerate(self.attempts[: self.open_count])
            if attempt.injected is None
            and self.weights[number]
            and (attempt.source_container_id in (None, source.container.pk))
        ]


def draft_injected(draft: Draft) -> None:
    """Draw fluid from drums to spans; of it, what was lost there is charged as lost with its cause."""
    injection = _Injection(draft)
    injection.find_draws()
    lost = _LostOnTheWay(draft)
    for source in injection.sources.values():
        end = draft.scene.end_of(source.container)
        for number, quantity in source.draws.items():
            lost.draw(injection.attempts[number], source.material, quantity, [(end, quantity)])
    for number, quantity in injection.open.items():
        attempt = injection.attempts[number]
        assert attempt.fluid is not None
        ends = _find_on_truck(draft, attempt.fluid, quantity, set(injection.sources))
        lost.draw(attempt, attempt.fluid, quantity, ends)
    lost.take_rest(injection)


class _LostOnTheWay:
    """Fluid losses without a container: lost out of what was drawn for a span, so it is not drawn again.

    What this report drew comes first, then what was used at those spans before, then the truck's drums.
    """

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.left: list[tuple[ReportedLoss, int]] = []
        for row in draft.told.losses:
            is_fluid = row.material.kind == Material.Kind.FLUID
            if is_fluid and row.container_id is None and row.amount:
                self.left.append((row, row.amount))

    def draw(
        self, attempt: SpanAttempt, material: Material, quantity: int, ends: list[tuple[End, int]]
    ) -> None:
        target = End(attempt.span.place)
        for end, part in ends:
            part -= self._lose(attempt, material, part, end, target)
            self.draft.move(material, part, end, target, Purpose.USED)

    def _lose(self, attempt: SpanAttempt, material: Material, quantity: int, end: End, target: End) -> int:
        taken = 0
        for number, (row, left) in enumerate(self.left):
            is_here = row.span_id in (None, attempt.span_id) and (row.run_id in (None, attempt.span.run_id))
            if not left or not is_here or not is_same_fluid(material, row.material):
                continue
            part = min(as_material(left, row.material, material), quantity - taken)
            self.draft.move(material, part, end, target, Purpose.LOST, cause=row.cause)
            self.left[number] = (row, left - as_material(part, material, row.material))
            taken += part
        return taken

    def take_rest(self, injection: _Injection) -> None:
        """Book what the draws of this report did not cover: a told loss never vanishes."""
        for row, left in self.left:
            if left:
                left -= self._lose_at_spans(row, left)
                for source in injection.sources.values():
                    # A reading may say of a drum that something left it for no span that is known.
                    if left and source.rest > 0 and is_same_fluid(source.material, row.material):
                        wanted = as_material(left, row.material, source.material)
                        part = min(wanted, source.rest)
                        assert source.gone is not None
                        source.gone -= part
                        end = self.draft.scene.end_of(source.container)
                        self._lose_from(end, source.material, part, row)
                        left -= left if part == wanted else as_material(part, source.material, row.material)
                read = set(injection.sources)
                for end, part in _find_on_truck(self.draft, row.material, left, read):
                    self._lose_from(end, row.material, part, row)

    def _lose_from(self, end: End, material: Material, quantity: int, row: ReportedLoss) -> None:
        for target, part in find_targets(self.draft, row, quantity):
            self.draft.move(material, part, end, target, Purpose.LOST, cause=row.cause)

    def _lose_at_spans(self, row: ReportedLoss, quantity: int) -> int:
        """Charge as lost what was charged as used before. It comes back for that, and goes out again."""
        spans = self._spans_of(row)
        if not spans:
            return 0
        taken, truck = 0, End(self.draft.scene.crew_day.vehicle)
        used = find_used_at({span.place_id for span in spans}, row.material, self.draft.scene.company)
        for span in spans:
            part = min(used.get(span.place_id, 0), quantity - taken)
            end = End(span.place)
            self.draft.move(row.material, part, end, truck, Purpose.USED)
            self.draft.move(row.material, part, truck, end, Purpose.LOST, cause=row.cause)
            taken += max(part, 0)
        return taken

    def _spans_of(self, row: ReportedLoss) -> list[Span]:
        """Where it may have been lost. What was stolen without a place was stolen from the truck."""
        if row.span is not None:
            return [row.span]
        if row.run_id is not None:
            return load_spans_of_runs([row.run_id]).get(row.run_id, [])
        return [] if row.cause == Movement.Cause.THEFT else worked_spans(self.draft)


def draft_losses(draft: Draft, *, of_catches: bool) -> None:
    """Losses out of a container, and of goods that are no fluid.

    Those out of containers that something came into are booked behind it, with `of_catches`.
    """
    catches = {row.container_id for row in draft.told.caught}
    for row in draft.told.losses:
        is_fluid = row.material.kind == Material.Kind.FLUID
        if row.amount is None or (is_fluid and row.container is None):
            continue
        if (row.container_id in catches) != of_catches:
            continue
        for target, part in find_targets(draft, row, row.amount):
            if row.container is not None:
                end = draft.scene.end_of(row.container)
                material = draft.scene.stock.material_in(row.container) or row.material
                if material.kind != row.material.kind:
                    material = row.material
                quantity = as_material(part, row.material, material)
                draft.move(material, quantity, end, target, Purpose.LOST, cause=row.cause)
            else:
                draft.take_from_truck(row.material, part, target, Purpose.LOST, cause=row.cause)


def find_targets(draft: Draft, row: object, quantity: int) -> list[tuple[End, int]]:
    """To which work a piece or a loss goes: its span, its run, or the day's jobs by their spans."""
    span, run = getattr(row, "span", None), getattr(row, "run", None)
    if span is not None:
        return [(End(span.place), quantity)]
    if run is not None:
        return [(End(run.place), quantity)]
    found = share_by_spans(draft, quantity)
    if found:
        return [(End(place), part) for place, part in found]
    return [(End(draft.scene.special_place(Place.Kind.VARIANCE)), quantity)]


def find_before(draft: Draft, container: Container, material: Material) -> int:
    """What was in a container before the day's work: as read at its start, else as the book has it."""
    for row in draft.told.readings:
        if row.moment == row.Moment.START and row.container_id == container.pk:
            return as_material(row.amount, row.material, material)
    return draft.scene.stock.in_container(container, material)


def leaving_otherwise(draft: Draft, container: Container) -> int:
    """What left a container as a told loss or as waste."""
    lost = sum(row.amount or 0 for row in draft.told.losses if row.container_id == container.pk)
    return lost + sum(row.amount or 0 for row in draft.told.waste if row.container_id == container.pk)


def find_used_at(places: Collection[int], material: Material, company: Party) -> dict[int, int]:
    """By place, what the book has there of a fluid as used: what lies there less what was lost there."""
    rows = Holding.objects.filter(place__in=places, material=material, owner=company, container=None)
    found = dict(rows.values_list("place", "quantity"))
    lost = Movement.objects.filter(material=material, owner=company, purpose=Purpose.LOST).order_by()
    for end, sign in (("target_place", -1), ("source_place", 1)):
        sums = lost.filter(**{f"{end}__in": places}).values_list(end).annotate(Sum("quantity"))
        for place, quantity in sums:
            found[place] = found.get(place, 0) + sign * int(quantity)
    return found


def is_same_fluid(one: Material, other: Material) -> bool:
    """Whether one is the other, or its recovered form."""
    return one.pk == other.pk or one.recovered_from_id == other.pk or other.recovered_from_id == one.pk


def _find_on_truck(draft: Draft, fluid: Material, quantity: int, read: set[int]) -> list[tuple[End, int]]:
    """From which drums of the truck that nobody read so much fluid came; what is lacking as loose fluid."""
    vehicle = draft.scene.crew_day.vehicle
    found: list[tuple[End, int]] = []
    left = quantity
    for lying in draft.scene.stock.ends_with(vehicle, {fluid.pk}):
        if lying.container is not None and lying.container.pk in read:
            continue
        part = min(left, lying.quantity)
        if part > 0:
            found.append((End(vehicle, lying.container), part))
            left -= part
    if left > 0:
        found.append((End(vehicle), left))
    return found
