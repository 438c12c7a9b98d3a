"""Undoing an entry by its opposite, as far as what it brought is still there."""

from datetime import datetime

from django.db.models import Q, QuerySet

from inventory.models import Container, ContainerChange, CountReading, Entry, Movement, Place
from inventory.services.posting.book import find_counted_at
from inventory.services.posting.errors import AlreadyReversed, GoodsMovedOn
from inventory.services.posting.flows import cover_missing
from inventory.services.posting.keys import HeadKey, HoldingKey, PoolKey
from inventory.services.posting.layers import settle, take_layers
from inventory.services.posting.request import End, Flow
from inventory.services.posting.scribe import Scribe
from inventory.services.posting.vessels import record_change, was_counted_since

Purpose = Movement.Purpose


def plan_reversal(scribe: Scribe, original: Entry) -> None:
    """Draft the opposite of an entry, last line first.

    What the original took out of a later count's difference is not turned round: the opposite tells of
    the same moment, so it is settled against that count by itself. Goods that have gone further are refused,
    or come from variance where the posting covers what is missing.
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


def refuse_reversed(original: Entry) -> None:
    """Refuse to undo an entry a second time."""
    earlier = Entry.objects.filter(reverses=original).first()
    if earlier is not None:
        raise AlreadyReversed(f"This {original.kind} was reversed on {earlier.recorded_at:%Y-%m-%d} already.")


def _uncount(scribe: Scribe, entry_key: int) -> None:
    """A reversed count no longer stands: the count before it does, and somebody should look."""
    for reading in CountReading.objects.filter(entry=entry_key).select_related("container"):
        head = HeadKey(reading.place_id, reading.material_id, reading.owner_id)
        key = HoldingKey(head, reading.container_id or 0)
        state = scribe.book.holding(key)
        if scribe.book.counted_at(key) == reading.counted_at:
            if not scribe.posting.covers_missing:
                _refuse_settled_since(entry_key, reading)
            state.is_unsettled = state.is_changed = True
        if state.counted_at == reading.counted_at:
            state.counted_at = find_counted_at(key, without_entry=entry_key)
            state.is_changed = True


def _refuse_settled_since(entry_key: int, reading: CountReading) -> None:
    """Refuse where entries stand that rely on the count. One that was undone since relies on nothing."""
    late = (
        Movement.objects.filter(
            entry__gt=entry_key,
            entry__reversed_by__isnull=True,
            purpose=Purpose.COUNT_SETTLED,
            effective_at=reading.counted_at,
            material=reading.material_id,
            owner=reading.owner_id,
        )
        .exclude(entry__reverses__gt=entry_key)
        .filter(_touches(reading, "source") | _touches(reading, "target"))
    )
    names = _name_entries(late)
    if names:
        raise GoodsMovedOn(
            f"The count cannot be reversed: later entries were settled against it ({names}). "
            "Reverse those first, or count again."
        )


def _touches(reading: CountReading, side: str) -> Q:
    """Condition for movements with that end in what was counted: a vessel wherever it stood."""
    if reading.container is not None and reading.container.stands_somewhere:
        return Q(**{f"{side}_container": reading.container})
    return Q(**{f"{side}_place": reading.place_id, f"{side}_container": reading.container_id})


def _reverse_movement(scribe: Scribe, movement: Movement) -> None:
    flow = Flow(
        material=movement.material,
        quantity=movement.quantity,
        source=_find_end(scribe, movement, movement.target_place, movement.target_container),
        target=_find_end(scribe, movement, movement.source_place, movement.source_container),
        purpose=Purpose(movement.purpose),
        owner=movement.owner,
        lot=movement.lot,
        cause=movement.cause,
    )
    if movement.purpose == Purpose.BOOK_SHORT and _is_recounted(scribe, flow, movement):
        # The count said what had been there, so what was lacking is no longer a guess to take back.
        return
    source_late = _find_later_count(scribe, flow.source, flow, movement)
    target_late = _find_later_count(scribe, flow.target, flow, movement)
    if source_late:
        settle(scribe, flow, movement.quantity, scribe.variance(), flow.source, source_late)
    elif flow.source.place.keeps_stock:
        if scribe.posting.covers_missing:
            cover_missing(scribe, flow, flow.key_at(flow.source), movement.quantity)
        else:
            _refuse_moved_on(scribe, flow, movement)
    _give_back(scribe, flow, movement)
    if target_late:
        settle(scribe, flow, movement.quantity, flow.target, scribe.variance(), target_late)


def _find_end(scribe: Scribe, movement: Movement, place: Place, container: Container | None) -> End:
    """Return where that end is now: a vessel takes back what it gave wherever it stands."""
    if container is None or not container.stands_somewhere or _is_carried(movement):
        return End(place, container)
    vessel = scribe.book.containers[container.pk]
    assert vessel.place is not None
    return End(vessel.place, container)


def _is_carried(movement: Movement) -> bool:
    return movement.source_container_id == movement.target_container_id


def _find_later_count(scribe: Scribe, end: End, flow: Flow, movement: Movement) -> datetime | None:
    """Return when this end was counted, if that count already saw what the movement did.

    Of the same moment, it did if it was recorded later.
    """
    if not end.place.keeps_stock:
        return None
    counted_at = scribe.book.counted_at(flow.key_at(end))
    if counted_at is None or counted_at < movement.effective_at:
        return None
    if counted_at == movement.effective_at:
        last = _find_last_reading(flow, end)
        return counted_at if last is not None and last.entry_id > movement.entry_id else None
    return counted_at


def _is_recounted(scribe: Scribe, flow: Flow, movement: Movement) -> bool:
    last = _find_last_reading(flow, flow.source)
    return last is not None and last.entry_id > movement.entry_id


def _find_last_reading(flow: Flow, end: End) -> CountReading | None:
    """Return the count that stands for an end: the last by its moment, then by when it was recorded."""
    readings = CountReading.objects.filter(
        material=flow.material, owner=flow.owner, container=end.container, entry__reversed_by__isnull=True
    )
    if end.container is None or not end.container.stands_somewhere:
        readings = readings.filter(place=end.place)
    return readings.order_by("-counted_at", "-entry").first()


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
    if not movement.quantity:
        _give_back_value(scribe, flow, movement)
        return
    left, lot_id = movement.value, movement.lot_id or 0
    for lot_id, part, cost in _layers_back(scribe, flow, movement):
        going = min(cost, left)
        scribe.record(flow, flow.source, flow.target, part, going, lot_id, purpose=flow.purpose)
        left -= going
        pool = scribe.book.pool(PoolKey(flow.head_at(flow.source), lot_id))
        # What is left at a use place is what fluid cost that came back as recovered; it stays there.
        if flow.source.place.is_stock and pool.quantity == 0 and pool.value > 0:
            scribe.record_price_variance(flow, flow.source, scribe.price_variance(), pool.value, lot_id)
    if left:
        scribe.record_price_variance(flow, scribe.price_variance(), flow.target, left, lot_id)


def _give_back_value(scribe: Scribe, flow: Flow, movement: Movement) -> None:
    """Take a revaluation back from goods as far as they have the value, give it to goods still there."""
    lot_id, going, target = movement.lot_id or 0, movement.value, flow.target
    is_gone = target.place.is_stock and not scribe.book.pool(PoolKey(flow.head_at(target), lot_id)).quantity
    if is_gone:
        target = scribe.price_variance()
    if flow.source.place.keeps_stock:
        going = min(going, scribe.book.pool(PoolKey(flow.head_at(flow.source), lot_id)).value)
    for source, value in ((flow.source, going), (scribe.price_variance(), movement.value - going)):
        if source != target:
            scribe.record_price_variance(flow, source, target, value, lot_id)


def _layers_back(scribe: Scribe, flow: Flow, movement: Movement) -> list[tuple[int, int, int]]:
    if not flow.source.place.keeps_stock or movement.quantity == 0 or not flow.owner.is_company:
        return [(movement.lot_id or 0, movement.quantity, movement.value)]
    if flow.source.place == flow.target.place:
        return [(0, movement.quantity, movement.value)]
    return take_layers(scribe, flow, flow.source, flow.head_at(flow.source), movement.quantity)


def _reverse_change(scribe: Scribe, change: ContainerChange) -> None:
    container = scribe.book.containers[change.container_id]
    before = (container.place, container.state, container.contents_state)
    if change.source_place_id != change.target_place_id:
        has_moved_on = _has_vessel_moved_on(scribe, container, change)
        if has_moved_on and not scribe.posting.covers_missing:
            _refuse_vessel_moved_on(container, change)
        if not has_moved_on:
            container.place = change.source_place
    # A state that was changed again since is left as it is.
    if container.state == change.state_after:
        container.state = change.state_before
    if container.contents_state == change.contents_state_after:
        container.contents_state = change.contents_state_before
    record_change(scribe, container, before)


def _has_vessel_moved_on(scribe: Scribe, container: Container, change: ContainerChange) -> bool:
    """Whether a vessel went further, was counted there, or holds what it did not bring."""
    left = [
        key
        for key, _state in scribe.book.contents_of(container.pk)
        if key.head.place_id != change.source_place_id
    ]
    is_there = container.place_id == change.target_place_id
    return not is_there or bool(left) or was_counted_since(scribe, container)


def _refuse_vessel_moved_on(container: Container, change: ContainerChange) -> None:
    later = Movement.objects.filter(Q(source_container=container) | Q(target_container=container))
    names = _name_entries(later.filter(entry__gt=change.entry_id)) or "it was counted or moved since"
    raise GoodsMovedOn(
        f"{container}, now at {container.place}, cannot be put back to {change.source_place} ({names}). "
        "Reverse those entries first, or move it."
    )


def _name_entries(movements: QuerySet[Movement]) -> str:
    rows = movements.select_related("entry").order_by("entry")[:5]
    return ", ".join(
        f"{row.entry.kind} of {row.entry.occurred_at:%Y-%m-%d %H:%M} ({row.entry.document or row.entry.uuid})"
        for row in rows
    )
