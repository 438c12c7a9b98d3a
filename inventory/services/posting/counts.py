"""A count states a holding at a moment; what happened since stays as it is."""

from dataclasses import replace

from inventory.models import CountReading, Movement
from inventory.services.posting.book import find_effects_after
from inventory.services.posting.keys import HoldingKey
from inventory.services.posting.layers import move_goods
from inventory.services.posting.request import CountLine, End, Flow
from inventory.services.posting.scribe import Scribe
from inventory.services.posting.vessels import locate

Purpose = Movement.Purpose


def plan_counts(scribe: Scribe) -> None:
    """Draft all counts of a posting."""
    for line in scribe.posting.counts:
        _plan_count(scribe, line)


def _plan_count(scribe: Scribe, line: CountLine) -> None:
    """Draft the reading, and the difference to what the book said of that moment."""
    flow = Flow(
        material=line.material,
        quantity=line.quantity,
        source=line.end,
        target=line.end,
        purpose=Purpose.COUNTED,
        owner=line.owner,
        entered=line.entered,
    )
    here = locate(scribe, line.end, flow)
    flow = replace(flow, source=here, target=here)
    key = flow.key_at(here)
    holding = scribe.book.holding(key)
    moment = scribe.posting.occurred_at
    later_count = scribe.book.counted_at(key)
    since = find_effects_after(key, here.container, moment) if scribe.book.is_overtaken else 0
    book_then = holding.quantity - since
    _record_reading(scribe, line, here, book_then)
    if later_count and moment < later_count:
        # A later count already says what is there; this one is kept as a reading only. The row may be
        # younger than that count, where the vessel has moved since.
        holding.counted_at = max(holding.counted_at or moment, moment)
        holding.is_changed = True
        return
    _take_difference(scribe, flow, line.quantity - book_then, key)
    holding = scribe.book.holding(key)
    holding.counted_at, holding.is_changed = moment, True


def _take_difference(scribe: Scribe, flow: Flow, difference: int, key: HoldingKey) -> None:
    here, variance = flow.source, scribe.variance() if difference else flow.source
    scribe.book.holding(key).is_unsettled = False
    if difference > 0:
        move_goods(scribe, flow, variance, here, difference, purpose=Purpose.COUNTED)
    elif difference < 0:
        missing = -difference - scribe.book.holding(key).quantity
        if missing > 0:
            # More was drawn since than the count leaves: the book is short by as much.
            move_goods(scribe, flow, variance, here, missing, purpose=Purpose.BOOK_SHORT)
            scribe.mark_unsettled(key)
        move_goods(scribe, flow, here, variance, -difference, purpose=Purpose.COUNTED)


def _record_reading(scribe: Scribe, line: CountLine, here: End, book_then: int) -> None:
    scribe.draft.readings.append(
        CountReading(
            place=here.place,
            material=line.material,
            owner=line.owner,
            container=here.container,
            counted_at=scribe.posting.occurred_at,
            counted_quantity=line.quantity,
            book_quantity=book_then,
            entered_value=f"{line.entered.value:f}" if line.entered else "",
            entered_unit=line.entered.unit if line.entered else "",
        )
    )
