"""Bills of suppliers: what they change about the cost of what came, wherever it is now."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from inventory.calc.landed_costs import landed_costs, part_of
from inventory.errors import BadInput, Fault
from inventory.models import (
    Actor,
    Entry,
    InvoiceCharge,
    InvoiceLine,
    InvoiceShare,
    Movement,
    Party,
    Place,
    SupplierInvoice,
)
from inventory.queries.company import get_company, get_company_party
from inventory.queries.receipt_costs import Received, Whereabouts, find_received, locate
from inventory.services.accounting.bills import Bill, BilledCharge, check_bill
from inventory.services.accounting.undone_bills import mark_bill_undone
from inventory.services.accounting.worth import Worth
from inventory.services.corrections import reverse
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.landed import Charge, share_charges, weigh_charge
from inventory.services.lines import quantity_of
from inventory.services.posting import End, Flow, Posting, post
from inventory.services.posting.post import book_date
from inventory.services.posting.special_places import get_special_place


@dataclass(frozen=True)
class _Costed:
    """A billed line with what it comes to; one that is not for goods is later freight on them."""

    received: Received
    quantity: int
    matched: int
    price: int
    landed: int
    booked: int
    difference: int
    is_for_goods: bool = True


def record_invoice(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    bill: Bill,
    closed_places: QuerySet[Place] | None = None,
) -> SupplierInvoice:
    """Take a bill and book what it differs from the receipts it names; sent again it is the same bill.

    The difference follows the goods: what is still held changes that holding, what was used goes to the
    work that used it. Where that work is over (`closed_places`) or was used in a closed period it goes to
    price variance, and the share remembers the place. What was billed but has not come changes nothing.

    Raises
    ------
    BadInput
        If the bill cannot be taken; every fault is named.
    DocumentConflict
        If the id stands for another bill.
    """
    return take_once(
        SupplierInvoice,
        id=id,
        by=by,
        author="by",
        fingerprint=_fingerprint(bill),
        make=_maker(id, by, occurred_at, bill, closed_places),
    )


@transaction.atomic
def undo_invoice(
    *,
    invoice: SupplierInvoice,
    by: Actor,
    occurred_at: datetime,
    reason: str,
    closed_places: QuerySet[Place] | None = None,
) -> SupplierInvoice:
    """Take a bill back that was wrong: its difference goes back, its receipts wait for a bill again.

    The difference is followed to where the goods took it and goes back from there. What is by now on work
    that is over (`closed_places`), or came to work in a period that is closed, stays there and goes back out
    of price variance; a share says so, for the job as known now. Its number is free for the right one.
    Undone once more it is the same bill, undone.

    Raises
    ------
    BadInput
        If no reason is given.
    """
    if not reason.strip():
        raise BadInput.of([Fault("/reason", "", "must say why the bill is undone")])
    standing = SupplierInvoice.objects.select_for_update(of=("self",)).get(pk=invoice.pk)
    if standing.undone_at is not None:
        return standing
    if standing.entry is not None:
        reverse(
            id=step_id(standing.uuid, "undo"),
            by=by,
            entry=standing.entry,
            reason=reason,
            closed_places=closed_places,
        )
    else:
        company = get_company()
        day = book_date(standing.recorded_at, company.time_zone, company.books_closed_until)
        mark_bill_undone(invoice=standing, by=by, undone_at=occurred_at, day=day, reason=reason)
    standing.refresh_from_db()
    return standing


def _maker(
    id: UUID, by: Actor, occurred_at: datetime, bill: Bill, closed_places: QuerySet[Place] | None
) -> Callable[[], SupplierInvoice]:
    def make() -> SupplierInvoice:
        # Two bills for the same goods are matched one after the other.
        Party.objects.select_for_update().get(pk=bill.supplier.pk)
        rate = check_bill(bill)
        costed = [*_cost(bill, rate), *_cost_carriage(bill, rate)]
        company = get_company()
        invoice = SupplierInvoice.objects.create(
            uuid=id,
            supplier=bill.supplier,
            number=bill.number.strip(),
            invoice_date=bill.invoice_date,
            currency=bill.currency or company.currency,
            rate=bill.rate,
            recorded_at=occurred_at,
            booked_date=book_date(occurred_at, company.time_zone, company.books_closed_until),
            by=by,
            fingerprint=_fingerprint(bill),
        )
        shares = _save_lines(invoice, bill, rate, costed, closed_places)
        source = End(Place.objects.get(code=f"supplier:{bill.supplier.code}"))
        variance, owner = End(get_special_place(Place.Kind.PRICE_VARIANCE)), get_company_party()
        flows = [_flow(source, variance, owner, *row) for row in shares]
        if flows:
            invoice.entry = post(
                Posting(
                    uuid=step_id(id, "difference"),
                    kind=Entry.Kind.REVALUATION,
                    occurred_at=occurred_at,
                    by=by,
                    flows=tuple(flows),
                    reason=f"Bill {invoice.number} of {bill.supplier.name}"[:500],
                    document=f"invoice:{id}",
                )
            )
            invoice.booked_date = invoice.entry.booked_date
            invoice.save(update_fields=["entry", "booked_date"])
        return invoice

    return make


def _fingerprint(bill: Bill) -> str:
    return fingerprint_of(
        supplier=bill.supplier,
        number=bill.number,
        invoice_date=bill.invoice_date,
        currency=bill.currency,
        rate=bill.rate,
        lines=[(line.receipt.uuid, line.material, line.amount, line.price) for line in bill.lines],
        charges=[_charge_form(charge) for charge in bill.charges],
    )


def _charge_form(charge: Charge) -> list[object]:
    receipts = charge.receipts if isinstance(charge, BilledCharge) else ()
    named = [sorted(str(receipt.uuid) for receipt in receipts)] if receipts else []
    return [charge.name, charge.amount, charge.share_by, *named]


def _cost(bill: Bill, rate: Fraction) -> list[_Costed]:
    received = find_received({line.receipt.pk for line in bill.lines})
    faults = []
    place = f"supplier:{bill.supplier.code}"
    for number, line in enumerate(bill.lines):
        found = received.get((line.receipt.pk, line.material.pk))
        if found is None:
            message = f"brought no {line.material} of our own, or was reversed"
            faults.append(Fault(f"/lines/{number}/receipt", str(line.receipt.uuid), message))
        elif found.supplier_place.code != place:
            message = f"came from {found.supplier_place}, not from {bill.supplier.name}"
            faults.append(Fault(f"/lines/{number}/receipt", str(line.receipt.uuid), message))
    if faults:
        raise BadInput.of(faults)
    quantities = [
        int(str(quantity_of(line.amount, line.material, pointer=f"/lines/{number}/amount")))
        for number, line in enumerate(bill.lines)
    ]
    prices = [round(line.price * rate) for line in bill.lines]
    on_lines, _apart = bill.split_charges()
    own = [replace(charge, amount=round(charge.amount * rate)) for charge in on_lines]
    materials = [line.material for line in bill.lines]
    charges = share_charges(own, materials, quantities, prices)
    landed = landed_costs(prices=prices, charges=charges)
    costed = []
    for line, quantity, price, cost in zip(bill.lines, quantities, prices, landed, strict=True):
        costed.append(_match(received[line.receipt.pk, line.material.pk], quantity, price, cost))
    return costed


def _cost_carriage(bill: Bill, rate: Fraction) -> list[_Costed]:
    """Freight and duty for named receipts, over all that these brought of our own.

    Their value is what they were booked at. One line for each received material, whatever the number of
    charges.
    """
    faults: list[Fault] = []
    sums: dict[tuple[int, int], int] = {}
    _on_lines, apart = bill.split_charges()
    known = find_received({receipt.pk for _number, charge in apart for receipt in charge.receipts})
    for number, charge in apart:
        pointer = f"/charges/{number}"
        wanted = {receipt.pk: receipt for receipt in charge.receipts}
        rows = [row for name, row in known.items() if name[0] in wanted]
        brought = {row.entry.pk for row in rows}
        missing = [receipt for key, receipt in wanted.items() if key not in brought]
        for receipt in missing:
            message = "brought nothing of our own, or was reversed"
            faults.append(Fault(f"{pointer}/receipts", str(receipt.uuid), message))
        lines = [(row.material, row.quantity, row.value) for row in rows]
        own = replace(charge, amount=round(charge.amount * rate))
        share = weigh_charge(own, lines, pointer=pointer, faults=faults)
        if missing or share is None or own.amount <= 0:
            continue
        parts = landed_costs(prices=[0] * len(rows), charges=[share])
        for row, part in zip(rows, parts, strict=True):
            name = (row.entry.pk, row.material.pk)
            sums[name] = sums.get(name, 0) + part
    if faults:
        raise BadInput.of(faults)
    return [
        _Costed(known[name], known[name].quantity, 0, 0, value, 0, value, is_for_goods=False)
        for name, value in sums.items()
    ]


def _match(received: Received, quantity: int, price: int, landed: int) -> _Costed:
    """Compare a billed line with what came and was not billed before; billed is counted on for the next."""
    matched = min(quantity, received.unbilled)
    booked = received.booked_for(matched)
    received.billed += matched
    # Freight was paid, whether or not all that was billed has come.
    due = part_of(whole_value=price, whole_quantity=quantity, before=0, upto=matched) + landed - price
    difference = due - booked
    return _Costed(received, quantity, matched, price, landed, booked, difference)


def _save_lines(
    invoice: SupplierInvoice,
    bill: Bill,
    rate: Fraction,
    costed: list[_Costed],
    closed_places: QuerySet[Place] | None,
) -> list[tuple[Whereabouts, InvoiceShare]]:
    for charge in bill.charges:
        row = InvoiceCharge.objects.create(
            invoice=invoice, name=charge.name, amount=round(charge.amount * rate), share_by=charge.share_by
        )
        if isinstance(charge, BilledCharge):
            row.receipts.set(charge.receipts)
    lines = InvoiceLine.objects.bulk_create(
        InvoiceLine(
            invoice=invoice,
            position=position,
            receipt=costs.received.entry,
            material=costs.received.material,
            is_for_goods=costs.is_for_goods,
            quantity=costs.quantity,
            matched_quantity=costs.matched,
            price=costs.price,
            landed=costs.landed,
            booked=costs.booked,
            difference=costs.difference,
        )
        for position, costs in enumerate(costed, start=1)
    )
    return _save_shares(
        [(costs, line) for costs, line in zip(costed, lines, strict=True) if costs.difference], closed_places
    )


def _save_shares(
    rows: list[tuple[_Costed, InvoiceLine]], closed_places: QuerySet[Place] | None
) -> list[tuple[Whereabouts, InvoiceShare]]:
    located = locate([costs.received for costs, _line in rows], closed_until=get_company().books_closed_until)
    known = [where for whereabouts in located.values() for where in whereabouts]
    places = {where.place.pk for where in known if where.place is not None}
    closed = closed_places.filter(pk__in=places) if closed_places is not None else Place.objects.none()
    over = set(closed.values_list("pk", flat=True))
    heaps = [
        (where.place.pk, where.material.pk, where.lot.pk if where.lot is not None else 0)
        for where in known
        if where.place is not None
    ]
    worth = Worth(heaps)
    shares: list[tuple[Whereabouts, InvoiceShare]] = []
    for costs, line in rows:
        whereabouts = located[costs.received.entry.pk, costs.received.material.pk]
        shares += _share_difference(costs, line, over, whereabouts, worth)
    InvoiceShare.objects.bulk_create(share for _where, share in shares)
    return shares


def _share_difference(
    row: _Costed,
    line: InvoiceLine,
    over: set[int],
    whereabouts: list[Whereabouts],
    worth: Worth,
) -> Iterator[tuple[Whereabouts, InvoiceShare]]:
    """Share a difference by quantity, the closed part of a place apart from the open one.

    What goods lack in value to have it taken off is price variance.
    """
    parts: list[tuple[Whereabouts, int, bool]] = []
    for where in whereabouts:
        is_over = where.place is None or where.place.pk in over
        closed = where.quantity if is_over else where.closed_quantity
        parts += [(where, closed, False), (where, where.quantity - closed, True)]
    whole = sum(quantity for _where, quantity, _is_open in parts)
    seen = 0
    for where, quantity, is_open in parts:
        if not quantity:
            continue
        value = part_of(whole_value=row.difference, whole_quantity=whole, before=seen, upto=seen + quantity)
        seen += quantity
        there = 0
        if is_open and value and where.place is not None:
            lot = where.lot.pk if where.lot is not None else 0
            there = worth.change((where.place.pk, where.material.pk, lot), value)
        for part, is_there in ((there, True), (value - there, False)):
            if part:
                of_it = quantity if is_there or not there else 0
                yield (
                    where,
                    InvoiceShare(
                        line=line, place=where.place, quantity=of_it, value=part, is_booked_there=is_there
                    ),
                )


def _flow(supplier: End, variance: End, owner: Party, where: Whereabouts, share: InvoiceShare) -> Flow:
    is_there = share.is_booked_there and where.place is not None
    there = End(where.place) if is_there and where.place is not None else variance
    return Flow(
        material=where.material if is_there else share.line.material,
        quantity=0,
        source=supplier if share.value > 0 else there,
        target=there if share.value > 0 else supplier,
        purpose=Movement.Purpose.REVALUED if is_there else Movement.Purpose.PRICE_VARIANCE,
        owner=owner,
        value=abs(share.value),
        lot=where.lot if is_there else None,
    )
