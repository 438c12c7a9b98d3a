"""What becomes of goods that were held back on receipt."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Sum

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import (
    Actor,
    Container,
    Entry,
    HeldOutcome,
    Movement,
    Order,
    OrderLine,
    Place,
    ReceivedLine,
)
from inventory.money import value_of
from inventory.queries.company import get_company_party
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.lines import quantity_of, require_kind
from inventory.services.orders.life import note_delivered, refresh_order
from inventory.services.posting import ContainerWish, End, Flow, Posting, post
from inventory.units import Amount, format_millionths

Finding = ReceivedLine.Finding
Outcome = HeldOutcome.Outcome
STAYS = frozenset({Outcome.KEPT, Outcome.MATCHED})
# Goods of the ordered material that may serve their order line once they are kept.
SERVES_ITS_LINE = frozenset({Finding.DAMAGED, Finding.SHORT})


class NotHeldBack(SpanstockError):
    """The goods are not held back: they were sound, or an outcome was found for all of them."""

    code = "not_held_back"


@dataclass(frozen=True)
class Decision:
    """What is to become of goods held back; `amount` is all that is left of them where it is not given.

    Kept goods need a price, matched ones an order line whose price they take. `serves` names the order line
    that kept goods fill; damaged or short goods fill their own unless `is_extra`.
    """

    outcome: str
    amount: Amount | None = None
    unit_cost: int | None = None
    serves: OrderLine | None = None
    is_extra: bool = False
    target: Place | None = None
    expected_credit: int | None = None
    note: str = ""


def decide_held(
    *, id: UUID, by: Actor, occurred_at: datetime, received_line: ReceivedLine, decision: Decision
) -> HeldOutcome:
    """Refuse goods held back, send them back, keep them at a price, or find them to be ordered after all.

    Goods that stay go from quarantine into stock at that price and may fill an order line; the others leave
    for the supplier, those sent back with the credit that is expected. The same again gives the first answer.

    Raises
    ------
    NotHeldBack
        If so much is not held back of that line.
    BadInput
        If the decision does not say what it has to.
    """
    fingerprint = fingerprint_of(line=received_line, occurred_at=occurred_at, decision=vars(decision))

    def make() -> HeldOutcome:
        line = ReceivedLine.objects.select_for_update(of=("self",)).get(pk=received_line.pk)
        serves = _find_served(line, decision)
        orders = _lock_orders(serves)
        quantity = _quantity_of(line, decision)
        unit_cost = _price_of(line, decision, serves)
        entry = _move(id, by, occurred_at, line, decision, quantity, unit_cost)
        outcome = HeldOutcome.objects.create(
            uuid=id,
            received_line=line,
            outcome=decision.outcome,
            quantity=quantity,
            unit_cost=unit_cost,
            order_line=serves,
            expected_credit=_credit_of(line, decision, quantity),
            entry=entry,
            occurred_at=occurred_at,
            by=by,
            note=decision.note,
            fingerprint=fingerprint,
        )
        for order in orders:
            note_delivered(order, by)
            refresh_order(order)
        return outcome

    return take_once(HeldOutcome, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def find_held_quantity(line: ReceivedLine) -> int:
    """How much of a line is still held back, in millionths of the stock unit."""
    if line.finding == Finding.SOUND or hasattr(line.receipt.entry, "reversed_by"):
        return 0
    settled = HeldOutcome.objects.filter(received_line=line, entry__reversed_by__isnull=True)
    return line.quantity - int(settled.aggregate(total=Sum("quantity"))["total"] or 0)


def _find_served(line: ReceivedLine, decision: Decision) -> OrderLine | None:
    if decision.outcome not in Outcome.values:
        message = f"is none of: {', '.join(Outcome.values)}"
        raise BadInput.of([Fault("/outcome", decision.outcome, message)])
    if decision.outcome not in STAYS or decision.is_extra:
        return None
    serves = decision.serves
    if serves is None and decision.outcome == Outcome.MATCHED:
        raise BadInput.of([Fault("/order_line", "", "is needed: name the order line that the goods are for")])
    if serves is None and line.finding in SERVES_ITS_LINE and line.order_line is not None:
        serves = line.order_line if line.order_line.material_id == line.material_id else None
    if serves is not None:
        _check_served(line, serves, decision)
    return serves


def _check_served(line: ReceivedLine, serves: OrderLine, decision: Decision) -> None:
    reference = f"{serves.order.reference}/{serves.position}"
    if serves.order.supplier_id != line.receipt.supplier_id:
        message = f"is of an order to another supplier than {line.receipt.supplier.name}"
        raise BadInput.of([Fault("/order_line", reference, message)])
    if decision.outcome == Outcome.MATCHED and serves.material_id != line.material_id:
        message = f"is for {serves.material}, and {line.material} came; keep it at a price instead"
        raise BadInput.of([Fault("/order_line", reference, message)])


def _lock_orders(serves: OrderLine | None) -> list[Order]:
    return list(Order.objects.select_for_update().filter(pk=serves.order_id)) if serves is not None else []


def _quantity_of(line: ReceivedLine, decision: Decision) -> int:
    held = find_held_quantity(line)
    quantity = held
    if decision.amount is not None:
        asked = quantity_of(decision.amount, line.material, pointer="/amount")
        assert isinstance(asked, int)
        quantity = asked
    if not 0 < quantity <= held:
        unit = line.material.stock_unit
        raise NotHeldBack(
            f"Of this line {format_millionths(held, unit)} of {line.material} is held back; "
            f"{format_millionths(quantity, unit)} cannot be decided on."
        )
    container = line.container
    if container is not None and container.stands_somewhere and quantity != held:
        message = f"must be all of it: {container} is kept or goes back as a whole"
        raise BadInput.of([Fault("/amount", str(decision.amount), message)])
    return quantity


def _price_of(line: ReceivedLine, decision: Decision, serves: OrderLine | None) -> int | None:
    if decision.outcome not in STAYS:
        return None
    if decision.unit_cost is None and decision.outcome == Outcome.MATCHED:
        assert serves is not None
        return serves.unit_cost
    if decision.unit_cost is None or decision.unit_cost < 0:
        shown = "" if decision.unit_cost is None else str(decision.unit_cost)
        raise BadInput.of([Fault("/unit_cost", shown, "is needed for goods that are kept: 0 or more")])
    return decision.unit_cost


def _credit_of(line: ReceivedLine, decision: Decision, quantity: int) -> int | None:
    """What the supplier is to credit: as told, else what the goods were ordered at."""
    if decision.outcome != Outcome.SENT_BACK:
        return None
    if decision.expected_credit is not None:
        if decision.expected_credit < 0:
            shown = str(decision.expected_credit)
            raise BadInput.of([Fault("/expected_credit", shown, "cannot be less than nothing")])
        return decision.expected_credit
    if line.order_line is None or line.order_line.material_id != line.material_id:
        raise BadInput.of([Fault("/expected_credit", "", "is needed: these goods have no price of an order")])
    return value_of(quantity=quantity, unit_cost=line.order_line.unit_cost)


def _move(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    line: ReceivedLine,
    decision: Decision,
    quantity: int,
    unit_cost: int | None,
) -> Entry:
    """Post the goods back to the supplier, and for those that stay from there into stock at their price.

    One entry, so that undoing it undoes both.
    """
    supplier = End(Place.objects.get(code=f"supplier:{line.receipt.supplier.code}"))
    container = line.container
    assert container is not None
    is_all = quantity == find_held_quantity(line)
    stays = unit_cost is not None
    target = decision.target or line.wanted_place
    if stays:
        require_kind(target, Place.STOCK_KINDS, pointer="/target")
    wishes, held, ends = [], End(line.place, container), End(target)
    if container.stands_somewhere:
        if stays:
            # It is moved first, with what is in it.
            wishes = [ContainerWish(container, place=target, state=Container.State.SEALED)]
            held = ends = End(target, container)
        elif is_all:
            wishes = [ContainerWish(container, state=Container.State.GONE)]
    elif is_all:
        wishes = [ContainerWish(container, state=Container.State.GONE)]
    # Goods that stay are taken out and in again as received: they never left, and no seal was broken.
    purpose = Movement.Purpose.RECEIVED if stays else Movement.Purpose.RETURNED
    flows = [_flow(line, quantity, held, supplier, purpose)]
    if stays:
        cost = value_of(quantity=quantity, unit_cost=unit_cost or 0)
        flows.append(_flow(line, quantity, supplier, ends, purpose, cost))
    return post(
        Posting(
            uuid=step_id(id, "decided"),
            kind=Entry.Kind.RECEIPT if stays else Entry.Kind.RETURN,
            occurred_at=occurred_at,
            by=by,
            flows=tuple(flows),
            wishes=tuple(wishes),
            reason=decision.note or HeldOutcome.Outcome(decision.outcome).label,
            document=f"receipt:{line.receipt.uuid}",
        )
    )


def _flow(
    line: ReceivedLine,
    quantity: int,
    source: End,
    target: End,
    purpose: Movement.Purpose,
    value: int | None = None,
) -> Flow:
    return Flow(
        material=line.material,
        quantity=quantity,
        source=source,
        target=target,
        purpose=purpose,
        owner=get_company_party(),
        value=value,
    )
