"""What suppliers ask: per material with price breaks, and per order as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Material, Party, PriceBreak, SupplierTerms, SupplyTerms
from inventory.services.parties import save_party
from inventory.units import MILLION

# Ten years; a longer one is a slip of the pen.
LONGEST_DAYS = 3650


class NotASupplier(BadInput):
    """Nothing is ordered from this party: it is no supplier."""

    code = "not_a_supplier"


@dataclass(frozen=True)
class Break:
    """From a quantity on (millionths of the stock unit) another unit cost (millionths of the currency)."""

    from_quantity: int
    unit_cost: int


@transaction.atomic
def save_terms(
    *,
    material: Material,
    supplier: Party,
    unit_cost: int,
    lead_time_days: float,
    lead_time_sd_days: float = 0.0,
    pack: int = MILLION,
    minimum: int = 0,
    breaks: Sequence[Break] = (),
    discount: str = SupplyTerms.Discount.ALL_UNITS,
    line_cost: int = 0,
    shelf_life_days: int | None = None,
) -> SupplyTerms:
    """Set what a supplier asks for a material, all of it at once; the same again changes nothing.

    Breaks are named from the smallest quantity upwards. A dearer price further up is odd but taken: some
    suppliers ask more for what they have to fetch.
    """
    require_supplier(supplier, pointer="/supplier")
    faults = _faults_of_lead_time(lead_time_days, lead_time_sd_days)
    faults += _faults_of_amounts(unit_cost, pack, minimum, line_cost, material)
    faults += _faults_of_breaks(breaks)
    if discount not in SupplyTerms.Discount.values:
        faults.append(Fault("/discount", discount, f"is none of: {', '.join(SupplyTerms.Discount.values)}"))
    if shelf_life_days is not None and not 1 <= shelf_life_days <= LONGEST_DAYS:
        faults.append(Fault("/shelf_life_days", str(shelf_life_days), "must be 1 day or more"))
    if faults:
        raise BadInput.of(faults)
    terms, _is_new = SupplyTerms.objects.update_or_create(
        material=material,
        supplier=supplier,
        defaults={
            "unit_cost": unit_cost,
            "lead_time_days": lead_time_days,
            "lead_time_sd_days": lead_time_sd_days,
            "pack": pack,
            "minimum": minimum,
            "discount": discount,
            "line_cost": line_cost,
            "shelf_life_days": shelf_life_days,
        },
    )
    terms.breaks.all().delete()
    PriceBreak.objects.bulk_create(
        PriceBreak(terms=terms, from_quantity=row.from_quantity, unit_cost=row.unit_cost) for row in breaks
    )
    return terms


@transaction.atomic
def save_order_terms(*, supplier: Party, order_cost: int = 0, least_order_value: int = 0) -> SupplierTerms:
    """Set what a supplier asks for an order as a whole, and the least value that it delivers."""
    require_supplier(supplier, pointer="/supplier")
    named = {"order_cost": order_cost, "least_order_value": least_order_value}
    faults = [
        Fault(f"/{name}", str(value), "cannot be less than nothing")
        for name, value in named.items()
        if value < 0
    ]
    if faults:
        raise BadInput.of(faults)
    terms, _is_new = SupplierTerms.objects.update_or_create(supplier=supplier, defaults=named)
    return terms


@transaction.atomic
def save_supplier(*, code: str, name: str, order_cost: int = 0, least_order_value: int = 0) -> Party:
    """Make a supplier or change it, with what it asks for an order as a whole.

    Raises
    ------
    BadInput
        If the code or an amount cannot be; nothing is changed.
    """
    if not name.strip():
        raise BadInput.of([Fault("/name", name, "must be given")])
    supplier = save_party(code=code, name=name.strip(), is_supplier=True)
    save_order_terms(supplier=supplier, order_cost=order_cost, least_order_value=least_order_value)
    return supplier


def require_supplier(party: Party, *, pointer: str) -> None:
    """Refuse a party that is no supplier."""
    if not party.is_supplier:
        raise NotASupplier.of([Fault(pointer, party.code, "is not a supplier; make it one first")])


def _faults_of_lead_time(days: float, sd_days: float) -> list[Fault]:
    faults = []
    for name, value in (("lead_time_days", days), ("lead_time_sd_days", sd_days)):
        if not 0 <= value <= LONGEST_DAYS:
            message = f"must be 0 to {LONGEST_DAYS} days: goods do not come before they are ordered"
            faults.append(Fault(f"/{name}", f"{value:g}", message))
    return faults


def _faults_of_amounts(
    unit_cost: int, pack: int, minimum: int, line_cost: int, material: Material
) -> list[Fault]:
    faults = [
        Fault(f"/{name}", str(value), "cannot be less than nothing")
        for name, value in (("unit_cost", unit_cost), ("minimum", minimum), ("line_cost", line_cost))
        if value < 0
    ]
    if pack <= 0:
        faults.append(Fault("/pack", str(pack), "must be more than nothing"))
    elif material.stock_unit == "1" and pack % MILLION:
        faults.append(Fault("/pack", str(pack), "must be whole pieces"))
    return faults


def _faults_of_breaks(breaks: Sequence[Break]) -> list[Fault]:
    faults = []
    for number, row in enumerate(breaks):
        if row.from_quantity <= 0:
            message = "must be more than nothing; the first price holds from nothing on"
            faults.append(Fault(f"/breaks/{number}/from_quantity", str(row.from_quantity), message))
        if row.unit_cost < 0:
            faults.append(
                Fault(f"/breaks/{number}/unit_cost", str(row.unit_cost), "cannot be less than nothing")
            )
    for number, (before, after) in enumerate(pairwise(breaks), start=1):
        if after.from_quantity <= before.from_quantity:
            message = "must be above the break before it; give breaks from the smallest quantity upwards"
            faults.append(Fault(f"/breaks/{number}/from_quantity", str(after.from_quantity), message))
    return faults
