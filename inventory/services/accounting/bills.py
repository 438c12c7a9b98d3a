"""A supplier's bill as it was sent, and what may be wrong with it before its goods are looked at."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from inventory.errors import BadInput, Fault
from inventory.models import Entry, Material, Party, Place, SupplierInvoice
from inventory.money import LARGEST_MILLIONTHS, from_money_millionths, is_currency
from inventory.queries.company import get_company
from inventory.services.landed import Charge
from inventory.units import Amount


@dataclass(frozen=True)
class BilledLine:
    """What a bill asks for one material of one receipt; `price` in millionths of the bill's currency."""

    receipt: Entry
    material: Material
    amount: Amount
    price: int


@dataclass(frozen=True)
class BilledCharge(Charge):
    """A charge that was paid for what these receipts brought, whoever billed the goods themselves."""

    receipts: Sequence[Entry] = ()


@dataclass(frozen=True)
class Bill:
    """A supplier's or carrier's bill. `rate`: worth of one unit of its currency in the company's own.

    Charges that name no receipts are shared over the bill's own lines. A bill of freight alone has no lines.
    """

    supplier: Party
    number: str
    invoice_date: date
    lines: Sequence[BilledLine] = ()
    charges: Sequence[Charge] = ()
    currency: str = ""
    rate: str = "1"

    def split_charges(self) -> tuple[list[Charge], list[tuple[int, BilledCharge]]]:
        """Charges on the bill's own lines, and those for named receipts with their number in the bill."""
        apart = [
            (number, charge)
            for number, charge in enumerate(self.charges)
            if isinstance(charge, BilledCharge) and charge.receipts
        ]
        numbers = {number for number, _charge in apart}
        return [charge for number, charge in enumerate(self.charges) if number not in numbers], apart


def check_bill(bill: Bill) -> Fraction:
    """Return the rate of exchange, or name everything that is wrong."""
    rate = _read_rate(bill.rate)
    faults = [*_find_head_faults(bill, rate), *_find_line_faults(bill)]
    if rate is not None:
        faults += _find_out_of_range(bill, rate)
    if faults or rate is None:
        raise BadInput.of(faults)
    return rate


def _find_head_faults(bill: Bill, rate: Fraction | None) -> Iterator[Fault]:
    own = get_company().currency
    standing = SupplierInvoice.objects.filter(supplier=bill.supplier, undone_at__isnull=True)
    if not bill.number.strip() or len(bill.number) > 80:
        yield Fault("/number", bill.number, "must be the bill's number, 1 to 80 characters")
    elif standing.filter(number=bill.number.strip()).exists():
        message = f"of {bill.supplier.name} was recorded already; a correction has a number of its own"
        yield Fault("/number", bill.number, message)
    if not Place.objects.filter(code=f"supplier:{bill.supplier.code}").exists():
        yield Fault("/supplier", bill.supplier.code, "is no supplier; name who sent the bill as one")
    if bill.currency and not is_currency(bill.currency):
        yield Fault("/currency", bill.currency, "is not a currency of ISO 4217")
    if rate is None:
        yield Fault("/rate", bill.rate, "must be a decimal above zero, such as 1.08")
    elif bill.currency in ("", own) and rate != 1:
        yield Fault("/rate", bill.rate, f"must be 1 for a bill in {own}")


def _find_line_faults(bill: Bill) -> Iterator[Fault]:
    on_lines, apart = bill.split_charges()
    if not bill.lines and (on_lines or not apart):
        message = "must name at least one received material, or every charge the receipts it was paid for"
        yield Fault("/lines", "", message)
    for number, line in enumerate(bill.lines):
        if line.price < 0:
            yield Fault(f"/lines/{number}/price", str(line.price), "cannot be less than nothing")


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
