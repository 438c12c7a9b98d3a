"""What the parts of a booking have in common: flows gathered while the stock changes under them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from inventory.calc.allocation import allocate_money
from inventory.models import Material, Movement, Party, Place
from inventory.services.posting import CountLine, End, Flow
from inventory.units import MILLION, convert
from jobs.models import Span, SpanAttempt
from jobs.services.reports.rows import Told
from jobs.services.reports.scene import Scene

Purpose = Movement.Purpose


@dataclass
class Draft:
    """The flows and counts of a report. `caught` are flows of recovered fluids beyond the first, by material,
    with what became of them since; `caught_counts` the readings of what they came into.

    A conversion's cost is shared over all its products, so two fluids must not meet in one entry.
    """

    told: Told
    scene: Scene
    flows: list[Flow] = field(default_factory=list)
    counts: list[CountLine] = field(default_factory=list)
    caught: dict[str, list[Flow]] = field(default_factory=dict)
    caught_counts: dict[str, list[CountLine]] = field(default_factory=dict)

    def move(
        self,
        material: Material,
        quantity: int,
        source: End,
        target: End,
        purpose: Purpose,
        *,
        cause: str = "",
        share: Fraction = Fraction(1),
        owner: Party | None = None,
    ) -> None:
        """Add a flow; nothing at all moves nothing."""
        if quantity <= 0:
            return
        # What was caught apart can be taken further only behind its catch.
        flows = self.caught.get(material.code, self.flows)
        flows.append(
            Flow(
                material=material,
                quantity=quantity,
                source=source,
                target=target,
                purpose=purpose,
                owner=owner or owner_of(source, target, company=self.scene.company),
                cause=cause,
                value_share=share,
            )
        )
        self.scene.stock.move(material, quantity, source, target)

    def take_from_truck(
        self, material: Material, quantity: int, target: End, purpose: Purpose, *, cause: str = ""
    ) -> None:
        """Take the company's goods off the truck, wherever they lie on it; what is lacking as loose ones."""
        vehicle = self.scene.crew_day.vehicle
        left = quantity
        for lying in self.scene.stock.ends_with(vehicle, {material.pk}):
            box = lying.container
            if box is not None and box.owner_id != self.scene.company.pk:
                continue
            part = min(left, lying.quantity)
            self.move(material, part, End(vehicle, box), target, purpose, cause=cause)
            left -= part
            if not left:
                return
        self.move(material, left, End(vehicle), target, purpose, cause=cause)


def owner_of(*ends: End, company: Party) -> Party:
    """Whose goods these are: the containers say so, loose goods are the company's."""
    for end in ends:
        if end.container is not None and end.container.owner_id != company.pk:
            return end.container.owner
    return company


def share_out(total: int, weights: Sequence[int]) -> list[int]:
    """Whole parts of a whole in proportion to whole weights; alike where all weigh nothing."""
    if not weights:
        return []
    if not any(weights):
        weights = [1] * len(weights)
    return allocate_money(total_minor_units=total, weights=weights)


def share_within(total: int, weights: Sequence[int], limits: Sequence[int]) -> list[int]:
    """The same, but none gets more than its limit while another has room; what is over goes by weight."""
    given = [0] * len(weights)
    left = total
    while left > 0:
        room = [number for number in range(len(weights)) if given[number] < limits[number]]
        if not room:
            break
        parts = share_out(left, [weights[number] for number in room])
        for number, part in zip(room, parts, strict=True):
            part = min(part, limits[number] - given[number])
            given[number] += part
            left -= part
        if not any(parts):
            break
    over = share_out(left, weights) if left > 0 else [0] * len(weights)
    return [part + more for part, more in zip(given, over, strict=True)]


def bore_weight(span: Span) -> int:
    """The bore volume of a span as a whole number: only its proportion to that of others is used."""
    bore_um = round(span.found_size.bore_mm * 1000)
    return bore_um * bore_um * span.found_length_um


def attempt_weight(attempt: SpanAttempt) -> int:
    """How much of a bore an attempt can have filled: the part whose core came out, all where all did."""
    whole = bore_weight(attempt.span)
    if attempt.outcome == SpanAttempt.Outcome.ALL_OUT:
        return whole
    length = attempt.span.found_length_um
    if attempt.core_out_um is not None:
        return whole * min(attempt.core_out_um, length) // length
    return 0 if attempt.outcome == SpanAttempt.Outcome.NO_MOVEMENT else whole


def as_material(quantity: int, material: Material, other: Material) -> int:
    """The same volume in millionths of another material's stock unit."""
    if material.stock_unit == other.stock_unit:
        return quantity
    return round(convert(Fraction(quantity, MILLION), material.stock_unit, other.stock_unit) * MILLION)


def worked_spans(draft: Draft) -> list[Span]:
    """The spans that were worked on that day, as far as it is known."""
    attempts = [*draft.scene.measured, *draft.scene.earlier, *draft.told.attempts]
    return list({attempt.span_id: attempt.span for attempt in attempts}.values())


def share_by_spans(draft: Draft, quantity: int) -> list[tuple[Place, int]]:
    """A loss of the day by the number of spans worked: to their jobs, since pieces are not cut smaller.

    Nowhere where nobody knows what was worked on.
    """
    counts: dict[int, int] = {}
    places: dict[int, Place] = {}
    for span in worked_spans(draft):
        place = span.job.place
        places[place.pk] = place
        counts[place.pk] = counts.get(place.pk, 0) + 1
    parts = share_out(quantity, list(counts.values()))
    return [(places[key], part) for key, part in zip(counts, parts, strict=True)]
