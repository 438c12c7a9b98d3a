"""Bills of suppliers: what they change about the cost of what came, wherever it is now."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from uuid import UUID

from inventory.calc.landed_costs import landed_costs, part_of
from inventory.errors import BadInput, Fault
from inventory.models import (
    Actor,
    CostPool,
    Entry,
    InvoiceCharge,
    InvoiceLine,
    InvoiceShare,
    Material,
    Movement,
    Party,
    Place,
    SupplierInvoice,
)
from inventory.money import LARGEST_MILLIONTHS, from_money_millionths, is_currency
from inventory.queries.company import get_company, get_company_party
from inventory.queries.receipt_costs import Received, Whereabouts, find_received, locate
from inventory.services.documents import fingerprint_of, step_id, take_once
from inventory.services.landed import Charge, share_charges
from inventory.services.lines import quantity_of
from inventory.services.posting import End, Flow, Posting, post
from inventory.services.posting.special_places import get_special_place
from inventory.units import Amount


@dataclass(frozen=True)
class BilledLine:
    """What a bill asks for one material of one receipt; `price` in millionths of the bill's currency."""

    receipt: Entry
    material: Material
    amount: Amount
    price: int


@dataclass(frozen=True)
class Bill:
    """A supplier's bill as it was sent. `rate`: worth of one unit of its currency in the company's own."""

    supplier: Party
    number: str
    invoice_date: date
    lines: Sequence[BilledLine]
    charges: Sequence[Charge] = ()
    currency: str = ""
    rate: str = "1"


@dataclass(frozen=True)
class _Costed:
    """A billed line with what it comes to."""

    billed: BilledLine
    received: Received
    quantity: int
    matched: int
    price: int
    landed: int
    booked: int
    difference: int


def record_invoice(
    *, id: UUID, by: Actor, occurred_at: datetime, bill: Bill, closed_places: Collection[int] = ()
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
        make=_maker(id, by, occurred_at, bill, frozenset(closed_places)),
    )


def _maker(
    id: UUID, by: Actor, occurred_at: datetime, bill: Bill, closed_places: frozenset[int]
) -> Callable[[], SupplierInvoice]:
    def make() -> SupplierInvoice:
        rate = _check(bill)
        costed = _cost(bill, rate)
        company = get_company()
        invoice = SupplierInvoice.objects.create(
            uuid=id,
            supplier=bill.supplier,
            number=bill.number.strip(),
            invoice_date=bill.invoice_date,
            currency=bill.currency or company.currency,
            rate=bill.rate,
            recorded_at=occurred_at,
            by=by,
            fingerprint=_fingerprint(bill),
        )
        shares = _save_lines(invoice, bill, rate, costed, closed_places)
        flows = [_flow(*share) for share in shares]
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
            invoice.save(update_fields=["entry"])
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
        charges=[(charge.name, charge.amount, charge.share_by) for charge in bill.charges],
    )


def _check(bill: Bill) -> Fraction:
    """Return the rate of exchange, or name everything that is wrong."""
    own = get_company().currency
    faults = []
    if not bill.number.strip() or len(bill.number) > 80:
        faults.append(Fault("/number", bill.number, "must be the bill's number, 1 to 80 characters"))
    elif SupplierInvoice.objects.filter(supplier=bill.supplier, number=bill.number.strip()).exists():
        message = f"of {bill.supplier.name} was recorded already; a correction has a number of its own"
        faults.append(Fault("/number", bill.number, message))
    if bill.currency and not is_currency(bill.currency):
        faults.append(Fault("/currency", bill.currency, "is not a currency of ISO 4217"))
    rate = _read_rate(bill.rate)
    if rate is None:
        faults.append(Fault("/rate", bill.rate, "must be a decimal above zero, such as 1.08"))
    elif bill.currency in ("", own) and rate != 1:
        faults.append(Fault("/rate", bill.rate, f"must be 1 for a bill in {own}"))
    if not bill.lines:
        faults.append(Fault("/lines", "", "must name at least one received material"))
    for number, line in enumerate(bill.lines):
        if line.price < 0:
            faults.append(Fault(f"/lines/{number}/price", str(line.price), "cannot be less than nothing"))
    if rate is not None:
        faults += _find_out_of_range(bill, rate)
    if faults or rate is None:
        raise BadInput.of(faults)
    return rate


def _find_out_of_range(bill: Bill, rate: Fraction) -> list[Fault]:
    """Amounts that the company's currency cannot hold at the bill's rate, alone or together."""
    named = [(f"/lines/{number}/price", line.price) for number, line in enumerate(bill.lines)]
    named += [(f"/charges/{number}/amount", charge.amount) for number, charge in enumerate(bill.charges)]
    faults, total = [], Fraction(0)
    for pointer, amount in named:
        total += max(amount, 0) * rate
        if total > LARGEST_MILLIONTHS:
            message = f"brings the bill above {from_money_millionths(LARGEST_MILLIONTHS):f} in our currency"
            faults.append(Fault(pointer, f"{from_money_millionths(amount):f}", message))
    return faults


def _read_rate(text: str) -> Fraction | None:
    try:
        rate = Decimal(text)
    except InvalidOperation:
        return None
    return Fraction(rate) if rate.is_finite() and 0 < rate < 10**9 else None


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
    own = [replace(charge, amount=round(charge.amount * rate)) for charge in bill.charges]
    materials = [line.material for line in bill.lines]
    charges = share_charges(own, materials, quantities, prices)
    landed = landed_costs(prices=prices, charges=charges)
    costed = []
    for line, quantity, price, cost in zip(bill.lines, quantities, prices, landed, strict=True):
        costed.append(_match(line, received[line.receipt.pk, line.material.pk], quantity, price, cost))
    return costed


def _match(line: BilledLine, received: Received, quantity: int, price: int, landed: int) -> _Costed:
    """Compare a billed line with what came and was not billed before; billed is counted on for the next."""
    matched = min(quantity, received.unbilled)
    booked = part_of(
        whole_value=received.value,
        whole_quantity=received.quantity,
        before=received.quantity - received.unbilled,
        upto=received.quantity - received.unbilled + matched,
    )
    received.billed += matched
    difference = round(Fraction(landed * matched, quantity)) - booked
    return _Costed(line, received, quantity, matched, price, landed, booked, difference)


def _save_lines(
    invoice: SupplierInvoice, bill: Bill, rate: Fraction, costed: list[_Costed], closed_places: frozenset[int]
) -> list[tuple[_Costed, Whereabouts, InvoiceShare]]:
    InvoiceCharge.objects.bulk_create(
        InvoiceCharge(
            invoice=invoice, name=charge.name, amount=round(charge.amount * rate), share_by=charge.share_by
        )
        for charge in bill.charges
    )
    closed_until = get_company().books_closed_until
    shares: list[tuple[_Costed, Whereabouts, InvoiceShare]] = []
    for position, row in enumerate(costed, start=1):
        line = InvoiceLine.objects.create(
            invoice=invoice,
            position=position,
            receipt=row.received.entry,
            material=row.received.material,
            quantity=row.quantity,
            matched_quantity=row.matched,
            price=row.price,
            landed=row.landed,
            booked=row.booked,
            difference=row.difference,
        )
        if row.difference:
            shares += _share_difference(
                row, line, closed_places, locate(row.received, closed_until=closed_until)
            )
    InvoiceShare.objects.bulk_create(share for _row, _where, share in shares)
    return shares


def _share_difference(
    row: _Costed, line: InvoiceLine, closed_places: frozenset[int], whereabouts: list[Whereabouts]
) -> list[tuple[_Costed, Whereabouts, InvoiceShare]]:
    """Share a difference by quantity, the closed part of a place apart from the open one."""
    parts: list[tuple[Whereabouts, int, bool]] = []
    for where in whereabouts:
        is_over = where.place is None or where.place.pk in closed_places
        closed = where.quantity if is_over else where.closed_quantity
        parts += [(where, closed, False), (where, where.quantity - closed, True)]
    whole = sum(quantity for _where, quantity, _is_open in parts)
    shares, seen = [], 0
    for where, quantity, is_open in parts:
        if not quantity:
            continue
        value = part_of(whole_value=row.difference, whole_quantity=whole, before=seen, upto=seen + quantity)
        seen += quantity
        if value:
            is_open = is_open and _has_value(where, row, value)
            share = InvoiceShare(
                line=line, place=where.place, quantity=quantity, value=value, is_booked_there=is_open
            )
            shares.append((row, where, share))
    return shares


def _has_value(where: Whereabouts, row: _Costed, value: int) -> bool:
    """Whether goods are worth as much as is to be taken off them; what they lack is price variance."""
    if value > 0:
        return True
    pools = CostPool.objects.filter(
        place=where.place, material=row.received.material, owner__is_company=True, quantity__gt=0
    )
    if where.lot is not None:
        pools = pools.filter(lot=where.lot)
    return sum(pool.value for pool in pools) >= -value


def _flow(row: _Costed, where: Whereabouts, share: InvoiceShare) -> Flow:
    supplier, variance = End(row.received.supplier_place), End(get_special_place(Place.Kind.PRICE_VARIANCE))
    is_there = share.is_booked_there and where.place is not None
    there = End(where.place) if is_there and where.place is not None else variance
    return Flow(
        material=row.received.material,
        quantity=0,
        source=supplier if share.value > 0 else there,
        target=there if share.value > 0 else supplier,
        purpose=Movement.Purpose.REVALUED if is_there else Movement.Purpose.PRICE_VARIANCE,
        owner=get_company_party(),
        value=abs(share.value),
        lot=where.lot if is_there else None,
    )
