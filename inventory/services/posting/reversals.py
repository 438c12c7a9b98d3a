"""Undoing an entry by its opposite, as far as what it brought is still there."""

from django.db.models import QuerySet

from inventory.models import ContainerChange, CountReading, Entry, Movement
from inventory.services.posting.book import find_counted_at
from inventory.services.posting.errors import GoodsMovedOn
from inventory.services.posting.keys import HeadKey, HoldingKey, PoolKey
from inventory.services.posting.layers import settle, take_layers
from inventory.services.posting.request import End, Flow
from inventory.services.posting.scribe import Scribe
from inventory.services.posting.vessels import record_change

Purpose = Movement.Purpose


def plan_reversal(scribe: Scribe, original: Entry) -> None:
    """Draft the opposite of an entry, last line first.

    What the original took out of a later count's difference is not turned round: the opposite tells of
    the same moment, so it is settled against that count by itself.
    """
    movements = list(
        original.movements.select_related(
            "material",
            "owner",
            "source_place",
            "target_place",
            "source_container",
            "target_container",
            "lot",
        ).order_by("-line")
    )
    _uncount(scribe, original.key)
    for movement in movements:
        if movement.purpose != Purpose.COUNT_SETTLED:
            _reverse_movement(scribe, movement)
    for change in original.container_changes.select_related("container", "source_place", "target_place"):
        _reverse_change(scribe, change)


def _uncount(scribe: Scribe, entry_key: int) -> None:
    """A reversed count no longer stands: the count before it does, and somebody should look."""
    for reading in CountReading.objects.filter(entry=entry_key):
        head = HeadKey(reading.place_id, reading.material_id, reading.owner_id)
        key = HoldingKey(head, reading.container_id or 0)
        state = scribe.book.holding(key)
        if state.counted_at == reading.counted_at:
            _refuse_settled_since(scribe, entry_key, reading)
            state.counted_at = find_counted_at(key, without_entry=entry_key)
            state.is_unsettled = state.is_changed = True


def _refuse_settled_since(scribe: Scribe, entry_key: int, reading: CountReading) -> None:
    late = Movement.objects.filter(
        entry__gt=entry_key,
        entry__reversed_by__isnull=True,
        purpose=Purpose.COUNT_SETTLED,
        effective_at=reading.counted_at,
        material=reading.material_id,
    )
    names = _name_entries(late.filter(source_place=reading.place_id)) or _name_entries(
        late.filter(target_place=reading.place_id)
    )
    if names:
        raise GoodsMovedOn(
            f"The count cannot be reversed: later entries were settled against it ({names}). "
            "Reverse those first, or count again."
        )


def _reverse_movement(scribe: Scribe, movement: Movement) -> None:
    flow = Flow(
        material=movement.material,
        quantity=movement.quantity,
        source=End(movement.target_place, movement.target_container),
        target=End(movement.source_place, movement.source_container),
        purpose=Purpose(movement.purpose),
        owner=movement.owner,
        lot=movement.lot,
        cause=movement.cause,
    )
    at = movement.effective_at
    source_late = scribe.find_later_count(flow.source, flow, at)
    target_late = scribe.find_later_count(flow.target, flow, at)
    if source_late:
        settle(scribe, flow, movement.quantity, scribe.variance(), flow.source, source_late)
    elif flow.source.place.keeps_stock:
        _refuse_moved_on(scribe, flow, movement)
    _give_back(scribe, flow, movement)
    if target_late:
        settle(scribe, flow, movement.quantity, flow.target, scribe.variance(), target_late)


def _refuse_moved_on(scribe: Scribe, flow: Flow, movement: Movement) -> None:
    if scribe.book.holding(flow.key_at(flow.source)).quantity >= movement.quantity:
        return
    names = _name_entries(
        Movement.objects.filter(
            source_place=flow.source.place,
            source_container=flow.source.container,
            material=flow.material,
            entry__gt=movement.entry_id,
        )
    )
    raise GoodsMovedOn(
        f"What this entry brought to {flow.source.place} has moved on ({names}). Reverse those entries first."
    )


def _give_back(scribe: Scribe, flow: Flow, movement: Movement) -> None:
    """Give the goods back with the value they came with, as far as the pool still has it.

    At most the pool's share is taken, since the rest belongs to goods that stay; what is lacking or
    left over goes through price variance.
    """
    owed, left = movement.value, movement.value
    for lot_id, part, cost in _layers_back(scribe, flow, movement):
        going = min(cost, left)
        scribe.record(flow, flow.source, flow.target, part, going, lot_id, purpose=flow.purpose)
        left -= going
        head = flow.head_at(flow.source)
        pool = scribe.book.pool(PoolKey(head, lot_id))
        if flow.source.place.keeps_stock and pool.quantity == 0 and pool.value > 0:
            scribe.record_price_variance(flow, flow.source, scribe.price_variance(), pool.value, lot_id)
    if owed and left:
        lot_id = movement.lot_id or 0
        scribe.record_price_variance(flow, scribe.price_variance(), flow.target, left, lot_id)


def _layers_back(scribe: Scribe, flow: Flow, movement: Movement) -> list[tuple[int, int, int]]:
    if not flow.source.place.keeps_stock or movement.quantity == 0 or not flow.owner.is_company:
        return [(movement.lot_id or 0, movement.quantity, movement.value)]
    if flow.source.place == flow.target.place:
        return [(0, movement.quantity, movement.value)]
    return take_layers(scribe, flow, flow.source, flow.head_at(flow.source), movement.quantity)


def _reverse_change(scribe: Scribe, change: ContainerChange) -> None:
    container = scribe.book.containers[change.container_id]
    if container.place_id != change.target_place_id:
        raise GoodsMovedOn(f"{container} was moved on to {container.place} since. Reverse that move first.")
    before = (container.place, container.state, container.contents_state)
    container.place = change.source_place
    container.state, container.contents_state = change.state_before, change.contents_state_before
    record_change(scribe, container, before)


def _name_entries(movements: QuerySet[Movement]) -> str:
    rows = movements.select_related("entry").order_by("entry")[:5]
    return ", ".join(
        f"{row.entry.kind} of {row.entry.occurred_at:%Y-%m-%d %H:%M} ({row.entry.document or row.entry.uuid})"
        for row in rows
    )
