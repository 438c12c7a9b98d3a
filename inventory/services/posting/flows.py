"""Goods going from end to end: what is missing, what is late, what is refused."""

from dataclasses import replace

from inventory.models import Movement, Place
from inventory.services.posting.keys import HoldingKey
from inventory.services.posting.layers import move_goods, settle
from inventory.services.posting.refusals import check_plan_source, check_plan_target, refuse_elsewhere
from inventory.services.posting.request import REST, Flow
from inventory.services.posting.scribe import Scribe
from inventory.services.posting.vessels import locate, note_contents, note_opened

Purpose = Movement.Purpose


def plan_flow(scribe: Scribe, flow: Flow, *, value: int | None = None) -> None:
    """Draft the movements of one flow. `value` is set where a conversion has decided it."""
    value = flow.value if value is None else value
    flow = replace(flow, source=locate(scribe, flow.source, flow), target=locate(scribe, flow.target, flow))
    source_key = flow.key_at(flow.source)
    quantity = _resolve(scribe, flow, source_key)
    if flow.quantity is REST and quantity == 0:
        if scribe.posting.is_plan:
            # Nothing is there, but perhaps because the vessel stands elsewhere, and full.
            refuse_elsewhere(scribe.book, flow.source)
        return
    late_source = scribe.find_later_count(flow.source, flow)
    late_target = scribe.find_later_count(flow.target, flow)
    if late_source:
        settle(scribe, flow, quantity, scribe.variance(), flow.source, late_source)
    elif flow.source.place.keeps_stock:
        cover_missing(scribe, flow, source_key, quantity)
    if scribe.posting.is_plan and not late_target:
        check_plan_target(scribe.book, flow, quantity)
    moved = move_goods(
        scribe,
        flow,
        flow.source,
        flow.target,
        quantity,
        purpose=flow.purpose,
        value=value,
        share=flow.value_share,
    )
    note_opened(scribe, flow)
    note_contents(scribe, flow, quantity)
    if flow.target.place.kind == Place.Kind.PROCESS:
        scribe.brought_to_process += moved
    if late_target:
        settle(scribe, flow, quantity, flow.target, scribe.variance(), late_target)


def _resolve(scribe: Scribe, flow: Flow, source_key: HoldingKey) -> int:
    if flow.quantity is REST:
        return scribe.book.holding(source_key).quantity
    return flow.quantity


def cover_missing(scribe: Scribe, flow: Flow, key: HoldingKey, quantity: int) -> None:
    """See that the source holds enough: refuse a plan, take what is missing for a report from variance."""
    held = scribe.book.holding(key).quantity
    if scribe.posting.is_plan:
        check_plan_source(scribe.book, flow, quantity, held, scribe.posting.holder)
    elif held < quantity:
        short = scribe.variance()
        move_goods(scribe, flow, short, flow.source, quantity - held, purpose=Purpose.BOOK_SHORT)
        scribe.mark_unsettled(key)
