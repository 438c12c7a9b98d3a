"""Writes movements down, and what they do to the book in memory."""

from dataclasses import dataclass, field
from datetime import datetime

from inventory.models import ContainerChange, CountReading, Movement, Place
from inventory.services.posting.book import Book
from inventory.services.posting.keys import HoldingKey, PoolKey
from inventory.services.posting.request import End, Flow, Posting
from inventory.services.posting.special_places import get_special_place

Purpose = Movement.Purpose


@dataclass
class Draft:
    """Rows to be written, without their entry."""

    movements: list[Movement] = field(default_factory=list)
    changes: list[ContainerChange] = field(default_factory=list)
    readings: list[CountReading] = field(default_factory=list)


class Scribe:
    """One posting in the making: the book in memory and the rows drafted so far."""

    def __init__(self, posting: Posting, book: Book) -> None:
        self.posting = posting
        self.book = book
        self.draft = Draft()
        self.brought_to_process = 0
        # Quantity and value that came to use places before this entry, as far as that was asked for.
        self.brought: dict[PoolKey, tuple[int, int]] = {}

    def find_later_count(self, end: End, flow: Flow, at: datetime | None = None) -> datetime | None:
        """Return when this end was counted, if that was after the moment told of."""
        if not end.place.keeps_stock:
            return None
        counted_at = self.book.counted_at(flow.key_at(end))
        return counted_at if counted_at and (at or self.posting.occurred_at) < counted_at else None

    def record(
        self,
        flow: Flow,
        source: End,
        target: End,
        quantity: int,
        value: int,
        lot_id: int,
        *,
        purpose: Purpose,
        at: datetime | None = None,
    ) -> None:
        """Draft one movement and change both its ends; nothing at all moves nothing."""
        if not quantity and not value:
            return
        for end, sign in ((source, -1), (target, 1)):
            self._change_end(flow, end, sign * quantity, sign * value, lot_id)
        is_as_entered = flow.entered is not None and purpose == flow.purpose
        self.draft.movements.append(
            Movement(
                line=len(self.draft.movements) + 1,
                material_id=flow.material.pk,
                owner_id=flow.owner.pk,
                source_place_id=source.place.pk,
                source_container_id=source.container_id or None,
                target_place_id=target.place.pk,
                target_container_id=target.container_id or None,
                lot_id=lot_id or None,
                quantity=quantity,
                value=value,
                purpose=purpose,
                cause=flow.cause,
                effective_at=at or self.posting.occurred_at,
                entered_value=f"{flow.entered.value:f}" if is_as_entered and flow.entered else "",
                entered_unit=flow.entered.unit if is_as_entered and flow.entered else "",
            )
        )

    def _change_end(self, flow: Flow, end: End, quantity: int, value: int, lot_id: int) -> None:
        self.book.places[end.place.pk] = end.place
        holding = self.book.holding(flow.key_at(end))
        holding.quantity += quantity
        holding.is_changed = True
        pool = self.book.pool(PoolKey(flow.head_at(end), lot_id if end.place.keeps_stock else 0))
        pool.quantity += quantity
        pool.value += value
        pool.is_changed = True

    def record_price_variance(self, flow: Flow, source: End, target: End, value: int, lot_id: int) -> None:
        self.record(flow, source, target, 0, value, lot_id, purpose=Purpose.PRICE_VARIANCE)

    def mark_unsettled(self, key: HoldingKey) -> None:
        state = self.book.holding(key)
        state.is_unsettled = state.is_changed = True

    def variance(self) -> End:
        return End(get_special_place(Place.Kind.VARIANCE))

    def price_variance(self) -> End:
        return End(get_special_place(Place.Kind.PRICE_VARIANCE))
