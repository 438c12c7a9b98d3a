"""Fluid that came back: out of the spans it was in, by bore volume, into the containers that caught it."""

from fractions import Fraction

from inventory.models import Material, Place
from inventory.services.posting import End, Flow
from jobs.models import FluidCaught, Span
from jobs.services.reports.drafting import (
    Draft,
    Purpose,
    as_material,
    bore_weight,
    owner_of,
    share_out,
    share_within,
    worked_spans,
)
from jobs.services.reports.injected import find_before, leaving_otherwise


def draft_caught(draft: Draft) -> None:
    """Bring back what was caught. Of a container that was read, the reading says how much that was."""
    amounts = _find_amounts(draft)
    products: dict[str, list[Flow]] = {}
    for number, quantity in amounts.items():
        row = draft.told.caught[number]
        if quantity > 0:
            flows = _bring_back(draft, row, _spans_of(draft, number), quantity)
            products.setdefault(row.material.code, []).extend(flows)
    for place, (code, flows) in enumerate(products.items()):
        if place:
            draft.caught[code] = flows
        else:
            draft.flows += flows


def _find_amounts(draft: Draft) -> dict[int, int]:
    """For each catch the amount to be booked."""
    told = draft.told
    amounts = {number: row.amount or 0 for number, row in enumerate(told.caught)}
    read = {row.container_id: row for row in told.end_readings}
    for box in {row.container_id: row.container for row in told.caught}.values():
        here = [number for number, row in enumerate(told.caught) if row.container_id == box.pk]
        reading = read.get(box.pk)
        material = reading.material if reading is not None else told.caught[here[0]].material
        came = leaving_otherwise(draft, box) - find_before(draft, box, material)
        came += sum(row.injected or 0 for row in told.attempts if row.source_container_id == box.pk)
        unmeasured = [number for number in here if told.caught[number].amount is None]
        if reading is not None:
            came += reading.amount
        elif not unmeasured or came <= sum(amounts[number] for number in here):
            # Nobody read what is left, so only what left it says that more must have come.
            continue
        if came > 0:
            _share_came(amounts, here, unmeasured, came)
    return amounts


def _share_came(amounts: dict[int, int], here: list[int], unmeasured: list[int], came: int) -> None:
    """Give what came into a container beyond what was told to those that nobody measured, else to all."""
    rest = came - sum(amounts[number] for number in here)
    takers = unmeasured if unmeasured and rest > 0 else here
    weights = [amounts[number] for number in takers] if rest < 0 or not unmeasured else []
    for number, part in zip(takers, share_out(rest, weights or [1] * len(takers)), strict=True):
        amounts[number] = max(amounts[number] + part, 0)


def _spans_of(draft: Draft, number: int) -> list[Span]:
    """The spans that a catch came from: named, those of its run, or those worked that day."""
    row = draft.told.caught[number]
    named = draft.told.caught_spans[number]
    if named:
        return named
    if row.run_id is not None:
        return draft.scene.spans_of_runs.get(row.run_id, [])
    return worked_spans(draft)


def _bring_back(draft: Draft, row: FluidCaught, spans: list[Span], quantity: int) -> list[Flow]:
    """Take the fluid out of the spans: as what it is where it went in recovered, else as the fresh one."""
    stock, recovered = draft.scene.stock, row.material
    fresh = recovered.recovered_from or recovered
    places = [span.place for span in spans] or _places_without_spans(draft, row)
    inside = [
        stock.at_place(place, recovered)
        + (as_material(stock.at_place(place, fresh), fresh, recovered) if fresh != recovered else 0)
        for place in places
    ]
    weights = [bore_weight(span) for span in spans] or [1] * len(places)
    target = draft.scene.end_of(row.container)
    flows: list[Flow] = []
    converted = 0
    for place, part in zip(places, share_within(quantity, weights, inside), strict=True):
        as_it_is = part if fresh == recovered else min(part, stock.at_place(place, recovered))
        draft.move(recovered, as_it_is, End(place), target, Purpose.RECOVERED)
        flows += _to_process(draft, fresh, recovered, part - as_it_is, place, target)
        converted += part - as_it_is
    if converted:
        flows.append(_from_process(draft, recovered, converted, target))
        stock.move(recovered, converted, End(draft.scene.special_place(Place.Kind.PROCESS)), target)
    return flows


def _places_without_spans(draft: Draft, row: FluidCaught) -> list[Place]:
    """Where nobody knows the spans: the run, else the book's differences."""
    return [row.run.place] if row.run is not None else [draft.scene.special_place(Place.Kind.VARIANCE)]


def _to_process(
    draft: Draft, fresh: Material, recovered: Material, quantity: int, place: Place, target: End
) -> list[Flow]:
    if quantity <= 0:
        return []
    leaving = as_material(quantity, recovered, fresh)
    process = End(draft.scene.special_place(Place.Kind.PROCESS))
    draft.scene.stock.move(fresh, leaving, End(place), process)
    return [
        Flow(
            material=fresh,
            quantity=leaving,
            source=End(place),
            target=process,
            purpose=Purpose.RECOVERED,
            owner=owner_of(target, company=draft.scene.company),
            value_share=Fraction(recovered.recovered_value_share, 10**6),
        )
    ]


def _from_process(draft: Draft, recovered: Material, quantity: int, target: End) -> Flow:
    return Flow(
        material=recovered,
        quantity=quantity,
        source=End(draft.scene.special_place(Place.Kind.PROCESS)),
        target=target,
        purpose=Purpose.RECOVERED,
        owner=owner_of(target, company=draft.scene.company),
        weight=quantity,
    )
